"""Pieces of which several faces were photographed, and calls on any of them, which are calls on the piece."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import func, select

from grader.grading.calls.joining import SAME_STONE, Place, Stones, box_overlap, outline_overlap
from grader.grading.proposal import Call
from grader.ledger import schema, views
from grader.ledger.facts import FaceOfPiece, FacePlace
from grader.ledger.store import Ledger

#: What tells where a face was seen.
Seen = FaceOfPiece | FacePlace | Call


@dataclass(frozen=True)
class JointPiece:
    """A piece with two faces or more, in the order in which they came to it.

    uid : of the piece.
    """

    uid: str
    faces: tuple[FaceOfPiece, ...]

    def places(self, photos: Mapping[str, Stones]) -> list[Place]:
        """Return its faces among the stones of photos, as (content of the photo, stone); others are left out."""
        found = ((face.sha256, _stone_at(face, photos.get(face.sha256))) for face in self.faces)
        return [(sha256, stone) for sha256, stone in found if stone is not None]


def joint_pieces(ledger: Ledger) -> tuple[JointPiece, ...]:
    """Return the pieces with several faces; a face is of the piece that it was last said to be of.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    table = schema.face
    several = select(table.c.piece).group_by(table.c.piece).having(func.count() > 1)
    photos = {
        row.sha256 for row in ledger.rows(select(table.c.sha256).where(table.c.piece.in_(several)))
    }
    if not photos:
        return ()
    pieces: dict[str, list[FaceOfPiece]] = {}
    for face in standing_faces(ledger, photos):
        pieces.setdefault(face.piece, []).append(face)
    return tuple(JointPiece(uid, tuple(faces)) for uid, faces in pieces.items() if len(faces) > 1)


def standing_faces(ledger: Ledger, photos: Iterable[str]) -> list[FaceOfPiece]:
    """Return the faces on photos, each once, with the piece that it was last said to be of.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    standing: dict[str, list[FaceOfPiece]] = {}
    order: dict[str, FaceOfPiece] = {}
    for entry in views.faces(ledger, list(photos)):
        here = standing.setdefault(entry.fact.sha256, [])
        for old in [face for face in here if same_face(face, entry.fact)]:
            here.remove(old)
            del order[old.uid]
        here.append(entry.fact)
        order[entry.fact.uid] = entry.fact
    return list(order.values())


def same_face(first: Seen, second: Seen) -> bool:
    """Whether two were seen at one place of one photo."""
    if first.sha256 != second.sha256:
        return False
    overlap = box_overlap(first.box, second.box)
    if 0 < overlap < 1 and first.outline and second.outline:
        overlap = outline_overlap(first.outline, second.outline)
    return overlap >= SAME_STONE


def later_faces(pieces: Iterable[JointPiece], photos: Mapping[str, Stones]) -> set[Place]:
    """Return all faces of these pieces among the stones of photos but the first of each: what is left counts once."""
    return {place for piece in pieces for place in piece.places(photos)[1:]}


def piece_at(place: Seen, pieces: Iterable[JointPiece]) -> JointPiece | None:
    """Return the piece of which the face at a place is one; ``None`` where it stands alone."""
    return next((p for p in pieces if any(same_face(face, place) for face in p.faces)), None)


def calls_on_faces(
    ledger: Ledger,
    photos: Collection[str],
    *,
    by: str | None = None,
    pieces: Iterable[JointPiece] | None = None,
) -> list[Call]:
    """Return the calls that hold on photos, with their outlines, in the order of making; a call on one face of a piece
    stands on all its faces there.

    by : whose; all by default.   pieces : with several faces, where they are read already.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    known = joint_pieces(ledger) if pieces is None else pieces
    pieces = [p for p in known if any(face.sha256 in photos for face in p.faces)]
    further = {face.sha256 for piece in pieces for face in piece.faces}
    calls = views.calls(ledger, sha256=[*photos, *further.difference(photos)], by=by, outlines=True)
    return [one for call in calls for one in _on_all_faces(call, pieces) if one.sha256 in photos]


def _on_all_faces(call: Call, pieces: Sequence[JointPiece]) -> list[Call]:
    piece = piece_at(call, pieces)
    if piece is None:
        return [call]
    return [call, *on_other_faces(call, piece)]


def on_other_faces(call: Call, piece: JointPiece) -> list[Call]:
    """Return a call on one face of a piece as one on each of its other faces, whose photos it was not shown beside."""
    return [
        replace(
            call,
            sha256=face.sha256,
            piece=None,
            box=face.box,
            outline=face.outline,
            measured=None,
        )
        for face in piece.faces
        if not same_face(face, call)
    ]


def _stone_at(face: FaceOfPiece, photo: Stones | None) -> int | None:
    if photo is None:
        return None
    seen = {
        stone: FacePlace(photo.sha256, stone, box, photo.outlines.get(stone))
        for stone, box in photo.boxes.items()
    }
    return next((stone for stone, place in seen.items() if same_face(face, place)), None)
