"""The seller's table of boxes kept, and what a parcel of pieces and lots fits into."""

from collections.abc import Sequence
from decimal import Decimal

from grader.deals.orders import Item
from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.deeds import TableSet
from grader.ledger.store import Ledger
from grader.trade.parcel import Boxes, Parcel, fits, read_boxes, share_out

#: So many things and bags are shared out at once; nobody packs more in a day.
MOST_THINGS = 500


def set_boxes(ledger: Ledger, text: str, where: str, author: str | None) -> Boxes:
    """Keep a table of boxes as it was written, from its day on, and return it.

    Raises
    ------
    SettingsError
        It does not make sense: one line.
    """
    boxes = read_boxes(text, where)
    ledger.act(lambda _: [TableSet("boxes", boxes.begins.isoformat(), text)], author=author)
    return boxes


def parcel_of(ledger: Ledger, items: Sequence[Item], to: str, day: str) -> Parcel:
    """Return how pieces, lots and parts of bins together fit the boxes to a place, or the parcels that they go in.

    Raises
    ------
    LedgerError
        They are too many, one is unknown or was not weighed, no table of boxes holds, or none of its boxes goes there:
        one line.
    """
    if (number := sum(item.bags for item in items)) > MOST_THINGS:
        raise LedgerError(
            f"{number} things and bags are too many at once; name {MOST_THINGS} at most"
        )
    things: list[tuple[str, Decimal]] = []
    for item in items:
        code, net_g = item.code, stock.thing(ledger, item.code).net_g
        if item.grams is not None:
            net_g = item.grams
        if net_g is None:
            raise LedgerError(
                f"{code}: was not weighed; weigh it first: grader weigh {code} WEIGHT"
            )
        things += [(code, net_g)] * item.bags
    entry = stock.table(ledger, "boxes", day)
    if entry is None:
        raise LedgerError("no table of boxes holds; grader parcel --boxes BOXES.toml keeps one")
    boxes = read_boxes(entry.fact.text, "boxes in the ledger")
    places = sorted({box.to for box in boxes.boxes})
    if to not in places:
        raise LedgerError(
            f"no box of yours goes to {to}; your table names {', '.join(places)}: say --to {places[0]}"
        )
    return share_out(things, boxes, to)


def boxes_for(ledger: Ledger, net_g: str | None, day: str, *, of_several: bool) -> list[str]:
    """Return for each place that the seller's table goes to the first box that takes a piece or lot, "medium, to
    abroad"; nothing where it was not weighed, or no table holds.

    of_several : it is a lot, which can be sent in parts.
    """
    entry = stock.table(ledger, "boxes", day)
    if net_g is None or entry is None:
        return []
    boxes = read_boxes(entry.fact.text, "boxes in the ledger")
    told, else_ = [], "in parts" if of_several else "too heavy or too large for each box"
    for to in dict.fromkeys(box.to for box in boxes.boxes):
        found = [fit.box.name for fit in fits(boxes, Decimal(net_g), to) if fit.takes]
        told.append(f"{found[0]}, to {to}" if found else f"{else_}, to {to}")
    return told
