"""Open and closed listings in words, and as plain data."""

from grader.ledger.listings import Listing
from grader.report.stock import number_text
from grader.report.weights import money_text


def open_line(one: Listing) -> str:
    """Return an open listing in a line."""
    price = "price on request" if one.price is None else money_text(one.price, one.currency)
    return f"{one.code}  {price}  listed {one.snapshot['listed']}"


def open_record(one: Listing) -> dict:
    """Return an open listing as plain data."""
    return {
        "thing": one.code,
        "listed": one.snapshot["listed"],
        "price": number_text(one.price),
        "currency": one.currency,
    }


def closed_line(one: Listing, why: str) -> str:
    """Return that a listing is closed, and what is left to do."""
    return f"{one.code}: its listing of {one.snapshot['listed']} is closed ({why}); take its page down where you put it"
