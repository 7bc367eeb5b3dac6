"""How large the faces of pieces are, as their photos were shown last."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Text, func, select, type_coerce

from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import schema
from grader.ledger.piece_faces import stands
from grader.ledger.store import Ledger
from grader.ledger.views import among


@dataclass(frozen=True)
class FaceSize:
    """The largest face of a piece, as its photos were shown last. size_class : as of the stone's facts."""

    area_cm2: float
    size_class: str | None


def face_sizes(ledger: Ledger, uids: Collection[str]) -> dict[str, FaceSize]:
    """Return the largest faces of pieces by uid; pieces without a photo of known scale are left out.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    face, look, stone = schema.face.c, schema.look.c, schema.stone.c
    area, size = stone.area_cm2.label("area"), stone.size_class.label("size")
    # As text: boxes that were written alike are the same, and ten thousand take long to read.
    same = type_coerce(face.box, Text) == type_coerce(stone.box, Text)
    from_faces = (
        schema.face.join(schema.look, look.sha256 == face.sha256)
        .join(schema.stone, stone.measured == look.measured)
    )  # fmt: skip
    here = [*among(face.piece, list(uids)), area.is_not(None), stands()]
    # Beside a greatest value SQLite gives the other columns of its row.
    plain = select(face.piece, func.max(area).label("area"), size, same.label("same"))
    plain = plain.select_from(from_faces).where(*here).group_by(face.piece, same)
    found, unlike = {}, []
    for row in ledger.rows(plain):
        if row.same:
            found[row.piece] = FaceSize(row.area, row.size)
        else:
            unlike.append(row.piece)
    others = select(face.piece, face.box, stone.box.label("seen"), area, size)
    others = others.select_from(from_faces).where(area.is_not(None), ~same, stands())
    for row in ledger.rows(others.where(*among(face.piece, unlike))) if unlike else ():
        if box_overlap(tuple(row.box), tuple(row.seen)) < SAME_STONE:
            continue
        if row.piece not in found or found[row.piece].area_cm2 < row.area:
            found[row.piece] = FaceSize(row.area, row.size)
    return found
