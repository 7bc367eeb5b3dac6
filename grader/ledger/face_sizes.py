"""How large the faces of pieces are, as their photos were shown last."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import func, select

from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import schema
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
    area = func.json_extract(stone.facts, "$.features.area_cm2").label("area")
    size = func.json_extract(stone.facts, "$.size_class").label("size")
    wanted = (
        select(face.piece, face.box, stone.box.label("seen"), area, size)
        .join(schema.look, look.sha256 == face.sha256)
        .join(schema.stone, stone.measured == look.measured)
        .where(*among(face.piece, list(uids)))
        .order_by(face.sequence)
    )
    found: dict[str, FaceSize] = {}
    for row in ledger.rows(wanted):
        here = row.area and row.seen and box_overlap(tuple(row.box), tuple(row.seen)) >= SAME_STONE
        if here and (row.piece not in found or found[row.piece].area_cm2 < row.area):
            found[row.piece] = FaceSize(row.area, row.size)
    return found
