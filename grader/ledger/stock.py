"""What the ledger holds of trips, hauls, pieces, lots and sales. Deeds of acts that were taken back do not count here.

All of it reads from a ledger, or from the middle of an act (:class:`~grader.ledger.store.Reading`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy import Table, func, select

from grader.errors import LedgerError
from grader.ledger import schema
from grader.ledger.bins import Rest as Rest
from grader.ledger.bins import rests as rests
from grader.ledger.facts import Entry
from grader.ledger.reads import KINDS as KINDS
from grader.ledger.reads import Reads as Reads
from grader.ledger.reads import code_of as code_of
from grader.ledger.reads import entries_of as entries_of
from grader.ledger.reads import live as live
from grader.ledger.reads import read_code as read_code
from grader.ledger.sales import Sale as Sale
from grader.ledger.sales import sales as sales
from grader.ledger.sales import sold_things
from grader.ledger.views import among


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
    """What a trip brought home. raw_g : as it came out of the ground, g.   guess : money that it was thought worth.
    day : on which it was noted, ISO date."""

    uid: str
    code: str
    trip: str | None
    raw_typed: str
    raw_g: Decimal
    guess: Decimal | None = None
    day: str = ""


class Piece(NamedTuple):
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
    h, d = schema.haul.c, schema.deed.c
    wanted = live(schema.haul, h.uid, h.code, h.trip, h.raw_typed, h.raw_g, h.guess, d.time)
    rows = reads.rows(wanted.join(schema.deed, d.uid == h.uid))
    return tuple(
        Haul(*row[:4], Decimal(row.raw_g), _decimal(row.guess), row.time[:10]) for row in rows
    )


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


def last_bin(reads: Reads, code: str) -> int:
    """Return the same of bins."""
    return _last(reads, code, schema.rest)


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
    if not rows:
        return {}
    weights, lots = _weights(reads, chosen), _lots_of(reads, chosen)
    sold = sold_things(reads, chosen and [*chosen, *set(lots.values())])
    fates = _fates(reads, chosen) | dict.fromkeys(sold, "sold")
    # Without names of columns: ten thousand rows are asked a hundred thousand times.
    found = {}
    for uid, code, of_haul, number, parent in rows:
        lot = lots.get(uid)
        fate = fates.get(uid) or ("sold" if lot in sold else None)
        weight = weights.get(uid, _UNWEIGHED)
        found[uid] = Piece(uid, code_of(code, number), of_haul, number, parent, *weight, lot, fate)
    return found


#: Of what was not weighed, as :func:`_weights` tells it.
_UNWEIGHED = (None, None, False, False)


def _weights(reads: Reads, uids: list[str] | None) -> dict[str, tuple]:
    w = schema.weighed.c
    wanted = live(schema.weighed, w.thing, w.net_g, w.typed, w.wet, w.guessed)
    return {
        thing: (Decimal(net_g), typed, bool(wet), bool(guessed))
        for thing, net_g, typed, wet, guessed in reads.rows(wanted.where(*among(w.thing, uids)))
    }


def _fates(reads: Reads, uids: list[str] | None) -> dict[str, str]:
    r, b = schema.rest.c, schema.broken.c
    given = reads.rows(
        live(schema.rest, r.piece, r.what).where(r.piece.is_not(None), *among(r.piece, uids))
    )
    broken = reads.rows(live(schema.broken, b.piece).where(*among(b.piece, uids)))
    return dict(map(tuple, given)) | {row.piece: "broken" for row in broken}


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
    if not rows:
        return {}
    found = [row.uid for row in rows]
    a, p = schema.about.c, schema.piece.c
    named = (
        select(a.deed, a.thing)
        .join(schema.piece, p.uid == a.thing)
        .where(*among(a.deed, found))
        .order_by(p.sequence)
    )
    members: dict[str, list[str]] = {uid: [] for uid in found}
    for deed, thing in reads.rows(named):
        members[deed].append(thing)
    weights, sold = _weights(reads, found), sold_things(reads, found)
    return {
        row.uid: StockLot(
            row.uid, code_of(row.code, row.number, "L"), row.haul, row.grade, Decimal(row.size_g),
            tuple(members[row.uid]), weight[0], row.uid in sold, *weight[2:],
        )
        for row in rows
        for weight in [weights.get(row.uid, _UNWEIGHED)]
    }  # fmt: skip


def lot_codes(reads: Reads, haul: str) -> dict[str, str]:
    """Return the codes of a haul's lots by uid; what is in them takes longer to read."""
    c, h = schema.lot.c, schema.haul.c
    wanted = live(schema.lot, c.uid, h.code, c.number).join(schema.haul, h.uid == c.haul)
    rows = reads.rows(wanted.where(c.haul == haul))
    return {row.uid: code_of(row.code, row.number, "L") for row in rows}


def thing(reads: Reads, code: str) -> Piece | StockLot | Rest:
    """Return the piece, lot or bin of that code.

    Raises
    ------
    LedgerError
        It is no code, nothing bears it, or ledgers were joined in which two do: one line.
    """
    haul_code, kind, number = read_code(code)
    table = {"": schema.numbered, "L": schema.lot, "B": schema.rest}[kind]
    of = table.c.uid if kind else table.c.piece
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
    if kind == "B":
        return rests(reads, uids=[uid])[0]
    return (lots if kind else pieces)(reads, uids=[uid])[uid]


def losses(reads: Reads, uids: Iterable[str]) -> dict[str, Decimal]:
    """Return what was lost as these pieces were broken, g, where it was noted."""
    b = schema.broken.c
    wanted = live(schema.broken, b.piece, b.loss_g).where(*among(b.piece, list(uids)))
    return {row.piece: Decimal(row.loss_g) for row in reads.rows(wanted) if row.loss_g}


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


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
