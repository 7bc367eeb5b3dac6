"""The history of a piece or lot, and the acts of a person: what was done, in order, also what was taken back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import func, select

from grader.ledger import schema
from grader.ledger.deeds import Deed
from grader.ledger.facts import Entry, FaceOfPiece, Fact, SavedCall
from grader.ledger.stock import Reads, entries_of, live
from grader.ledger.views import among


@dataclass(frozen=True)
class HistoryLine:
    """A deed in the history of a thing, a face seen or a call, and whether it was taken back.

    photo : name of the photo of a face.
    """

    entry: Entry[Fact]
    taken_back: bool = False
    photo: str | None = None


def history(reads: Reads, uid: str) -> tuple[HistoryLine, ...]:
    """Return all that was done with a thing, in order, also what was taken back."""
    a = schema.about.c
    entries = entries_of(
        reads, [row.deed for row in reads.rows(select(a.deed).where(a.thing == uid))]
    )
    undone = {row.act for row in reads.rows(select(schema.undone.c.act))}
    return tuple(HistoryLine(entry, entry.fact.act in undone) for entry in entries)


def seen(reads: Reads, piece: str) -> tuple[Entry[FaceOfPiece], ...]:
    """Return the faces of a piece on photos, in the order in which they were found."""
    f = schema.face.c
    return entries_of(reads, [row.uid for row in reads.rows(select(f.uid).where(f.piece == piece))])


def called_on(reads: Reads, photos: Iterable[str]) -> tuple[Entry[SavedCall], ...]:
    """Return the calls on these photos that hold, in order."""
    c = schema.call.c
    held = c.uid.not_in(select(schema.taken_back.c.call))
    rows = reads.rows(select(c.uid).where(held, *among(c.sha256, list(photos))))
    return entries_of(reads, [row.uid for row in rows])


def photo_names(reads: Reads, photos: Iterable[str]) -> dict[str, str]:
    """Return the file names of photos, as they were seen last, by content."""
    p = schema.photo.c
    wanted = select(p.sha256, p.name).where(*among(p.sha256, list(photos)))
    return dict(map(tuple, reads.rows(wanted.order_by(p.sequence))))


def last_act(reads: Reads, author: str | None) -> tuple[Entry[Deed], ...]:
    """Return the deeds of the last act of a person that still holds, none where there is none."""
    d = schema.deed.c
    wanted = live(schema.deed, d.act).where(d.author.is_not_distinct_from(author))
    rows = reads.rows(wanted.order_by(None).order_by(d.sequence.desc()).limit(1))
    if not rows:
        return ()
    deeds = reads.rows(select(d.uid).where(d.act == rows[0].act))
    return entries_of(reads, [row.uid for row in deeds])


def built_on(reads: Reads, act: Sequence[Entry[Deed]]) -> tuple[Entry[Deed], ...]:
    """Return what was done later with what an act made, by any other act that holds."""
    made = [entry.fact.uid for entry in act]
    made += [entry.fact.piece for entry in act if entry.fact.kind == "numbered"]
    a, d = schema.about.c, schema.deed.c
    wanted = (
        live(schema.deed, d.uid)
        .join(schema.about, a.deed == d.uid)
        .where(d.act != act[0].fact.act, d.sequence > act[-1].sequence, *among(a.thing, made))
    )
    return entries_of(reads, [row.uid for row in reads.rows(wanted)])


def last_sequence(reads: Reads) -> int:
    """Return the place of the last fact, 0 where there is none: what comes later was added since."""
    return reads.rows(select(func.max(schema.fact.c.sequence)))[0][0] or 0
