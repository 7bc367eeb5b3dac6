"""Trips and hauls begun, the parts of a haul without numbers noted, and numbers given to the stones of photos."""

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath

from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import stock, views
from grader.ledger.deeds import HaulBrought, Numbered, RestNoted, TripBegun, TypedWeight
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
    ledger: Ledger, code: str, raw: Weight, trip: int | None, author: str | None
) -> HaulBrought:
    """Keep what a trip brought home, and return it.

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
        return [HaulBrought(code, typed(raw), trip=found.get(trip))]

    return ledger.act(decide, author=author)[0]


def note_rest(
    ledger: Ledger,
    code: str,
    what: str,
    weight: Weight | None,
    author: str | None,
    *,
    grade: str | None = None,
    guessed: bool = False,
    piece: str | None = None,
    note: str | None = None,
) -> RestNoted:
    """Keep a part of a haul that is no piece for sale, or a numbered piece that was given away, kept or lost.

    Parameters
    ----------
    what : one of :data:`~grader.ledger.deeds.REST`.
    weight : ``None`` for a piece that was weighed.
    piece : its code.

    Raises
    ------
    LedgerError
        No such haul or piece, one that is not there any more, or no weight: one line.
    """

    def decide(reads):
        haul = stock.haul(reads, code)
        kept = None if weight is None else typed(weight)
        uid = None
        if piece is not None:
            there = open_piece(reads, piece)
            if there.haul != haul.uid:
                raise LedgerError(f"{piece}: is of another haul than {code}; name its own")
            uid = there.uid
            kept = kept or (there.net_g and TypedWeight(there.typed, there.net_g))
        if kept is None:
            raise LedgerError(f"{piece or what}: was never weighed; give its weight")
        return [RestNoted(haul.uid, what, kept, grade, guessed, uid, note)]

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
        raise LedgerError(f"{code}: is a lot; name a piece")
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
        told.clear()
        haul, act = stock.haul(reads, haul_code), new_uid()
        by_number = {
            (one.haul, one.number): one.uid for one in stock.pieces(reads, haul=haul.uid).values()
        }
        last = stock.last_number(reads, haul_code)
        shown, faces = views.boxes(reads, list(photos)), views.faces(reads, list(photos))
        known = stock.pieces(reads, uids=[entry.fact.piece for entry in faces])
        codes = {uid: one.code for uid, one in known.items()}
        facts: list[Fact] = []
        for sha256, name in photos.items():
            here = [entry for entry in faces if entry.fact.sha256 == sha256]
            boxes = shown.get(sha256, {})
            for stone, box in boxes.items():
                face = _face_at(box, here, codes)
                if face is None:
                    continue
                if face.piece in codes:
                    told.append(stock.NumberedStone(name, stone, codes[face.piece], False))
                    continue
                number = _in_name(name, haul_code) if len(boxes) == 1 else None
                piece = by_number.get((haul.uid, number)) if number else None
                if piece is not None:
                    facts.append(FaceOfPiece(piece, sha256, face.box, face.outline))
                    told.append(
                        stock.NumberedStone(name, stone, stock.code_of(haul_code, number), False)
                    )
                    continue
                number = number or last + 1
                last = max(last, number)
                by_number[haul.uid, number] = face.piece
                codes[face.piece] = stock.code_of(haul_code, number)
                facts.append(Numbered(face.piece, haul.uid, number, act=act))
                told.append(stock.NumberedStone(name, stone, codes[face.piece], True))
        return facts

    ledger.act(decide, author=author)
    return told


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
