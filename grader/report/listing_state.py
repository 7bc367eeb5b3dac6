"""Open and closed listings in words, and as plain data."""

from collections.abc import Mapping, Sequence

from grader.ledger.listings import Listing
from grader.report.listing_price import price_per
from grader.report.stock import number_text
from grader.report.weights import money_text
from grader.report.words import counted


def open_line(one: Listing) -> str:
    """Return an open listing in a line."""
    price = "price on request" if one.price is None else money_text(one.price, one.currency)
    if per := price_per(one.snapshot["price"]):
        price += f" per {per}"
    return f"{one.code}  {price}  listed {one.snapshot['listed']}"


def open_record(one: Listing) -> dict:
    """Return an open listing as plain data."""
    return {
        "thing": one.code,
        "listed": one.snapshot["listed"],
        "price": number_text(one.price),
        "currency": one.currency,
        "per": price_per(one.snapshot["price"]),
    }


def untold_line(code: str) -> str:
    """Return that there is nothing to tell of a piece, and what to do."""
    return (
        f"{code}: has neither photo nor weight nor grade, so there is no page to make; "
        f"weigh (grader weigh {code} WEIGHT) or photograph (grader batch) first"
    )


def unphotographed_line(codes: Sequence[str], haul: str) -> str:
    """Return that pieces of a haul get no page, why, and what to do."""
    first, more = codes[0], len(codes) - 1
    which = f"{first}: has" if not more else f"{first} and {counted(more, 'other')}: have"
    return (
        f"{which} no photo and no grade, so no page is made; photograph first (grader batch PHOTOS --haul {haul}), "
        f"or list by weight alone: grader listing {first}"
    )


def lacking_words(record: dict) -> str | None:
    """Return what a listing lacks and what to do, in a line; ``None`` where nothing is missing."""
    code = record["code"]
    lacks = []
    if record["kind"] == "bin":
        if record["net_g"] is None:
            lacks.append("no weight (grader undo and haul add note it anew, weighed)")
        if record["price"] is None:
            lacks.append("no price (--for MONEY per weight, or grader prices set)")
        return _lacks_line(code, lacks)
    if not record["faces"] and not any(one["faces"] for one in record["pieces"] or ()):
        lacks.append(f"no photo (photograph it as '{code} front.jpg', then grader batch)")
    if record["net_g"] is None:
        lacks.append(f"no dry weight (grader weigh {code} WEIGHT)")
    if record["grade"] is None:
        lacks.append("no grade (grader call)")
    if record["faces"] and record["size"] is None:
        lacks.append(f"no scale (grader describe {code} --size 92x61x34mm)")
    if record["price"] is None:
        lacks.append("no price (--for MONEY, or grader prices set)")
    return _lacks_line(code, lacks)


def _lacks_line(code: str, lacks: Sequence[str]) -> str | None:
    return f"{code}: the listing says so: {'; '.join(lacks)}" if lacks else None


def closed_line(one: Listing, why: str) -> str:
    """Return that a listing is closed, and what is left to do."""
    return f"{one.code}: its listing of {one.snapshot['listed']} is closed ({why}); take its page down where you put it"


def changed_line(snapshot: Mapping, changed: Sequence[str]) -> str | None:
    """Return that a listing stays as it was listed though something is known otherwise; ``None`` where nothing is."""
    if not changed:
        return None
    return (
        f"{snapshot['code']}: stays as listed {snapshot['listed']}; since then changed: {', '.join(changed)}; "
        "--anew lists it as of today"
    )
