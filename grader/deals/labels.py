"""What stands on the labels of pieces and lots, and numbers that are printed on tags before there are pieces."""

import re
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal

from grader.deals.grades import PieceGrade, session_grades
from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import stock, views
from grader.ledger.deeds import TagsPrinted
from grader.ledger.piece_faces import faces_of
from grader.ledger.store import Ledger
from grader.profile import Profile
from grader.report.label_sheet import Label
from grader.report.weights import weight_text
from grader.report.words import counted
from grader.session import Session

#: So many tags at once: more are most likely a slip of the pen, and a number printed is never free again.
MOST_TAGS = 2000


def read_tags(text: str) -> tuple[str, int, int]:
    """Return haul, first and last number of what is written as "07-001..07-200", "07-1..200" or "07-5".

    Raises
    ------
    LedgerError
        It is no such range: one line.
    """
    first, _, last = (part.strip() for part in re.sub(r"\.{2,}|…", "\t", text).partition("\t"))
    haul, kind, from_number = stock.read_code(first)
    last = last or first
    haul_again, kind_again, to_number = stock.read_code(last if "-" in last else f"{haul}-{last}")
    if kind or kind_again:
        raise LedgerError(
            f"{text}: lots and bins get their numbers when they are made; print tags of pieces"
        )
    if haul_again != haul:
        raise LedgerError(f"{text}: is of two hauls; print the tags of one at a time")
    if to_number < from_number:
        raise LedgerError(f"{text}: ends before it begins; write it as 07-001..07-200")
    if to_number - from_number >= MOST_TAGS:
        raise LedgerError(f"{text}: more than {MOST_TAGS} tags; print them in parts")
    return haul, from_number, to_number


def print_tags(
    ledger: Ledger, haul: str, first: int, last: int, author: str | None
) -> tuple[list[Label], list[str]]:
    """Keep that tags of these numbers are printed, and return them, and the codes of those that pieces bear already.

    What is printed a second time is kept once.
    """
    borne: list[str] = []

    def decide(reads):
        of = [one.uid for one in stock.hauls(reads) if one.code == haul]
        pieces = [piece for uid in of for piece in stock.pieces(reads, haul=uid).values()]
        borne[:] = [piece.code for piece in pieces if first <= piece.number <= last]
        known = stock.tags_printed(reads, haul, first, last)
        return [] if known else [TagsPrinted(haul, first, last)]

    ledger.act(decide, author=author)
    return [Label(stock.code_of(haul, n)) for n in range(first, last + 1)], borne


def labels_of_haul(
    session: Session, code: str, on_piece: Callable[[int, int], None] = lambda done, total: None
) -> list[Label]:
    """Return the labels of all pieces of a haul that are there, by number, then those of its lots.

    on_piece : told for how many of how many that nobody called the model was asked.

    Raises
    ------
    LedgerError
        No such haul, or nothing there: one line.
    """
    ledger = session.need_ledger("labels")
    haul = stock.haul(ledger, code)
    things = [one for one in stock.pieces(ledger, haul=haul.uid).values() if not one.fate]
    things += [one for one in stock.lots(ledger, haul=haul.uid).values() if not one.sold]
    if not things:
        raise LedgerError(
            f"haul {code}: no piece with a number is there; grader labels --blank {code}-001..{code}-050 prints "
            "tags before there are photos"
        )
    return _labels(session, things, on_piece)


def labels_of(session: Session, codes: Iterable[str]) -> list[Label]:
    """Return the labels of pieces and lots, in this order.

    Raises
    ------
    LedgerError
        One is not known, or was broken: one line.
    """
    ledger = session.need_ledger("labels")
    things = [stock.thing(ledger, code) for code in codes]
    for one in things:
        if isinstance(one, stock.Piece) and one.fate == "broken":
            raise LedgerError(f"{one.code}: was broken; print the labels of its parts")
    return _labels(session, things)


def _labels(
    session: Session,
    things: Sequence[stock.Piece | stock.StockLot | stock.Rest],
    on_piece: Callable[[int, int], None] = lambda done, total: None,
) -> list[Label]:
    ledger, profile, unit = session.need_ledger("labels"), session.profile, session.settings.unit
    pieces = [one.uid for one in things if isinstance(one, stock.Piece)]
    within = [uid for one in things if isinstance(one, stock.StockLot) for uid in one.pieces]
    grades = session_grades(session, pieces, on_piece=on_piece)
    states = _states(ledger, {*pieces, *within})
    labels = []
    for one in things:
        if isinstance(one, stock.Rest):
            words = f"{one.what}: {one.grade}" if one.grade else one.what
            labels.append(Label(one.code, words, None, _weight_words(one, unit), ""))
            continue
        is_lot = isinstance(one, stock.StockLot)
        grade = PieceGrade(one.grade, True) if is_lot else grades.get(one.uid)
        of = one.pieces if is_lot else (one.uid,)
        weight = _weight_words(one, unit) + (f", {counted(len(of), 'piece')}" if is_lot else "")
        seen = sorted({state for uid in of for state in states.get(uid, ())})
        photo = f"{photos_words(seen)}; grades: {profile.name} {profile.version}"
        labels.append(Label(one.code, *_grade_words(grade, profile), weight, photo))
    return labels


def _weight_words(one: stock.Piece | stock.StockLot | stock.Rest, unit: str) -> str:
    """What it weighs; a guess is none."""
    if one.net_g is None or one.guessed:
        return "not weighed"
    wet = not isinstance(one, stock.Rest) and one.wet
    return f"net {weight_text(Decimal(one.net_g), unit)}" + (", weighed wet" if wet else "")


def _grade_words(grade: PieceGrade | None, profile: Profile) -> tuple[str, str | None]:
    if grade is None or grade.grade is None:
        return "not graded", None
    meaning = next((rung.meaning for rung in profile.ladder if rung.grade == grade.grade), None)
    return grade.grade + ("" if grade.called else ", proposed"), meaning


def photos_words(states: Sequence[str]) -> str:
    """Return how its faces were photographed, wet or dry, as a label has it."""
    if not states:
        return "no photo"
    known = [_STATES.get(state, state) for state in states if state != "unknown"]
    if not known:
        return "photo: wet or dry not known"
    told = " and ".join(known) + (", some not known" if len(known) < len(states) else "")
    return f"photo: {told}" if len(states) == 1 else f"photos: {told}"


#: As a buyer is told.
_STATES = {"patchy": "half dried"}


def _states(ledger: Ledger, pieces: Iterable[str]) -> dict[str, set[str]]:
    """How the faces of pieces were photographed, wet or dry, by uid, as their photos were shown last."""
    faces = faces_of(ledger, pieces)
    shown = views.last_looks(ledger, {face.sha256 for face in faces})
    looks = views.measured_by_uid(ledger, shown.values())
    found: dict[str, set[str]] = {}
    for face in faces:
        look = looks.get(shown.get(face.sha256))
        for stone in look.fact.record["pieces"] if look else ():
            if box_overlap(tuple(stone["box"]), face.box) >= SAME_STONE:
                found.setdefault(face.piece, set()).add(stone["state"]["value"])
    return found
