"""What is sold together: pieces and lots whole, bins by weight, by the bag or whole; and what is held for somebody."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from grader.deals.hauls import open_piece
from grader.errors import GraderError, LedgerError
from grader.ledger import stock
from grader.ledger.buyers import buyer_called
from grader.ledger.deeds import FromBin, Reserved
from grader.ledger.sales import holds
from grader.ledger.store import Ledger
from grader.weight import grams_of

_ITEM = re.compile(r"\s*([^=\s]+)\s*(?:=\s*(?:(\d{1,6})\s*x\s*)?(.+))?")


@dataclass(frozen=True)
class Item:
    """What is sold by one number. grams : out of a bin, of each bag; ``None`` for all that is there."""

    code: str
    grams: Decimal | None = None
    bags: int = 1


def read_item(text: str, unit: str) -> Item:
    """Return what a person wrote: "07-113", "07-L2", "07-B1", "07-B1=5lb" or "07-B3=4x2lb" for four bags.

    Raises
    ------
    GraderError
        It is none: one line.
    """
    match = _ITEM.fullmatch(text)
    if not match:
        raise GraderError(f"{text!r}: write a number, as 07-113, or 07-B1=5lb out of a bin")
    haul, kind, number = stock.read_code(match[1])
    code = stock.code_of(haul, number, kind)
    if match[3] is None:
        return Item(code)
    try:
        weight = grams_of(match[3], unit)
    except ValueError as err:
        raise GraderError(f"{code}: {err}") from err
    if kind != "B":
        raise GraderError(
            f"{code}: is sold whole; only out of a bin a weight is sold, as 07-B1=5lb"
        )
    if weight.grams <= 0 or (match[2] and int(match[2]) == 0):
        raise GraderError(f"{text!r}: sells nothing; write it as {code}=5lb or {code}=4x2lb")
    return Item(code, weight.grams, int(match[2] or 1))


@dataclass(frozen=True)
class Ware:
    """A thing as it is sold: a piece or lot, or so much of a bin. net_g : ``None`` where it was not weighed."""

    thing: stock.Piece | stock.StockLot | stock.Rest
    net_g: Decimal | None
    bags: int = 1

    @property
    def from_bin(self) -> FromBin | None:
        """As facts keep it."""
        if not isinstance(self.thing, stock.Rest):
            return None
        return FromBin(self.thing.uid, self.net_g, self.bags)


def wares(reads: stock.Reads, items: Iterable[Item]) -> list[Ware]:
    """Return what is sold, with how much of it.

    Raises
    ------
    LedgerError
        One is not there, or a bin holds less: one line.
    """
    return [_ware(reads, item) for item in items]


def _ware(reads: stock.Reads, item: Item) -> Ware:
    found = stock.thing(reads, item.code)
    if isinstance(found, stock.Piece):
        return Ware(open_piece(reads, item.code), found.net_g)
    if isinstance(found, stock.StockLot):
        if found.sold:
            raise LedgerError(f"{item.code}: is sold; grader return brings it back")
        return Ware(found, found.net_g)
    if found.net_g <= 0:
        raise LedgerError(f"{item.code}: is empty; grader return brings back what was sold of it")
    grams = found.net_g if item.grams is None else item.grams * item.bags
    if grams > found.net_g:
        raise LedgerError(
            f"{item.code}: holds {found.net_g:.1f} g, less than {grams:.1f} g; note what else lies in "
            "it with grader haul add"
        )
    return Ware(found, grams, item.bags)


def refuse_held(reads: stock.Reads, wanted: Sequence[Ware], day: str) -> None:
    """See that nothing is sold that is held for somebody else.

    Raises
    ------
    LedgerError
        It is: one line that says for whom and until when.
    """
    held = holds(reads, day, [ware.thing.uid for ware in wanted])
    for ware in wanted:
        if hold := held.get(ware.thing.uid):
            code = ware.thing.code
            raise LedgerError(
                f"{code}: is {hold.words}; is it for them? then sell it with --held, else free it "
                f"first: grader reserve {code} --free"
            )


def reserve(
    ledger: Ledger, items: Sequence[Item], until: str | None, whom: str | None, author: str | None
) -> Reserved:
    """Keep that things are held for somebody until a day, or free again without one, and return it.

    whom : his name, which is kept apart, as a buyer's.

    Raises
    ------
    LedgerError
        One is not there, is held for another, or is not held where it is to be freed: one line.
    """

    def decide(reads):
        things = [ware.thing for ware in wares(reads, items)]
        now = holds(reads, date.today().isoformat(), [one.uid for one in things])
        for one in things:
            hold = now.get(one.uid)
            if until is None and hold is None:
                raise LedgerError(f"{one.code}: is held for nobody")
            if until is not None and hold is not None and hold.whom != whom:
                raise LedgerError(
                    f"{one.code}: is {hold.words}; free it first: grader reserve {one.code} --free"
                )
        buyer = whom and buyer_called(reads, whom)
        return [Reserved(tuple(one.uid for one in things), until, buyer=buyer)]

    return ledger.act(decide, author=author)[0]


def order_of(ledger: Ledger, code: str) -> stock.Sale:
    """Return the last sale of a piece, lot or bin of which it has not come back.

    Raises
    ------
    LedgerError
        There is none: one line.
    """
    thing = stock.thing(ledger, code)
    held = [sale for sale in stock.sales(ledger, [thing.uid]) if thing.uid in sale.sold]
    if not held:
        raise LedgerError(f"{code}: is not sold; grader sell {code} comes first")
    return held[-1]
