"""The faces of pieces and the calls on them, read from the rows alone: ten thousand pieces have thirty thousand."""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import ColumnElement, Integer, Text, func, null, select, tuple_, type_coerce

from grader.ledger import schema
from grader.ledger.checked import Box
from grader.ledger.store import Ledger
from grader.ledger.views import among


class PieceFace(NamedTuple):
    """A face of a piece: uid of the piece, content of the photo, and where on it."""

    piece: str
    sha256: str
    box: Box
    outline: tuple[tuple[int, int], ...] | None = None


class FaceCall(NamedTuple):
    """A call on a photo, beside a face of a piece there. order : of making.   photo : its content.   shown : the grade
    that the tool had proposed, where it was asked for.   same : 1 where the call lies in the very box of that face."""

    order: int
    photo: str
    by: str | None
    time: str
    grade: str | None
    shown: str | None
    piece: str
    same: int
    uid: str


def stands() -> ColumnElement[bool]:
    """Return the condition that a face is still of its piece: that the last word on its place gave it to no other.

    A face that goes to another piece keeps its box as it was written. The few places that ever went to another are
    found in an index alone, since most ledgers have none and lists have ten thousand faces.
    """

    def place(table):
        return table.c.sha256, type_coerce(table.c.box, Text)

    face, last = schema.face.alias("gone"), schema.face.alias("last")
    pieces = func.min(face.c.piece), func.max(face.c.piece)
    moved = select(*place(face)).group_by(*place(face)).having(pieces[0] != pieces[1])
    holder = select(last.c.piece).where(
        *(a == b for a, b in zip(place(last), place(face), strict=True))
    )
    holder = holder.order_by(last.c.sequence.desc()).limit(1).correlate(face).scalar_subquery()
    gone = select(face.c.piece, *place(face)).where(
        tuple_(*place(face)).in_(moved.correlate(None)), face.c.piece != holder
    )
    return tuple_(schema.face.c.piece, *place(schema.face)).not_in(gone)


def calls_by_face(
    ledger: Ledger, pieces: Iterable[str], *, shown: bool = False
) -> tuple[FaceCall, ...]:
    """Return the calls that hold on photos of these pieces, in order, each with every face there that is still theirs:
    no outline is read.

    shown : the grades that the tool had proposed are wanted; they stand behind the outlines.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    face, call = schema.face.c, schema.call.c
    # As text: boxes that were written alike are the same.
    same = type_coerce(type_coerce(face.box, Text) == type_coerce(call.box, Text), Integer)
    proposed = func.json_extract(call.shown, "$.grade") if shown else null()
    wanted = (
        select(
            call.sequence,
            call.sha256,
            call.author,
            call.time,
            call.grade,
            proposed,
            face.piece,
            same,
            call.uid,
        )
        .join(schema.face, face.sha256 == call.sha256)
        .where(call.uid.not_in(select(schema.taken_back.c.call)))
        .where(stands(), *among(face.piece, list(pieces)))
        .order_by(call.sequence)
    )
    return tuple(map(FaceCall._make, ledger.rows(wanted)))


def faces_of(
    ledger: Ledger, pieces: Iterable[str], *, called: bool = False, outlines: bool = True
) -> tuple[PieceFace, ...]:
    """Return the faces that are still of these pieces, by uid; ``called`` leaves out photos on which nobody called a
    grade.

    outlines : are wanted; ten thousand of them take long to read.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table, said = schema.face.c, schema.call.c
    columns = (table.piece, table.sha256, table.box, *((table.outline,) if outlines else ()))
    wanted = select(*columns).where(stands())
    if called:
        wanted = wanted.where(table.sha256.in_(select(said.sha256).where(said.grade.is_not(None))))
    rows = ledger.rows(wanted.where(*among(table.piece, list(pieces))).order_by(table.sequence))
    return tuple(PieceFace(p, sha, tuple(box), *rest) for p, sha, box, *rest in rows)
