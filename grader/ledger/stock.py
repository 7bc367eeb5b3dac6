"""What the ledger holds of trips, hauls, pieces, lots and sales. Deeds of acts that were taken back do not count here.

All of it reads from a ledger, or from the middle of an act (:class:`~grader.ledger.store.Reading`).
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

from sqlalchemy import ColumnElement, Row, Select, Table, func, select

from grader.errors import LedgerError
from grader.ledger import schema
from grader.ledger.facts import Entry
from grader.ledger.store import entry_of
from grader.ledger.views import among

#: How a piece or lot is called: its haul, a dash, its number; lots have an L before it.
_CODE = re.compile(r"([A-Za-z0-9]{1,12})-(L?)(\d{1,7})")


class Reads(Protocol):
    """A ledger, or what is read of one in the middle of an act."""

    def rows(self, statement: Select) -> Sequence[Row]: ...


@dataclass(frozen=True)
class Trip:
    """A trip, without its exact place."""

    uid: str
    number: int
    name: str
    begins: str
    spot: str | None
    seam: str | None
    hours: Decimal | None
    hands: int | None
    target_g: Decimal | None
    right: str | None


@dataclass(frozen=True)
class Haul:
    """What a trip brought home. raw_g : as it came out of the ground, g."""

    uid: str
    code: str
    trip: str | None
    raw_typed: str
    raw_g: Decimal


@dataclass(frozen=True)
class Piece:
    """A numbered piece.

    net_g : as it was weighed last, g; ``None`` before.   wet, guessed : of that weight.
    parent : uid of the piece that it was broken from.   lot : uid of the lot that it is in.
    fate : "broken", "sold", "gifts", "kept" or "lost"; ``None`` while it is there.
    """

    uid: str
    code: str
    haul: str
    number: int
    parent: str | None
    net_g: Decimal | None = None
    typed: str | None = None
    wet: bool = False
    guessed: bool = False
    lot: str | None = None
    fate: str | None = None


@dataclass(frozen=True)
class StockLot:
    """A lot. net_g : what the finished lot weighs, g; ``None`` until it is weighed.   wet, guessed : of that weight.
    pieces : uids."""

    uid: str
    code: str
    haul: str
    grade: str | None
    size_g: Decimal
    pieces: tuple[str, ...]
    net_g: Decimal | None = None
    sold: bool = False
    wet: bool = False
    guessed: bool = False


@dataclass(frozen=True)
class Rest:
    """A part of a haul that is no piece for sale: what it is, the grade of sorted stone, g, and whether guessed."""

    haul: str
    what: str
    grade: str | None
    grams: Decimal
    guessed: bool
    piece: str | None


@dataclass(frozen=True)
class Sale:
    """A sale. things : uids of pieces and lots.   refund : ``None`` where it holds."""

    uid: str
    time: str
    price: Decimal
    currency: str
    things: tuple[str, ...]
    snapshot: dict[str, Any]
    refund: Decimal | None = None
    why: str | None = None


def code_of(haul: str, number: int, lot: bool = False) -> str:
    """Return how a piece or lot is called: ``07-001``, ``07-L1``."""
    return f"{haul}-L{number}" if lot else f"{haul}-{number:03d}"


def read_code(code: str) -> tuple[str, bool, int]:
    """Return haul, whether it is a lot, and number.

    Raises
    ------
    LedgerError
        It is no such code: one line.
    """
    match = _CODE.fullmatch(code.strip())
    if not match or int(match[3]) == 0:
        raise LedgerError(f"{code!r} is no number of a piece or lot; write it as 07-113 or 07-L2")
    return match[1], bool(match[2]), int(match[3])


def trips(reads: Reads) -> tuple[Trip, ...]:
    """Return the trips."""
    t = schema.trip.c
    columns = (t.uid, t.number, t.name, t.begins, t.spot, t.seam, t.hours, t.hands, t.target_g)
    return tuple(
        Trip(*row[:6], _decimal(row.hours), row.hands, _decimal(row.target_g), row.right)
        for row in reads.rows(live(schema.trip, *columns, t.right))
    )


def hauls(reads: Reads) -> tuple[Haul, ...]:
    """Return the hauls."""
    h = schema.haul.c
    rows = reads.rows(live(schema.haul, h.uid, h.code, h.trip, h.raw_typed, h.raw_g))
    return tuple(Haul(*row[:4], Decimal(row.raw_g)) for row in rows)


def haul(reads: Reads, code: str) -> Haul:
    """Return the haul of that code.

    Raises
    ------
    LedgerError
        There is none, or ledgers were joined in which two bear it: one line.
    """
    found = [one for one in hauls(reads) if one.code == code]
    if not found:
        raise LedgerError(f"no haul {code}; grader haul new {code} --raw WEIGHT begins one")
    if len(found) > 1:
        raise LedgerError(
            f"two hauls are called {code}, from ledgers that were joined; see them apart there"
        )
    return found[0]


def last_number(reads: Reads, code: str) -> int:
    """Return the highest number ever given to a piece in hauls of that code, or printed on a tag for it, 0 before the
    first; one taken back stays given."""
    printed = select(func.max(schema.tags.c.last)).where(schema.tags.c.code == code)
    return max(_last(reads, code, schema.numbered), reads.rows(printed)[0][0] or 0)


def tags_printed(reads: Reads, code: str, first: int, last: int) -> bool:
    """Return whether tags of these numbers were printed together before; taken back, they lie there all the same."""
    t = schema.tags.c
    wanted = select(t.uid).where(t.code == code, t.first <= first, t.last >= last)
    return bool(reads.rows(wanted.limit(1)))


def last_lot(reads: Reads, code: str) -> int:
    """Return the same of lots."""
    return _last(reads, code, schema.lot)


def _last(reads: Reads, code: str, table: Table) -> int:
    wanted = select(func.max(table.c.number)).join(schema.haul, schema.haul.c.uid == table.c.haul)
    return reads.rows(wanted.where(schema.haul.c.code == code))[0][0] or 0


def was_given(reads: Reads, code: str, number: int) -> bool:
    """Return whether a piece of a haul of that code was ever given that number."""
    n, h = schema.numbered.c, schema.haul.c
    wanted = select(n.uid).join(schema.haul, h.uid == n.haul)
    return bool(reads.rows(wanted.where(h.code == code, n.number == number).limit(1)))


def pieces(
    reads: Reads, *, haul: str | None = None, uids: Iterable[str] | None = None
) -> dict[str, Piece]:
    """Return numbered pieces by uid: those of a haul, those of ``uids``, or all, in the order of their numbers."""
    n, h = schema.numbered, schema.haul
    wanted = (
        live(n, n.c.piece, h.c.code, n.c.haul, n.c.number, schema.piece.c.parent)
        .join(h, h.c.uid == n.c.haul)
        .join(schema.piece, schema.piece.c.uid == n.c.piece)
        .order_by(None)
        .order_by(h.c.sequence, n.c.number)
    )
    if haul is not None:
        wanted = wanted.where(n.c.haul == haul)
    chosen = None if uids is None else list(uids)
    rows = reads.rows(wanted.where(*among(n.c.piece, chosen)))
    if haul is not None or uids is not None:
        chosen = [row.piece for row in rows]
    weights, fates, lots = _weights(reads, chosen), _fates(reads, chosen), _lots_of(reads, chosen)
    sold_lots = _sold(reads, list(set(lots.values())))
    return {
        row.piece: Piece(
            row.piece,
            code_of(row.code, row.number),
            *row[2:5],
            *weights.get(row.piece, (None, None, False, False)),
            lot=lots.get(row.piece),
            fate=fates.get(row.piece) or ("sold" if lots.get(row.piece) in sold_lots else None),
        )
        for row in rows
    }


def _weights(reads: Reads, uids: list[str] | None) -> dict[str, tuple]:
    w = schema.weighed.c
    wanted = live(schema.weighed, w.thing, w.net_g, w.typed, w.wet, w.guessed)
    return {
        row.thing: (Decimal(row.net_g), row.typed, bool(row.wet), bool(row.guessed))
        for row in reads.rows(wanted.where(*among(w.thing, uids)))
    }


def _fates(reads: Reads, uids: list[str] | None) -> dict[str, str]:
    r, b = schema.rest.c, schema.broken.c
    given = reads.rows(
        live(schema.rest, r.piece, r.what).where(r.piece.is_not(None), *among(r.piece, uids))
    )
    broken = reads.rows(live(schema.broken, b.piece).where(*among(b.piece, uids)))
    return (
        dict(map(tuple, given))
        | {row.piece: "broken" for row in broken}
        | dict.fromkeys(_sold(reads, uids), "sold")
    )


def _sold(reads: Reads, uids: list[str] | None) -> set[str]:
    """What of these is sold and has not come back."""
    a, s, r = schema.about.c, schema.sale, schema.returned
    back = live(r, r.c.sale).order_by(None)
    wanted = (
        live(s, a.thing)
        .join(schema.about, a.deed == s.c.uid)
        .where(s.c.uid.not_in(back), *among(a.thing, uids))
    )
    return {row.thing for row in reads.rows(wanted)}


def _lots_of(reads: Reads, uids: list[str] | None) -> dict[str, str]:
    a, lot = schema.about.c, schema.lot
    wanted = live(lot, a.thing, lot.c.uid).join(schema.about, a.deed == lot.c.uid)
    return dict(map(tuple, reads.rows(wanted.where(*among(a.thing, uids)))))


def lots(
    reads: Reads, *, haul: str | None = None, uids: Iterable[str] | None = None
) -> dict[str, StockLot]:
    """Return lots by uid: those of a haul, those of ``uids``, or all, in the order of making."""
    c = schema.lot.c
    h = schema.haul.c
    wanted = live(schema.lot, c.uid, h.code, c.number, c.haul, c.grade, c.size_g)
    wanted = wanted.join(schema.haul, h.uid == c.haul)
    if haul is not None:
        wanted = wanted.where(c.haul == haul)
    rows = reads.rows(wanted.where(*among(c.uid, None if uids is None else list(uids))))
    found = [row.uid for row in rows]
    a, p = schema.about.c, schema.piece.c
    named = (
        select(a.deed, a.thing).join(schema.piece, p.uid == a.thing).where(*among(a.deed, found))
    )
    members: dict[str, list[str]] = {uid: [] for uid in found}
    for deed, thing in reads.rows(named):
        members[deed].append(thing)
    weights, sold = _weights(reads, found), _sold(reads, found)
    return {
        row.uid: StockLot(
            row.uid, code_of(row.code, row.number, lot=True), row.haul, row.grade, Decimal(row.size_g),
            tuple(members[row.uid]), weight[0], row.uid in sold, *weight[2:],
        )
        for row in rows
        for weight in [weights.get(row.uid, (None, None, False, False))]
    }  # fmt: skip


def thing(reads: Reads, code: str) -> Piece | StockLot:
    """Return the piece or lot of that code.

    Raises
    ------
    LedgerError
        It is no code, nothing bears it, or ledgers were joined in which two do: one line.
    """
    haul_code, is_lot, number = read_code(code)
    table = schema.lot if is_lot else schema.numbered
    of = table.c.uid if is_lot else table.c.piece
    wanted = live(table, of).join(schema.haul, schema.haul.c.uid == table.c.haul)
    rows = reads.rows(wanted.where(schema.haul.c.code == haul_code, table.c.number == number))
    if not rows:
        haul(reads, haul_code)
        raise LedgerError(f"{code}: nothing has that number; see grader haul list {haul_code}")
    if len(rows) > 1:
        raise LedgerError(
            f"{code}: two bear that number, from ledgers that were joined; see them apart there"
        )
    uid = rows[0][0]
    return (lots if is_lot else pieces)(reads, uids=[uid])[uid]


def rests(reads: Reads, haul: str) -> tuple[Rest, ...]:
    """Return the parts of a haul that are no pieces for sale, pieces given away, kept or lost among them."""
    r = schema.rest.c
    wanted = live(schema.rest, r.haul, r.what, r.grade, r.net_g, r.guessed, r.piece)
    return tuple(
        Rest(row.haul, row.what, row.grade, Decimal(row.net_g), bool(row.guessed), row.piece)
        for row in reads.rows(wanted.where(r.haul == haul))
    )


def losses(reads: Reads, uids: Iterable[str]) -> dict[str, Decimal]:
    """Return what was lost as these pieces were broken, g, where it was noted."""
    b = schema.broken.c
    wanted = live(schema.broken, b.piece, b.loss_g).where(*among(b.piece, list(uids)))
    return {row.piece: Decimal(row.loss_g) for row in reads.rows(wanted) if row.loss_g}


def sales(reads: Reads, uids: Iterable[str] | None = None) -> tuple[Sale, ...]:
    """Return the sales, or those of these pieces and lots."""
    s, a, d, r = schema.sale.c, schema.about.c, schema.deed.c, schema.returned.c
    wanted = (
        live(schema.sale, s.uid, d.time, s.price, s.currency, s.snapshot, a.thing)
        .join(schema.deed, d.uid == s.uid)
        .join(schema.about, a.deed == s.uid)
        .where(a.thing != s.uid, a.thing.is_distinct_from(s.price_table))
    )
    if uids is not None:
        of = select(a.deed).where(*among(a.thing, list(uids)))
        wanted = wanted.where(s.uid.in_(of))
    back = {row.sale: row for row in reads.rows(live(schema.returned, r.sale, r.refund, r.why))}
    found: dict[str, Sale] = {}
    for row in reads.rows(wanted):
        came = back.get(row.uid)
        had = found[row.uid].things if row.uid in found else ()
        found[row.uid] = Sale(
            row.uid, row.time, Decimal(row.price), row.currency, (*had, row.thing), row.snapshot,
            came and Decimal(came.refund), came and came.why,
        )  # fmt: skip
    return tuple(found.values())


def table(reads: Reads, what: str, day: str) -> Entry | None:
    """Return the seller's table that holds on a day, ``None`` before the first: the latest to begin, then to be set."""
    t = schema.sellers_table.c
    wanted = live(schema.sellers_table, t.uid).where(t.what == what, t.begins <= day)
    rows = reads.rows(wanted.order_by(None).order_by(t.begins.desc(), t.sequence.desc()).limit(1))
    return entries_of(reads, [rows[0].uid])[0] if rows else None


@dataclass(frozen=True)
class NumberedStone:
    """A stone on a photo, and the number that its piece bears. new : given now.   tag : what its tag says."""

    photo: str
    stone: int
    code: str
    new: bool
    tag: str | None = None


def live(of: Table, *columns: ColumnElement) -> Select:
    """Rows of a table whose act was not taken back, in the order of adding."""
    taken_back = select(schema.undone.c.act)
    return (
        select(*columns).select_from(of).where(of.c.act.not_in(taken_back)).order_by(of.c.sequence)
    )


def entries_of(reads: Reads, uids: list[str]) -> tuple[Entry, ...]:
    wanted = select(schema.fact).where(*among(schema.fact.c.uid, uids))
    return tuple(map(entry_of, reads.rows(wanted.order_by(schema.fact.c.sequence))))


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
