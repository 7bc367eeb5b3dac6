"""The packing slip of an order: what lies in the parcel, with the weights and prices that held when it was sold.

It goes to the buyer: no exact place, no path and no sorter's name stands on it.
"""

from decimal import Decimal

from grader.ledger.stock import Sale
from grader.report.sheet import page_template
from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.report.words import counted, day_words


def slip_lines(sale: Sale, unit: str) -> list[str]:
    """Return the slip as text."""
    rows = _rows(sale, unit)
    return [
        _head(sale),
        *(f"  [ ] {row['code']}  {row['what']}  {row['weight']}  {row['money']}" for row in rows),
        f"{len(rows)} in all, {_weight(sale, unit)}, {money_text(_paid(sale), sale.currency)}",
        _foot(sale),
    ]


def slip_page(sale: Sale, unit: str) -> str:
    """Return the slip as a page to print, which needs no network."""
    return page_template("slip.html").render(
        head=_head(sale),
        rows=_rows(sale, unit),
        total=money_text(_paid(sale), sale.currency),
        weight=_weight(sale, unit),
        foot=_foot(sale),
    )


def slip_record(sale: Sale) -> dict:
    """Return the slip as plain data; weights in g and money are text."""
    return {
        "day": sale.time[:10],
        "things": [sale.told(uid) for uid in sale.sold],
        "price": number_text(_paid(sale)),
        "currency": sale.currency,
        "table": sale.snapshot.get("table"),
    }


def _head(sale: Sale) -> str:
    return f"Packing slip, sold on {sale.time[:10]}"


def _rows(sale: Sale, unit: str) -> list[dict[str, str]]:
    """What is still sold, each with the words of the buyer's side."""
    told = [(sale.told(uid), sale.got(uid)) for uid in sale.sold]
    return [
        {
            "code": one["code"],
            "what": _what(one, unit),
            "weight": weight_text(Decimal(one["net_g"]), unit) if one["net_g"] else "not weighed",
            "money": money_text(got, sale.currency),
        }
        for one, got in told
    ]


def _what(one: dict, unit: str) -> str:
    bags, pieces = one.get("bags"), one.get("pieces")
    many = ""
    if bags and bags > 1:
        many = f", {bags} bags of {weight_text(Decimal(one['net_g']) / bags, unit)}"
    many = f" of {counted(pieces, 'piece')}" if pieces else many
    grade = f", {one['grade']}" if one["grade"] else ""
    return f"{one.get('what') or 'piece'}{many}{grade}"


def _weight(sale: Sale, unit: str) -> str:
    weights = [sale.told(uid)["net_g"] for uid in sale.sold]
    total = sum((Decimal(grams) for grams in weights if grams), Decimal(0))
    behind = "" if all(weights) else ", not all weighed"
    return f"{weight_text(total, unit)} net{behind}"


def _paid(sale: Sale) -> Decimal:
    return sum((sale.got(uid) for uid in sale.sold), Decimal(0))


def _foot(sale: Sale) -> str:
    table, told = sale.snapshot.get("table"), [sale.told(uid) for uid in sale.sold]
    # What was sold for another price than the table asked was agreed on; the table has no part in it.
    by_table = table and all(
        one["asked"] and Decimal(one["asked"]) == Decimal(one["share"]) for one in told
    )
    by = f"By the price table of {day_words(table['begins'])}" if by_table else "Prices as agreed"
    return (
        f"{by}, as on the day of the sale. Weights are net and as the seller's scale showed them."
    )
