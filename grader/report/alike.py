"""Own sales of pieces most like one, in words, as plain data and as a page with pictures."""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.report.sheet import page_template
from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.trade.haul import money_per


@dataclass(frozen=True)
class AlikeSale:
    """A sold piece. price : its share of the sale.   grams : as it was sold.   apart : of the piece asked about, in
    standard deviations of the measures among the sold ones."""

    code: str
    uid: str
    day: str
    price: Decimal
    currency: str
    grams: Decimal | None
    grade: str | None
    apart: float


def alike_lines(code: str, sales: Sequence[AlikeSale], unit: str) -> list[str]:
    """Return a line for each sale, the likest first, and by what they are alike."""
    if not sales:
        return [f"{code}: no single piece is sold yet, so there is nothing to look back on"]
    return [
        f"{code}: your own sales most like it, by measures",
        *(f"  {_words(one, unit)}" for one in sales),
        "Alike by colour, bands, scene, lines, size and weight; 0 is the same, 1.4 as two drawn at random.",
    ]


def _words(one: AlikeSale, unit: str) -> str:
    per_unit = "kg" if unit == "g" else unit
    each = one.grams and money_per(one.price, one.grams, per_unit)
    weight = f", {weight_text(one.grams, unit)}" if one.grams else ", not weighed"
    per = f" ({each} per {per_unit})" if each is not None else ""
    grade = f", {one.grade}" if one.grade else ""
    return f"{one.code}  {money_text(one.price, one.currency)}{per}{weight}{grade}, {one.day}, {one.apart:.1f} apart"


def alike_page(
    code: str,
    sales: Sequence[AlikeSale],
    pictures: Mapping[str, bytes],
    own: bytes | None,
    unit: str,
) -> str:
    """Return the same as a page that needs no network, with pictures; ``pictures`` by uid, JPEG."""
    lines = alike_lines(code, sales, unit)
    return page_template("alike.html").render(
        code=code,
        own=own and b64encode(own).decode(),
        rows=[
            {
                "words": _words(one, unit),
                "picture": b64encode(pictures[one.uid]).decode() if one.uid in pictures else None,
                "code": one.code,
            }
            for one in sales
        ],
        foot=lines[-1],
    )


def alike_record(code: str, sales: Sequence[AlikeSale]) -> dict:
    """Return the same as plain data."""
    return {
        "piece": code,
        "alike": [
            {
                "piece": one.code,
                "day": one.day,
                "price": number_text(one.price),
                "currency": one.currency,
                "net_g": number_text(one.grams),
                "grade": one.grade,
                "apart": round(one.apart, 3),
            }
            for one in sales
        ],
    }
