"""The seller's prices: his dated table, and what a piece, stone by weight or a bag of chips comes to by it.

Money is decimal, each item rounded half up to the cent. A table is never changed in place: a new one holds from its
day.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from hashlib import sha256

from grader.checks import check_keys, check_line, check_table, parse_toml
from grader.errors import SettingsError, quoted
from grader.weight import GRAMS_IN, grams_of

CENT = Decimal("0.01")
#: Size class that stands for every one without a price of its own.
ANY = "any"
_KEYS = (
    "currency",
    "begins",
    "per",
    "by_weight",
    "singles",
    "by_hand",
    "chips",
    "off",
    "spread",
    "sells",
)
_CODE = re.compile(r"[A-Za-z0-9]{1,12}-(\d{3}|[1-9]\d{3,6}|L[1-9]\d{0,6})")
_MOST_PRICE = Decimal("1e9")


@dataclass(frozen=True)
class PriceTable:
    """What the seller asks from ``begins`` on. Prices are decimal, of ``currency``.

    per : unit of weight that ``by_weight`` is for.   by_weight : by grade, then size class or :data:`ANY`.
    singles : by grade, a piece costs so many times its price by weight.   by_hand : by number of piece or lot.
    chips : net weight of a bag, g, and its price, largest first.
    off : from so many g of one grade on, what is taken off, as a share 0 to 1, largest weight first.
    spread : between which parts of what is asked prices come out; by grade, ``sells``: what part of it is sold at all.
    version : short hash of the text.
    """

    currency: str
    begins: date
    per: str
    by_weight: Mapping[str, Mapping[str, Decimal]]
    singles: Mapping[str, Decimal] = field(default_factory=dict)
    by_hand: Mapping[str, Decimal] = field(default_factory=dict)
    chips: tuple[tuple[Decimal, Decimal], ...] = ()
    off: tuple[tuple[Decimal, Decimal], ...] = ()
    spread: tuple[float, float] = (1.0, 1.0)
    sells: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    version: str = ""


@dataclass(frozen=True)
class Price:
    """What something comes to. how : "by hand", "single", "by weight" or "chips"."""

    money: Decimal
    how: str


def cents(money: Decimal) -> Decimal:
    """Return money rounded half up to the cent."""
    return money.quantize(CENT, ROUND_HALF_UP)


def read_price_table(text: str, where: str) -> PriceTable:
    """Return the table of a TOML text.

    Raises
    ------
    SettingsError
        No TOML, an unknown key, or a value that cannot be: one line.
    """
    data = parse_toml(text, where, Decimal)
    check_keys(where, "the file", data, _KEYS, ("currency", "begins", "by_weight"))
    begins = data["begins"]
    if type(begins) is not date:
        raise SettingsError(
            f"{where}: begins is {quoted(begins)}; give a day as 2025-03-01, without quotes"
        )
    per = data.get("per", "lb")
    if per not in GRAMS_IN:
        raise SettingsError(f"{where}: per is {quoted(per)}; one of {', '.join(GRAMS_IN)}")
    return PriceTable(
        currency=check_line(where, "currency", data["currency"]),
        begins=begins,
        per=per,
        by_weight={
            grade: _by_size(where, f"by_weight.{grade}", value)
            for grade, value in _table(where, data, "by_weight").items()
        },
        singles=_money(where, data, "singles"),
        by_hand=_by_hand(where, data),
        chips=_by_grams(where, data, "chips"),
        off=tuple(
            (grams, _share(where, percent)) for grams, percent in _by_grams(where, data, "off")
        ),
        spread=_parts(where, "spread", data.get("spread", [1, 1]), most=10),
        sells={
            grade: _parts(where, f"sells.{grade}", value, most=1)
            for grade, value in _table(where, data, "sells").items()
        },
        version=sha256(text.encode()).hexdigest()[:8],
    )


def _table(where: str, data: dict, key: str) -> dict:
    value = data.get(key, {})
    if not isinstance(value, dict):
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give a table: write [{key}] above its lines"
        )
    return value


def _price(where: str, key: str, value: object) -> Decimal:
    if isinstance(value, int) and not isinstance(value, bool):
        value = Decimal(value)
    if not isinstance(value, Decimal) or not value.is_finite() or not 0 <= value <= _MOST_PRICE:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give a number, 0 or more, as 12 or 12.50"
        )
    return value


def _parts(where: str, key: str, value: object, most: int) -> tuple[float, float]:
    two = value if isinstance(value, list) else [value, value]
    if len(two) != 2 or any(type(one) not in (int, Decimal) or one != one for one in two):  # nan
        raise SettingsError(f"{where}: {key} is {quoted(value)}; give two parts, as [0.8, 1.0]")
    if not 0 <= two[0] <= two[1] <= most:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give parts from 0 to {most}, the lower one first"
        )
    return float(two[0]), float(two[1])


def _money(where: str, data: dict, key: str) -> dict[str, Decimal]:
    given = _table(where, data, key)
    return check_table(where, key, given, dict.fromkeys(given, _price))


def _by_hand(where: str, data: dict) -> dict[str, Decimal]:
    by_hand = _money(where, data, "by_hand")
    for code in by_hand:
        # Another spelling would be a price that no piece ever has.
        if not _CODE.fullmatch(code):
            raise SettingsError(
                f"{where}: by_hand names {quoted(code)}; write it as on the label, 07-001 or 07-L2"
            )
    return by_hand


def _by_size(where: str, key: str, value: object) -> dict[str, Decimal]:
    if isinstance(value, dict):
        return check_table(where, key, value, dict.fromkeys(value, _price))
    return {ANY: _price(where, key, value)}


def _by_grams(where: str, data: dict, key: str) -> tuple[tuple[Decimal, Decimal], ...]:
    rows = []
    for weight, value in _money(where, data, key).items():
        try:
            grams = grams_of(weight).grams
        except ValueError as err:
            raise SettingsError(f"{where}: {key}: {err}") from err
        if grams <= 0:
            raise SettingsError(
                f"{where}: {key}: {weight!r} weighs nothing; write it as 500g or 2lb"
            )
        rows.append((grams, value))
    return tuple(sorted(rows, reverse=True))


def _share(where: str, percent: Decimal) -> Decimal:
    if percent > 100:
        raise SettingsError(f"{where}: off is {percent}; give per cent, 100 at most")
    return percent / 100


def price_by_weight(
    table: PriceTable, grade: str | None, grams: Decimal, size: str | None = None
) -> Price | None:
    """Return what so many g of a grade come to, less what is taken off for much; ``None`` where it has no price."""
    by_size = table.by_weight.get(grade, {})
    each = by_size.get(size, by_size.get(ANY))
    if each is None:
        return None
    off = next((share for least, share in table.off if grams >= least), Decimal(0))
    return Price(cents(grams * each / GRAMS_IN[table.per] * (1 - off)), "by weight")


def price_of_piece(
    table: PriceTable,
    code: str,
    grade: str | None,
    grams: Decimal | None,
    size: str | None = None,
    *,
    single: bool = True,
) -> Price | None:
    """Return what a piece or lot comes to: by hand, as a single of its grade, else by weight; ``None`` where its grade
    has no price or it was not weighed.

    single : ``False`` for a lot, which is sold by weight unless its price is set by hand.
    """
    if code in table.by_hand:
        return Price(cents(table.by_hand[code]), "by hand")
    if grams is None:
        return None
    factor = table.singles.get(grade)
    by_size = table.by_weight.get(grade, {})
    each = by_size.get(size, by_size.get(ANY))
    if single and factor is not None and each is not None:
        # A single is one piece: nothing is taken off for much.
        return Price(cents(grams * each / GRAMS_IN[table.per] * factor), "single")
    return price_by_weight(table, grade, grams, size)


def price_of_chips(table: PriceTable, grams: Decimal) -> Price | None:
    """Return what a bucket of chips comes to in bags, the largest first; what fills no bag counts nothing."""
    if not table.chips:
        return None
    total, left = Decimal(0), grams
    for bag_g, price in table.chips:
        bags = left // bag_g
        total, left = total + bags * price, left - bags * bag_g
    return Price(cents(total), "chips")
