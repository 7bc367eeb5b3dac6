"""Faces of one piece put together: what is proposed for the piece, told with each of its faces."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from grader.errors import GraderError
from grader.grading.features.several_faces import piece_facts
from grader.grading.models.model import Model
from grader.grading.propose import propose_piece
from grader.ledger import stock
from grader.ledger.facts import FaceOfPiece, FacePlace, Fact, NamedPiece
from grader.ledger.joint import JointPiece, joint_pieces, same_face, standing_faces
from grader.ledger.store import Ledger
from grader.looks import Look, last_look
from grader.profile import Profile
from grader.report.one_piece import Face, one_piece_record

#: Of a face that no piece has yet.
_NO_PIECE = "0" * 32


def faces_of_one(looks: Sequence[Look]) -> JointPiece:
    """Return the stones on photos as one piece, whatever the ledger says of them.

    Raises
    ------
    GraderError
        A photo shows another number of stones than one, or is given twice: one line.
    """
    faces = []
    for look in looks:
        file, pieces = look.ask.file, look.record["pieces"]
        if len(pieces) != 1:
            raise GraderError(
                f"{file}: {len(pieces)} stones; for --one-piece photograph one", "not_one_piece"
            )
        if any(face.sha256 == look.ask.sha256 for face in faces):
            raise GraderError(
                f"{file}: the same photo twice; give one of each face", "not_one_piece"
            )
        faces.append(_face_of(look, pieces[0], _NO_PIECE))
    return JointPiece("", tuple(faces))


def _face_of(look: Look, stone: dict, piece: str) -> FaceOfPiece:
    outline = tuple(map(tuple, stone["outline"]))
    return FaceOfPiece(piece, look.ask.sha256, tuple(stone["box"]), outline)


def joined_pieces(looks: Iterable[Look], ledger: Ledger | None) -> list[JointPiece]:
    """Return the pieces with several faces of which these photos show one, as the ledger knows them."""
    if ledger is None:
        return []
    photos = {look.ask.sha256 for look in looks}
    return [p for p in joint_pieces(ledger) if any(face.sha256 in photos for face in p.faces)]


def with_pieces(
    records: Sequence[dict],
    looks: Sequence[Look],
    pieces: Sequence[JointPiece],
    profile: Profile,
    model: Model,
    ledger: Ledger | None,
) -> list[dict]:
    """Return the records with what is said of the piece in each stone that is a face of one, as ``piece``.

    Parameters
    ----------
    records : graded, with calls or without; of other photos they stay as they are.
    looks : at those photos.
    ledger : where the other faces were seen, as they were shown last; a face that is nowhere counts as not there.
    """
    said: dict[tuple[str, int], dict] = {}
    for piece in pieces:
        places, faces = faces_seen(piece, looks, ledger)
        if len(faces) > 1:
            facts = [face.facts for face in faces]
            weight_g = piece_facts(facts, profile).weight_g
            record = one_piece_record(faces, propose_piece(facts, profile, model), weight_g)
            said |= dict.fromkeys(places, record)
    return [_with_piece(record, said) for record in records] if said else list(records)


def numbered_stones(
    looks: Iterable[Look], ledger: Ledger | None
) -> dict[tuple[str, int], stock.Piece]:
    """Return the numbered pieces that photos show, by (content of the photo, stone); stones without a number are left
    out."""
    if ledger is None:
        return {}
    stones = [
        FacePlace(look.ask.sha256, stone["id"], stone["box"], tuple(map(tuple, stone["outline"])))
        for look in looks
        for stone in look.record["pieces"]
    ]
    standing: dict[str, list[FaceOfPiece]] = {}
    for face in standing_faces(ledger, {stone.sha256 for stone in stones}):
        standing.setdefault(face.sha256, []).append(face)
    of = {
        (stone.sha256, stone.piece_id): own.piece
        for stone in stones
        if (own := _standing_at(stone, standing.get(stone.sha256, ())))
    }
    pieces = stock.pieces(ledger, uids=of.values())
    return {place: pieces[uid] for place, uid in of.items() if uid in pieces}


def with_numbers(
    records: Sequence[dict], numbered: Mapping[tuple[str, int], stock.Piece]
) -> list[dict]:
    """Return the records with the number of each stone that bears one, as ``number``."""
    return [
        record
        if "error" in record
        else record
        | {
            "pieces": [
                stone | {"number": numbered[place].code}
                if (place := (record["photo"]["sha256"], stone["id"])) in numbered
                else stone
                for stone in record["pieces"]
            ]
        }
        for record in records
    ]


def _with_piece(record: dict, said: dict[tuple[str, int], dict]) -> dict:
    if "error" in record:
        return record
    sha256 = record["photo"]["sha256"]
    stones = [
        stone | {"piece": said[sha256, stone["id"]]} if (sha256, stone["id"]) in said else stone
        for stone in record["pieces"]
    ]
    return record | {"pieces": stones}


def faces_seen(
    piece: JointPiece, looks: Sequence[Look], ledger: Ledger | None
) -> tuple[list[tuple[str, int]], list[Face]]:
    """Return the faces of a piece that are known, with (content of the photo, stone) of each: from these looks, else as
    their photos were shown last."""
    known = {look.ask.sha256: look for look in looks}
    for face in piece.faces:
        if face.sha256 not in known and ledger and (look := last_look(face.sha256, ledger)):
            known[face.sha256] = look
    on_photos = {sha256: replace(look.on_photo, photo=sha256) for sha256, look in known.items()}
    places = piece.places(on_photos)
    return places, [_face_at(known[sha256], sha256, stone) for sha256, stone in places]


def _face_at(look: Look, sha256: str, stone: int) -> Face:
    row = next(n for n, one in enumerate(look.record["pieces"]) if one["id"] == stone)
    return Face(look.ask.file, sha256, look.record["pieces"][row], look.stones[row])


def joining_facts(looks: Sequence[Look], ledger: Ledger) -> list[Fact]:
    """Return what is to be kept so that the only stones of these photos are one piece from now on; nothing where they
    are already. The pieces that they were of until now become one, with all their faces.

    Raises
    ------
    GraderError
        As :func:`faces_of_one`, or two of them bear numbers of a haul.
    """
    return _joining(faces_of_one(looks).faces, ledger, "call each by itself")


def further_facts(look: Look, ledger: Ledger) -> list[Fact]:
    """Return what is to be kept so that the further photos of the same face show the piece that the first one shows;
    nothing where they do already.

    Raises
    ------
    GraderError
        They bear two numbers of a haul.
    """
    facts: list[Fact] = []
    for stone in look.record["pieces"]:
        first = _face_of(look, stone, _NO_PIECE)
        further = [
            _again(photo["sha256"], shown["outline"], look.ask.sha256)
            for photo in look.record["photos"][1:]
            for shown in photo.get("stones", ())
            if shown["id"] == stone["id"]
        ]
        if further:
            file = look.record["photos"][1]["file"]
            help_ = f"say which it is for both photos, as grader haul photo NUMBER {look.ask.file} {file}"
            facts += _joining([first, *further], ledger, help_)
    return facts


def _again(sha256: str, outline: Sequence, first: str) -> FaceOfPiece:
    """The face in a further photo: of which photo it shows it again."""
    points = tuple(map(tuple, outline))
    xs, ys = zip(*points, strict=True)
    box = (min(xs), min(ys), max(1, max(xs) - min(xs)), max(1, max(ys) - min(ys)))
    return FaceOfPiece(_NO_PIECE, sha256, box, points, first)


def _joining(wanted: Sequence[FaceOfPiece], ledger: Ledger, help_: str) -> list[Fact]:
    """What is to be kept so that these faces are of one piece, with all faces of the pieces that they were of.

    help_ : what to do where they bear two numbers.
    """
    standing = standing_faces(ledger, [face.sha256 for face in wanted])
    own = [_standing_at(face, standing) for face in wanted]
    joint = {piece.uid: piece for piece in joint_pieces(ledger)}
    uids = list(dict.fromkeys(face.piece for face in own if face))
    if not uids:
        new = NamedPiece()
        return [new, *(face.of(new.uid) for face in wanted)]
    numbered = {uid: piece.code for uid, piece in stock.pieces(ledger, uids=uids).items()}
    if len(numbered) > 1:
        first, second, *_ = numbered.values()
        raise GraderError(
            f"{first} and {second} are two pieces of a haul; {help_}", "not_one_piece"
        )
    # A numbered piece keeps its number; else the piece with the most faces stays, of two the first one given.
    stays = max(
        uids, key=lambda uid: (uid in numbered, len(joint[uid].faces) if uid in joint else 1)
    )
    faces = [face for uid in uids if uid in joint for face in joint[uid].faces]
    faces += [_as_said(*pair) for pair in zip(own, wanted, strict=True)]
    moved = {(face.sha256, face.box): face for face in faces if face.piece != stays}
    return [face.of(stays) for face in moved.values()]


def _as_said(own: FaceOfPiece | None, said: FaceOfPiece) -> FaceOfPiece:
    """A face as it stands; that it shows another one again is told from now on."""
    if own is None or (said.again_of and said.again_of != own.again_of):
        box, outline = (own.box, own.outline) if own else (said.box, said.outline)
        return FaceOfPiece(_NO_PIECE, said.sha256, box, outline, said.again_of)
    return own


def parting_facts(piece: JointPiece) -> list[Fact]:
    """Return what is to be kept so that each face of a piece stands alone again; the first keeps the piece."""
    facts: list[Fact] = []
    for face in piece.faces[1:]:
        new = NamedPiece()
        facts += [new, face.of(new.uid)]
    return facts


def _standing_at(
    face: FaceOfPiece | FacePlace, standing: Sequence[FaceOfPiece]
) -> FaceOfPiece | None:
    return next((one for one in standing if same_face(one, face)), None)
