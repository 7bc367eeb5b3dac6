"""The faces of pieces, read from the rows alone: ten thousand pieces have thirty thousand."""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import select

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


def faces_of(
    ledger: Ledger, pieces: Iterable[str], *, called: bool = False, outlines: bool = True
) -> tuple[PieceFace, ...]:
    """Return the faces of these pieces, by uid; ``called`` leaves out photos on which nobody called a grade.

    outlines : are wanted; ten thousand of them take long to read.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table, said = schema.face.c, schema.call.c
    columns = (table.piece, table.sha256, table.box, *((table.outline,) if outlines else ()))
    wanted = select(*columns)
    if called:
        wanted = wanted.where(table.sha256.in_(select(said.sha256).where(said.grade.is_not(None))))
    rows = ledger.rows(wanted.where(*among(table.piece, list(pieces))).order_by(table.sequence))
    return tuple(PieceFace(p, sha, tuple(box), *rest) for p, sha, box, *rest in rows)
