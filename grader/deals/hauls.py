"""Trips and hauls begun, the parts of a haul without numbers noted, and numbers given to the stones of photos."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import PurePosixPath

from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import stock, views
from grader.ledger.deeds import BINS, HaulBrought, Numbered, RestNoted, TripBegun, TypedWeight
from grader.ledger.facts import Entry, FaceOfPiece, Fact, new_uid
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
    ledger: Ledger, haul_code: str, photos: Mapping[str, str], author: str | None
) -> list[stock.NumberedStone]:
    """Give the stones of photos, as they were shown last, numbers of a haul, and return all with their numbers.

    A stone that has a number keeps it. A photo of one stone whose name begins with a number, as ``07-113 back.jpg``,
    shows that piece.

    Parameters
    ----------
    photos : content and name of each, in the order of numbering.

    Raises
    ------
    LedgerError
        No such haul.
    """
    told: list[stock.NumberedStone] = []

    def decide(reads):
        numbering = _Numbering(reads, stock.haul(reads, haul_code))
        shown, faces = views.boxes(reads, list(photos)), views.faces(reads, list(photos))
        known = stock.pieces(reads, uids=[entry.fact.piece for entry in faces])
        numbering.codes |= {uid: one.code for uid, one in known.items()}
        told.clear()
        for sha256, name in photos.items():
            here = [entry for entry in faces if entry.fact.sha256 == sha256]
            boxes = shown.get(sha256, {})
            number = _in_name(name, haul_code) if len(boxes) == 1 else None
            for stone, box in boxes.items():
                if face := _face_at(box, here, numbering.codes):
                    told.append(stock.NumberedStone(name, stone, *numbering.of(face, number)))
        return numbering.facts

    ledger.act(decide, author=author)
    return told


class _Numbering:
    """Numbers given in one act. codes : of pieces, by uid.   facts : to be kept."""

    def __init__(self, reads: stock.Reads, haul: stock.Haul) -> None:
        self._reads, self._haul, self._act = reads, haul, new_uid()
        of_haul = stock.pieces(reads, haul=haul.uid).values()
        self._by_number = {one.number: one.uid for one in of_haul}
        self._last = stock.last_number(reads, haul.code)
        self.codes: dict[str, str] = {}
        self.facts: list[Fact] = []

    def of(self, face: FaceOfPiece, wanted: int | None) -> tuple[str, bool]:
        """Return the code of a face's piece, and whether it was given now; ``wanted`` is the number in its photo's
        name."""
        if face.piece in self.codes:
            return self.codes[face.piece], False
        if wanted in self._by_number:
            piece = self._by_number[wanted]
            self.facts.append(FaceOfPiece(piece, face.sha256, face.box, face.outline))
            return stock.code_of(self._haul.code, wanted), False
        if wanted and stock.was_given(self._reads, self._haul.code, wanted):
            wanted = None  # It was taken back, and stays given.
        number = wanted or self._last + 1
        self._last = max(self._last, number)
        self._by_number[number] = face.piece
        self.codes[face.piece] = stock.code_of(self._haul.code, number)
        self.facts.append(Numbered(face.piece, self._haul.uid, number, act=self._act))
        return self.codes[face.piece], True


def _face_at(
    box: views.Box, faces: Sequence[Entry[FaceOfPiece]], codes: Mapping[str, str]
) -> FaceOfPiece | None:
    """The face at a place of the photo, that of a numbered piece before others."""
    there = [e.fact for e in faces if box_overlap(box, e.fact.box) >= SAME_STONE]
    order = sorted(there, key=lambda face: (face.piece in codes, box_overlap(box, face.box)))
    return order[-1] if order else None


def _in_name(name: str, haul: str) -> int | None:
    match = re.match(rf"{re.escape(haul)}-(\d{{1,7}})(?!\d)", PurePosixPath(name).name)
    return int(match[1]) or None if match else None
