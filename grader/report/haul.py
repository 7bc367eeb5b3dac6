"""The report of a haul: what became of the raw weight, what it is worth by grade, per pound, hour and hand."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.ledger.stock import Haul, Sale, Trip
from grader.report.cells import cell, row_text
from grader.report.deeds import ware_name
from grader.report.outlook import (
    BIN_WORD,
    More,
    bin_lines,
    first_rows,
    kind_rows,
    may_line,
    more_lines,
    more_record,
    rate_range,
    top_words,
)  # fmt: skip
from grader.report.sheet import page_template
from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.report.words import counted
from grader.trade.haul import (
    ROWS,
    SALEABLE,
    Balance,
    BalanceRow,
    Part,
    Worth,
    balance,
    money_per,
    worth,
)
from grader.trade.prices import PriceTable


@dataclass(frozen=True)
class HaulReport:
    """All that the report of a haul tells. unit : of weights, and of prices per weight.

    sales : of its pieces and lots, also those that came back.
    by_grade : (row, grade, size class, worth), the rows of a balance in their order.
    """

    haul: Haul
    trip: Trip | None
    prices: PriceTable | None
    currency: str | None
    unit: str
    balance: Balance
    worth: Worth
    by_grade: tuple[tuple[str, str | None, str | None, Worth], ...]
    sales: tuple[Sale, ...] = ()
    more: More | None = None
    parts: tuple[Part, ...] = ()

    @property
    def per_raw(self) -> Decimal | None:
        return money_per(self.worth.total, self.haul.raw_g, self.unit)

    @property
    def per_saleable(self) -> Decimal | None:
        return money_per(self.worth.total, self.balance.saleable_g, self.unit)


def haul_report(
    haul: Haul,
    trip: Trip | None,
    parts: Sequence[Part],
    sales: Sequence[Sale],
    prices: PriceTable | None,
    currency: str | None,
    unit: str,
) -> HaulReport:
    """Return the report of a haul from its parts and sales.

    currency : of the money of all parts.
    """
    kinds = dict.fromkeys((p.row, p.grade, p.size) for p in parts if p.row in SALEABLE)
    order = sorted(kinds, key=lambda kind: (ROWS.index(kind[0]), kind[1] or "", kind[2] or ""))
    return HaulReport(
        haul,
        trip,
        prices,
        currency,
        # A price per g tells nobody anything.
        unit if unit != "g" else "kg",
        balance(haul.raw_g, parts),
        worth(parts),
        tuple(
            (*kind, worth(part for part in parts if (part.row, part.grade, part.size) == kind))
            for kind in order
        ),
        tuple(sales),
        parts=tuple(parts),
    )


def sale_lines(report: HaulReport) -> list[str]:
    """Return what was sold in another currency, which is not added up, and what came back and why."""
    lines = []
    for sale in report.sales:
        for back in sale.backs:
            why = f": {back.why}" if back.why else ""
            names = ", ".join(ware_name(sale.told(uid)) for uid in back.things)
            what = "stays sold" if back.stays else "came back"
            lines.append(f"{what}: {names}, {money_text(back.refund, sale.currency)} refunded{why}")
        if sale.sold and sale.currency != report.currency:
            names = ", ".join(ware_name(sale.told(uid)) for uid in sale.sold)
            paid = sum((sale.share(uid) for uid in sale.sold), Decimal(0))
            lines.append(f"not added up: {names} sold for {money_text(paid, sale.currency)}")
    return lines


def gap_words(balanced: Balance, unit: str) -> str:
    """Return the gap of a balance by its name."""
    gap = balanced.gap_g
    unweighed = sum(row.unweighed for row in balanced.rows)
    behind = f"; {unweighed} not weighed yet" if unweighed else ""
    if gap == 0:
        return f"gap: none, it closes{behind}"
    if gap > 0:
        return f"gap: {weight_text(gap, unit)} of the raw weight not accounted for{behind}"
    return f"gap: the parts weigh {weight_text(-gap, unit)} more than the raw weight: weigh again{behind}"


def report_lines(report: HaulReport) -> list[str]:
    """Return the report as text."""
    unit, money = report.unit, lambda m: money_text(m, report.currency)
    trip = report.trip
    lines = [f"haul {report.haul.code}: {weight_text(report.haul.raw_g, unit)} raw"]
    if trip:
        spot = f", {trip.spot}" if trip.spot else ""
        hours = f"{spot}, {trip.hours} h" if trip.hours else spot
        hands = f", {counted(trip.hands, 'hand')}" if trip.hands else ""
        lines.append(f"trip {trip.number}: {trip.name}, {trip.begins}{hours}{hands}")
    for row in report.balance.rows:
        guessed = f", {weight_text(row.guessed_g, unit)} of it guessed" if row.guessed_g else ""
        none = f", {row.unweighed} not weighed" if row.unweighed else ""
        many = f" ({row.parts})" if row.row in SALEABLE else ""
        lines.append(f"  {row.row}{many}: {weight_text(row.grams, unit)}{guessed}{none}")
    lines.append(f"  {gap_words(report.balance, unit)}")
    for row, grade, size, of in report.by_grade:
        lines.append(
            f"  {_kind_name(row, grade, size)}: {weight_text(of.grams, unit)}, {_asked(of, money)}"
        )
    total = report.worth
    lines.append(
        f"worth {money(total.total)}: {money(total.got)} got, {money(total.asked)} asked"
        + (
            f"; {total.unpriced} {'part' if total.unpriced == 1 else 'parts'} without a price"
            if total.unpriced
            else ""
        )
    )
    lines += [
        f"{money(value)} {what}{_may(report, what)}"
        for what, value in _rates(report)
        if value is not None
    ]
    if report.haul.guess is not None:
        lines.append(_guess_words(report))
    if report.more:
        lines += more_lines(report.more, report.currency, unit)
    lines += sale_lines(report)
    lines.append(_prices_words(report))
    return lines


def report_page(report: HaulReport) -> str:
    """Return the report as a page that needs no network: two tables with bars, and what it comes to."""
    unit, raw, total = report.unit, report.haul.raw_g, report.worth.total
    lines = report_lines(report)
    money = lambda m: money_text(m, report.currency)  # noqa: E731
    return page_template("haul.html").render(
        code=report.haul.code,
        head=lines[: 2 if report.trip else 1],
        rows=[
            {"name": _row_name(row), "weight": weight_text(row.grams, unit), **_bar(row.grams, raw)}
            for row in report.balance.rows
        ],
        gap=gap_words(report.balance, unit),
        worth=[
            {
                "name": _kind_name(row, grade, size),
                "weight": weight_text(of.grams, unit),
                "money": _asked(of, money),
                **_bar(of.total, total),
            }
            for row, grade, size, of in report.by_grade
        ],
        totals=[
            (
                money(total),
                f"worth of all: {money(report.worth.got)} got, {money(report.worth.asked)} asked",
            ),
            *(
                (money(value), f"{what}{_may(report, what)}")
                for what, value in _rates(report)
                if value is not None
            ),
        ],
        guess=_guess_words(report) if report.haul.guess is not None else None,
        more=_more_page(report),
        sales=sale_lines(report),
        prices=lines[-1],
    )


def _more_page(report: HaulReport) -> dict | None:
    """What the page shows beyond balance and worth."""
    more, unit = report.more, report.unit
    if more is None:
        return None
    return {
        "may": may_line(more, report.currency) if any(more.outlook.total.money) else None,
        "kinds": kind_rows(more, report.currency, unit),
        "first": first_rows(more, unit),
        "bins": bin_lines(more, unit),
        "bin_word": BIN_WORD,
        "top": [
            {
                "words": top_words(one, report.currency, unit),
                "code": one.code,
                "picture": one.jpeg and b64encode(one.jpeg).decode(),
            }
            for one in more.top
        ],
    }


def _kind_name(row: str, grade: str | None, size: str | None) -> str:
    return row if row == "chips" else f"{row}, {grade or 'no grade'}{f', {size}' if size else ''}"


def _guess_words(report: HaulReport) -> str:
    """What the seller thought it worth, beside what it is."""
    guess, total = report.haul.guess, report.worth.total
    part = f" ({100 * total / guess:.0f} % of that)" if guess else ""
    return f"your first guess was {money_text(guess, report.currency)}; now {money_text(total, report.currency)}{part}"


def _row_name(row: BalanceRow) -> str:
    guessed = ", guessed" if row.guessed_g == row.grams else ", guessed in part"
    guessed = guessed if row.guessed_g else ""
    return f"{row.row} ({row.parts}){guessed}"


def _bar(part: Decimal, whole: Decimal) -> dict:
    """Share in words, and as the width of a bar in per cent, whole at most."""
    share = 100 * part / whole if whole > 0 else Decimal(0)
    return {"share": f"{share:.1f} %", "width": f"{min(share, Decimal(100)):.2f}"}


def _asked(of: Worth, money) -> str:
    told = [f"{money(of.got)} got"] if of.got else []
    told += [f"{money(of.asked)} asked"] if of.asked else []
    told += [f"{of.unpriced} without a price"] if of.unpriced else []
    return ", ".join(told)


def _rates(report: HaulReport) -> list[tuple[str, Decimal | None]]:
    """What the haul is worth by each of what it cost."""
    trip, total = report.trip, report.worth.total
    if not total:
        return []
    hours = trip.hours if trip else None
    hand_hours = hours * trip.hands if hours and trip.hands else None
    each = lambda of: (total / of).quantize(Decimal("0.01"), "ROUND_HALF_UP") if of else None  # noqa: E731
    return [
        (_by_raw(report.unit), report.per_raw),
        (_by_saleable(report.unit), report.per_saleable),
        ("per hour", each(hours)),
        ("per hour of one hand", each(hand_hours)),
    ]


def _by_raw(unit: str) -> str:
    return f"per raw {unit}"


def _by_saleable(unit: str) -> str:
    return f"per saleable {unit}"


def _may(report: HaulReport, what: str) -> str:
    """Return ", may come to 8.10 to 12.40" behind what the haul is worth by weight; nothing behind the others."""
    weights = {
        _by_raw(report.unit): report.haul.raw_g,
        _by_saleable(report.unit): report.balance.saleable_g,
    }
    if report.more is None or not weights.get(what):
        return ""
    low, high = rate_range(report.more, weights[what], report.unit)
    if low is None or high is None or low == high:
        return ""
    return f", may come to {money_text(low, None)} to {money_text(high, None)}"


def _prices_words(report: HaulReport) -> str:
    if report.prices is None:
        return "no price table holds; grader prices set PRICES.toml keeps one"
    table = report.prices
    return f"prices of {table.begins} (version {table.version}); what is asked is no cost and no promise"


def report_record(report: HaulReport) -> dict:
    """Return the report as plain data; weights in g and money are text, as exact as they are kept."""
    return {
        "haul": report.haul.code,
        "trip": report.trip and report.trip.number,
        "raw_g": number_text(report.haul.raw_g),
        "balance": [
            {
                "row": row.row,
                "parts": row.parts,
                "grams": number_text(row.grams),
                "guessed_g": number_text(row.guessed_g),
                "unweighed": row.unweighed,
            }
            for row in report.balance.rows
        ],
        "gap_g": number_text(report.balance.gap_g),
        "saleable_g": number_text(report.balance.saleable_g),
        "by_grade": [
            {"row": row, "grade": grade, "size": size, **_worth_record(of)}
            for row, grade, size, of in report.by_grade
        ],
        "worth": _worth_record(report.worth),
        "guess": number_text(report.haul.guess),
        **(more_record(report.more) if report.more else {}),
        "currency": report.currency,
        "unit": report.unit,
        "rates": {what: number_text(value) for what, value in _rates(report)},
        "sales": [
            {
                "things": [one["code"] for one in sale.snapshot["things"]],
                "price": number_text(sale.price),
                "currency": sale.currency,
                "refund": number_text(sale.refund),
                "why": [back.why for back in sale.backs if back.why],
            }
            for sale in report.sales
        ],
        "prices": report.prices
        and {"begins": report.prices.begins.isoformat(), "version": report.prices.version},
    }


def _worth_record(of: Worth) -> dict:
    return {
        "parts": of.parts,
        "grams": number_text(of.grams),
        "guessed_g": number_text(of.guessed_g),
        "got": number_text(of.got),
        "asked": number_text(of.asked),
        "total": number_text(of.total),
        "unpriced": of.unpriced,
    }


def report_csv(report: HaulReport) -> str:
    """Return the balance and the worth as one table: row, grade, size, parts, grams, guessed_g, got, asked."""
    rows: list[list] = [
        ["row", "grade", "size", "parts", "grams", "guessed_g", "got", "asked"],
        ["raw", "", "", "", number_text(report.haul.raw_g), "", "", ""],
    ]
    priced = {row for row, *_ in report.by_grade}
    for row, grade, size, of in report.by_grade:
        numbers = map(number_text, (of.grams, of.guessed_g, of.got, of.asked))
        rows.append([row, cell(grade), cell(size), of.parts, *numbers])
    for row in report.balance.rows:
        if row.row not in priced:
            numbers = map(number_text, (row.grams, row.guessed_g))
            rows.append([row.row, "", "", row.parts, *numbers, "", ""])
    rows.append(["gap", "", "", "", number_text(report.balance.gap_g), "", "", ""])
    return "".join(map(row_text, rows))
