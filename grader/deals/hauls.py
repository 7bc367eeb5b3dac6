"""Trips and hauls begun, the parts of a haul without numbers noted, and numbers given to the stones of photos."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import PurePosixPath

from grader.deals.tagging import NO_TAGS, TaggedPhoto
from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import history, stock, views
from grader.ledger.deeds import BINS, HaulBrought, Numbered, RestNoted, TripBegun, TypedWeight
from grader.ledger.facts import FaceOfPiece, Fact, NamedPiece, new_uid
from grader.ledger.joint import standing_faces
from grader.ledger.store import Ledger
from grader.weight import Weight


def typed(weight: Weight) -> TypedWeight:
    """Return a weight as facts keep it."""
    return TypedWeight(weight.typed, weight.grams)


def new_trip(ledger: Ledger, name: str, begins: str, author: str | None, **said) -> TripBegun:
    """Keep a trip, and return it with its number.

    said : the other fields of :class:`~grader.ledger.deeds.TripBegun`; what is not said is ``None``.
    """

    def decide(reads):
        number = 1 + max((trip.number for trip in stock.trips(reads)), default=0)
        return [TripBegun(number, name, begins, **said)]

    return ledger.act(decide, author=author)[0]


def new_haul(
    ledger: Ledger,
    code: str,
    raw: Weight,
    trip: int | None,
    author: str | None,
    guess: Decimal | None = None,
) -> HaulBrought:
    """Keep what a trip brought home, and return it. guess : money that the seller thinks it worth.

    Raises
    ------
    LedgerError
        There is a haul of that code, or no such trip: one line.
    """

    def decide(reads):
        if any(one.code == code for one in stock.hauls(reads)):
            raise LedgerError(f"haul {code} is there already; give this one another number")
        found = {one.number: one.uid for one in stock.trips(reads)}
        if trip is not None and trip not in found:
            raise LedgerError(
                f"no trip {trip}; grader trip list shows them, grader trip new begins one"
            )
        return [HaulBrought(code, typed(raw), trip=found.get(trip), guess=guess)]

    return ledger.act(decide, author=author)[0]


@dataclass(frozen=True)
class PartOfHaul:
    """A part of a haul that is no piece for sale, or a numbered piece that was given away, kept or lost.

    what : one of :data:`~grader.ledger.deeds.REST`.   weight : ``None`` for a piece that was weighed.
    piece : its code.   sample : contents of photos of pieces drawn from it at random.
    """

    what: str
    weight: Weight | None
    grade: str | None = None
    guessed: bool = False
    piece: str | None = None
    note: str | None = None
    sample: tuple[str, ...] | None = None


def note_part(ledger: Ledger, code: str, part: PartOfHaul, author: str | None) -> RestNoted:
    """Keep a part of a haul, and return it.

    Raises
    ------
    LedgerError
        No such haul or piece, one that is not there any more, or no weight: one line.
    """

    def decide(reads):
        haul = stock.haul(reads, code)
        kept = None if part.weight is None else typed(part.weight)
        uid = None
        if part.piece is not None:
            there = open_piece(reads, part.piece)
            if there.haul != haul.uid:
                raise LedgerError(f"{part.piece}: is of another haul than {code}; name its own")
            uid = there.uid
            kept = kept or (there.net_g and TypedWeight(there.typed, there.net_g))
        if kept is None:
            raise LedgerError(f"{part.piece or part.what}: was never weighed; give its weight")
        number = 1 + stock.last_bin(reads, code) if part.what in BINS and uid is None else None
        return [
            RestNoted(
                haul.uid,
                part.what,
                kept,
                part.grade,
                part.guessed,
                uid,
                part.note,
                number,
                part.sample,
            )
        ]

    return ledger.act(decide, author=author)[0]


#: Why a piece is not there to be dealt with.
_FATES = {
    "broken": "was broken; deal with its parts",
    "sold": "is sold; grader return brings it back",
    "gifts": "was given away",
    "kept": "is kept, not for sale",
    "lost": "is lost",
}


def open_piece(reads: stock.Reads, code: str) -> stock.Piece:
    """Return a piece that is there, in no lot.

    Raises
    ------
    LedgerError
        There is no such piece, it is gone, or it lies in a lot: one line.
    """
    found = stock.thing(reads, code)
    if not isinstance(found, stock.Piece):
        kind = "lot" if isinstance(found, stock.StockLot) else "bin"
        raise LedgerError(f"{code}: is a {kind}; name a piece")
    if found.fate:
        raise LedgerError(f"{code}: {_FATES[found.fate]}")
    if found.lot:
        lot = stock.lots(reads, uids=[found.lot])[found.lot].code
        raise LedgerError(f"{code}: lies in lot {lot}; deal with that, or take the lot back first")
    return found


def number_photos(
    ledger: Ledger,
    haul_code: str,
    photos: Mapping[str, str],
    author: str | None,
    tags: Mapping[str, TaggedPhoto] = {},
) -> list[stock.NumberedStone]:
    """Give the stones of photos, as they were shown last, numbers of a haul, and return all with their numbers.

    A stone that has a number keeps it. Else its tag says it; else, of a photo of one stone whose name begins with a
    number, as ``07-113_2.jpg``, the name; else it gets the next one after all that were given or printed before, or
    that a name or a tag says now, whichever photo comes first. What one photo says holds for all faces of the piece
    that these photos show; of two tags that of the photo that was named first.

    Parameters
    ----------
    photos : content and name of each, in the order of numbering.
    tags : what tags say, by the content of the photo.

    Raises
    ------
    LedgerError
        No such haul.
    """
    told: list[stock.NumberedStone] = []

    def decide(reads):
        set_aside = {_in_name(name, haul_code) or 0 for name in photos.values()}
        set_aside |= {number for tagged in tags.values() for number in tagged.seen}
        numbering = _Numbering(reads, stock.haul(reads, haul_code), set_aside)
        shown, faces = views.boxes(reads, list(photos)), standing_faces(reads, photos)
        known = stock.pieces(reads, uids=[face.piece for face in faces])
        numbering.codes |= {uid: one.code for uid, one in known.items()}
        told.clear()
        seen: list[_SeenStone] = []
        on_photo: dict[str, list[FaceOfPiece]] = {}
        for face in faces:
            on_photo.setdefault(face.sha256, []).append(face)
        for sha256, name in photos.items():
            here = on_photo.get(sha256, ())
            boxes = shown.get(sha256, {})
            by_tag, in_name = tags.get(sha256, NO_TAGS), None
            if len(boxes) == 1:
                in_name = _in_name(name, haul_code)
            for stone, box in boxes.items():
                if face := _face_at(box, here, numbering.codes):
                    number, unsure = by_tag.numbers.get(stone), stone in by_tag.unnumbered
                    seen.append(_SeenStone(name, stone, face, number, in_name, unsure))
        said = _said_of_pieces(seen)
        for one in seen:
            number, in_name, unsure = said[one.face.piece]
            if one.face.piece in numbering.codes or number or in_name or not unsure:
                code, new = numbering.of(one.face, number or in_name, on_tag=number is not None)
                tag = one.tag and stock.code_of(haul_code, one.tag)
                told.append(stock.NumberedStone(one.photo, one.stone, code, new, tag))
        return numbering.facts

    ledger.act(decide, author=author)
    return told


@dataclass(frozen=True)
class _SeenStone:
    """A stone on a photo with its face, and the number that its tag or the photo's name says. unsure : its tag tells
    none."""

    photo: str
    stone: int
    face: FaceOfPiece
    tag: int | None
    in_name: int | None
    unsure: bool


def _said_of_pieces(seen: Iterable[_SeenStone]) -> dict[str, tuple[int | None, int | None, bool]]:
    """What is said of each piece on any of its photos: a number on a tag, one in a name, and whether a tag tells none.
    A photo that was given as a further one speaks after that which it shows again."""
    of: dict[str, list[_SeenStone]] = {}
    for one in sorted(seen, key=lambda one: one.face.again_of is not None):
        of.setdefault(one.face.piece, []).append(one)
    return {
        piece: (
            next((one.tag for one in stones if one.tag), None),
            next((one.in_name for one in stones if one.in_name), None),
            any(one.unsure for one in stones),
        )
        for piece, stones in of.items()
    }


class _Numbering:
    """Numbers given in one act. set_aside : those that names and tags say.   codes : of pieces, by uid.   facts : to be
    kept."""

    def __init__(self, reads: stock.Reads, haul: stock.Haul, set_aside: Iterable[int]) -> None:
        self._reads, self._haul, self._act = reads, haul, new_uid()
        of_haul = stock.pieces(reads, haul=haul.uid).values()
        self._by_number = {one.number: one.uid for one in of_haul}
        # Else a stone that comes before the photo named 08-001 would be taken for that one.
        self._last = max([stock.last_number(reads, haul.code), *set_aside])
        self.codes: dict[str, str] = {}
        self.facts: list[Fact] = []

    def of(self, face: FaceOfPiece, wanted: int | None, on_tag: bool = False) -> tuple[str, bool]:
        """Return the code of a face's piece, and whether it was given now.

        wanted : the number that its tag (``on_tag``) or the name of its photo says.
        """
        if face.piece in self.codes:
            return self.codes[face.piece], False
        if wanted in self._by_number:
            piece = self._by_number[wanted]
            self.facts += [one.of(piece) for one in _faces_of(self._reads, face.piece)]
            self.codes[face.piece] = stock.code_of(self._haul.code, wanted)
            return self.codes[face.piece], False
        if wanted and not on_tag and stock.was_given(self._reads, self._haul.code, wanted):
            wanted = (
                None  # It was taken back, and stays given; a tag lies with its stone all the same.
            )
        number = wanted or self._last + 1
        self._last = max(self._last, number)
        self._by_number[number] = face.piece
        self.codes[face.piece] = stock.code_of(self._haul.code, number)
        self.facts.append(Numbered(face.piece, self._haul.uid, number, act=self._act))
        return self.codes[face.piece], True


def show_piece(
    ledger: Ledger, code: str, sha256: str, stone: int | None, author: str | None
) -> tuple[str, str | None]:
    """Keep that a stone on a photo, as it was shown last, is that piece, and return the piece's code, and the one that
    the stone had until now.

    A number that no piece bears yet, as on a tag, is given to it.

    Parameters
    ----------
    stone : its number on the photo; ``None`` where there is one alone.

    Raises
    ------
    LedgerError
        No such haul or stone, or it is the number of a lot: one line.
    """
    told: list[str | None] = []

    def decide(reads):
        haul_code, kind, number = stock.read_code(code)
        if kind:
            raise LedgerError(f"{code}: is a {stock.KINDS[kind]}; a photo shows pieces")
        haul = stock.haul(reads, haul_code)
        face = _face_of_stone(reads, sha256, stone)
        further = [one for one in _faces_of(reads, face.piece) if one.again_of == face.sha256]
        before = stock.pieces(reads, uids=[face.piece]).get(face.piece)
        told[:] = [stock.code_of(haul_code, number), before and before.code]
        live = {one.number: one.uid for one in stock.pieces(reads, haul=haul.uid).values()}
        facts: list[Fact] = []
        piece = live.get(number)
        if piece is None:
            made = NamedPiece() if before else None
            piece = made.uid if made else face.piece
            facts = [*([made] if made else []), Numbered(piece, haul.uid, number)]
        if piece != face.piece:
            facts += [one.of(piece) for one in (face, *further)]
        return facts

    ledger.act(decide, author=author)
    return told[0], told[1]


def _faces_of(reads: stock.Reads, piece: str) -> list[FaceOfPiece]:
    """The faces that are said to be of a piece now."""
    photos = {entry.fact.sha256 for entry in history.seen(reads, piece)}
    return [face for face in standing_faces(reads, photos) if face.piece == piece]


def _face_of_stone(reads: stock.Reads, sha256: str, stone: int | None) -> FaceOfPiece:
    boxes = views.boxes(reads, [sha256]).get(sha256, {})
    if stone is None and len(boxes) != 1:
        raise LedgerError(f"it shows {len(boxes)} stones; say which with --piece")
    stone = next(iter(boxes)) if stone is None else stone
    face = stone in boxes and _face_at(boxes[stone], standing_faces(reads, [sha256]), {})
    if not face:
        raise LedgerError(f"it shows no stone {stone}; grader check tells which there are")
    return face


def _face_at(
    box: views.Box, faces: Sequence[FaceOfPiece], codes: Mapping[str, str]
) -> FaceOfPiece | None:
    """The face at a place of the photo, that of a numbered piece before others."""
    there = [face for face in faces if box_overlap(box, face.box) >= SAME_STONE]
    order = sorted(there, key=lambda face: (face.piece in codes, box_overlap(box, face.box)))
    return order[-1] if order else None


def _in_name(name: str, haul: str) -> int | None:
    match = re.match(rf"{re.escape(haul)}-(\d{{1,7}})(?!\d)", PurePosixPath(name).name)
    return int(match[1]) or None if match else None
