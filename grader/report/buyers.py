"""Buyers in words, and as plain data."""

from collections.abc import Sequence
from decimal import Decimal

from grader.ledger.buyers import Buyer
from grader.ledger.stock import Sale
from grader.report.weights import money_text
from grader.report.words import counted


def buyer_line(one: Buyer) -> str:
    """Return a buyer with what he bought and paid, in a line."""
    bought = ", ".join(_codes(one.sales)) or "nothing that holds"
    paid = " and ".join(money_text(money, currency) for currency, money in _paid(one.sales).items())
    return f"{one.name or 'name erased'}: {bought}{f', {paid}' if paid else ''}"


def buyer_record(one: Buyer) -> dict:
    """Return a buyer as plain data."""
    return {
        "buyer": one.uid,
        "name": one.name,
        "things": _codes(one.sales),
        "paid": {currency: f"{money:f}" for currency, money in _paid(one.sales).items()},
    }


def erased_lines(name: str, number: int, reserved: int) -> list[str]:
    """Return what was erased, and what is left to do.

    number : of buyers who bore the name.   reserved : of reservations in which it stands.
    """
    left = f"the name stands in {counted(reserved, 'reservation')} too (reserve --for), and stays there: facts are kept"
    if not number:
        none = f"no buyer is called {name}"
        return [
            f"{none}; {left}"
            if reserved
            else f"{none}, nor does the ledger hold the name; its file was cleaned all the same"
        ]
    where = "the ledger's buyers" if reserved else "the ledger, its log and the copies beside it"
    return [
        f"the name is gone from {where}; the sales stay",
        *([left] if reserved else []),
        "Backups and exports that you put elsewhere may hold it: make a new backup, and do away with the old ones.",
    ]


def _codes(sales: Sequence[Sale]) -> list[str]:
    return [one["code"] for sale in sales if sale.refund is None for one in sale.snapshot["things"]]


def _paid(sales: Sequence[Sale]) -> dict[str, Decimal]:
    """Money by currency, less what was given back."""
    paid: dict[str, Decimal] = {}
    for sale in sales:
        paid[sale.currency] = paid.get(sale.currency, Decimal(0)) + sale.price - (sale.refund or 0)
    return paid
