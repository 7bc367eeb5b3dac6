"""Trips, hauls, pieces, weights and sales in words, and as plain data."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from grader.ledger.bins import Rest
from grader.ledger.deeds import CameBack, Sold, TripBegun
from grader.ledger.sales import Hold, Sale
from grader.ledger.stock import Haul, Piece, Trip
from grader.report.deeds import deed_words, ware_name
from grader.report.sizes import range_text
from grader.report.weights import money_text, weight_text
from grader.report.words import counted
from grader.trade.weighing import Parts, WeighedIn


def trip_lines(trip: TripBegun) -> list[str]:
    """Return what was kept of a new trip; the exact place is not repeated."""
    lines = [f"trip {trip.number} begun: {trip.name}, {trip.begins}"]
    if trip.right is None:
        lines.append(
            "No note on your right to dig there. Whose ground is it, and what may be taken? Add it with --right; "
            "only you can know, this tool cannot say what is allowed."
        )
    return lines


def trip_record(trip: TripBegun | Trip) -> dict:
    """Return a trip as plain data, without its exact place."""
    target = trip.target_g if isinstance(trip, Trip) else trip.target and trip.target.grams
    return {
        "trip": trip.number,
        "name": trip.name,
        "begins": trip.begins,
        "spot": trip.spot,
        "seam": trip.seam,
        "hours": number_text(trip.hours),
        "hands": trip.hands,
        "target_g": number_text(target),
        "right": trip.right,
    }


def trip_line(trip: Trip) -> str:
    """Return a trip in a line."""
    more = [
        trip.spot,
        trip.seam,
        trip.hours and f"{trip.hours} h",
        trip.hands and counted(trip.hands, "hand"),
    ]
    return ", ".join([f"trip {trip.number}: {trip.name}, {trip.begins}", *(m for m in more if m)])


def haul_record(haul: Haul, trip: int | None) -> dict:
    """Return a haul as plain data."""
    return {
        "haul": haul.code,
        "trip": trip,
        "guess": number_text(haul.guess),
        "raw_typed": haul.raw_typed,
        "raw_g": number_text(haul.raw_g),
    }


def piece_record(
    piece: Piece,
    grade: str | None,
    called: bool | None,
    codes: Mapping[str, str],
    hold: Hold | None = None,
) -> dict:
    """Return a piece as plain data; weights are text, as exact as they are kept.

    codes : of pieces and lots by uid.   hold : where it, or the lot that it lies in, is held for somebody.
    """
    return {
        "piece": piece.code,
        "net_g": number_text(piece.net_g),
        "typed": piece.typed,
        "wet": piece.wet,
        "guessed": piece.guessed,
        "grade": grade,
        "called": called,
        "parent": piece.parent and codes.get(piece.parent),
        "lot": piece.lot and codes.get(piece.lot),
        "state": piece.fate or ("in a lot" if piece.lot else "there"),
        "held_until": hold and hold.until,
        "held_for": hold and hold.whom,
    }


def bin_line(one: Rest, hold: Hold | None, unit: str) -> str:
    """Return a bin in a line: number, what it holds, and what is left of it."""
    grade = f" {one.grade}" if one.grade else ""
    of = f" of {weight_text(one.grams, unit)}" if one.sold_g else ""
    held = f", {hold.words}" if hold else ""
    return f"{one.code}  {one.what}{grade}  {weight_text(one.net_g, unit)}{of} left{held}"


def piece_line(record: dict, unit: str, proposed: bool) -> str:
    """Return a piece in a line: number, weight, grade, and where it is.

    proposed : where nobody called, the model was asked too.
    """
    if record["net_g"] is None:
        guess = record["estimate_g"]
        weight = f"not weighed, {range_text(guess, unit)} (estimate)" if guess else "not weighed"
    else:
        marks = "".join(f", {mark}" for mark in ("wet", "guessed") if record[mark])
        weight = weight_text(Decimal(record["net_g"]), unit) + marks
    grade = record["grade"] or ("no grade" if proposed else "not called")
    called = "" if record["called"] or not record["grade"] else " (proposed)"
    state = record["lot"] if record["state"] == "in a lot" else record["state"]
    of = f", from {record['parent']}" if record["parent"] else ""
    if record["held_until"]:
        state += f", {Hold(record['held_until'], record['held_for']).words}"
    return f"{record['piece']}  {weight}  {grade}{called}  {state}{of}"


def number_text(number: Decimal | None) -> str | None:
    """Return a decimal number as text without an exponent."""
    return None if number is None else f"{number:f}"


def weighed_lines(weighed: Sequence[WeighedIn], unit: str) -> list[str]:
    """Return what was kept of a weigh-in, a line each piece."""
    lines = []
    for one in weighed:
        before = f", before {weight_text(one.before_g, unit)}" if one.before_g is not None else ""
        new = ", numbered now" if one.new else ""
        marks = "".join(f", {mark}" for mark in ("wet", "guessed") if getattr(one, mark))
        lines.append(f"{one.code}: {weight_text(one.net_g, unit)}{marks}{before}{new}")
        if one.parts:
            lines.append(parts_line(one.parts, unit))
    return lines


def parts_line(parts: Parts, unit: str) -> str:
    """Return how the parts of a broken piece stand to it."""
    gap = parts.gap_g
    total = (
        f"parts of {parts.parent}: {weight_text(parts.sum_g, unit)} of "
        f"{weight_text(parts.parent_g, unit)}, {weight_text(parts.loss_g, unit)} noted as lost"
    )
    if gap == 0:
        return f"{total}: it closes"
    way = "missing" if gap > 0 else "too much"
    return f"{total}: {weight_text(abs(gap), unit)} {way}; weigh again, or note what was lost"


def weighed_record(one: WeighedIn) -> dict:
    """Return a weigh-in as plain data."""
    return {
        "thing": one.code,
        "net_g": number_text(one.net_g),
        "before_g": number_text(one.before_g),
        "new": one.new,
    }


def broken_lines(code: str, parts: Sequence[str]) -> list[str]:
    """Return what became of a broken piece."""
    return [
        f"{code} is closed; its parts are {', '.join(parts)}",
        "Weigh each of them, and photograph their new faces: a part has no grade until it is looked at.",
    ]


def sold_lines(sold: Sold) -> list[str]:
    """Return what was sold, for what, and by which table."""
    table = sold.snapshot["table"]
    by = (
        f", prices of {table['begins']} (version {table['version']})"
        if table
        else ", no price table"
    )
    lines = [deed_words(sold) + by]
    for one in sold.snapshot["things"]:
        asked = f", asked {one['asked']} ({one['how']})" if one["asked"] else ""
        lines.append(f"  {ware_name(one)}: {one['share']}{asked}")
    if len(sold.snapshot["things"]) > 1:
        lines.append(f"  a packing slip for it: grader slip {sold.snapshot['things'][0]['code']}")
    return lines


def sold_record(sold: Sold) -> dict:
    """Return a sale as plain data."""
    return {"price": number_text(sold.price), "currency": sold.currency, **sold.snapshot}


def returned_line(sale: Sale, back: CameBack) -> str:
    """Return what came back."""
    names = ", ".join(ware_name(one) for one in _things_back(sale, back))
    refund = money_text(back.refund, sale.currency)
    what = "stays sold" if back.stays else "came back"
    return f"{names} {what}, {refund} refunded{f': {back.why}' if back.why else ''}"


def _things_back(sale: Sale, back: CameBack) -> list[dict]:
    return [sale.told(uid) for uid in back.things_back or sale.things]


def returned_record(sale: Sale, back: CameBack) -> dict:
    """Return what came back as plain data."""
    return {
        "things": [one["code"] for one in _things_back(sale, back)],
        "stays_sold": bool(back.stays),
        "price": number_text(sale.price),
        "refund": number_text(back.refund),
        "currency": sale.currency,
        "why": back.why,
    }
