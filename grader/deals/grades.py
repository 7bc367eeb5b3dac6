"""What grade a numbered piece has: the call that counts on its faces, else what is proposed for them together."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from grader.deals.sales import Grading
from grader.grading.calls.joining import (
    SAME_STONE,
    Stones,
    Word,
    box_overlap,
    house_grade,
    join_calls,
)
from grader.grading.proposal import Call
from grader.ledger import stock, views
from grader.ledger.face_sizes import face_sizes
from grader.ledger.piece_faces import FaceCall, PieceFace, calls_by_face, faces_of
from grader.ledger.store import Ledger
from grader.session import Session

if TYPE_CHECKING:
    # What proposes is loaded where somebody asks for it: a list of called pieces need not wait.
    from grader.grading.features.facts import StoneFacts
    from grader.grading.models.model import Model
    from grader.profile import Profile


class PieceGrade(NamedTuple):
    """A piece's grade; ``called`` by a person, else proposed.

    size : size class of its largest face, ``None`` without a scale.
    chances : of each grade, of a proposed one, sum 1.   first : what the tool had proposed when it was called first.
    unfamiliar : the model does not know such a stone, so that its grade is no more than a guess.
    """

    grade: str | None
    called: bool
    size: str | None = None
    chances: Mapping[str, float] = MappingProxyType({})
    first: str | None = None
    unfamiliar: bool = False


def known_grades(session: Session, haul: str) -> dict[str, PieceGrade]:
    """Return the grades of a haul's pieces by uid, by the session's profile, model and decider.

    Raises
    ------
    LedgerError
        No such haul.
    """
    ledger = session.need_ledger("grades of pieces")
    pieces = stock.pieces(ledger, haul=stock.haul(ledger, haul).uid)
    return session_grades(session, pieces)


def session_grades(
    session: Session,
    uids: Collection[str],
    *,
    first: bool = False,
    on_piece: Callable[[int, int], None] = lambda done, total: None,
) -> dict[str, PieceGrade]:
    """Return the same of any pieces; a model is only asked where nobody called.

    first : as of :func:`called_grades`.   on_piece : told for how many of how many the model was asked.
    """
    called = called_grades(session, uids, first=first)
    left = [uid for uid in uids if uid not in called]
    ledger = session.need_ledger("grades of pieces")
    sizes = face_sizes(ledger, called) if called else {}
    called |= {uid: called[uid]._replace(size=size.size_class) for uid, size in sizes.items()}
    if not faces_of(ledger, left):
        return called
    return called | proposed_grades(ledger, left, session.profile, session.model(), on_piece)


def called_grades(
    session: Session, uids: Collection[str], *, first: bool = False
) -> dict[str, PieceGrade]:
    """Return the grades that people called, by uid of piece; those that nobody called are left out.

    first : what the tool had proposed is wanted too; of ten thousand it takes a while to read.
    """
    ledger = session.need_ledger("grades of pieces")
    beside = calls_by_face(ledger, uids, shown=first)
    faces_beside = Counter(one.order for one in beside)
    # Where one face alone lies in the very box that was called, no outline tells more; ten thousand take seconds.
    unclear = {one.photo for one in beside if faces_beside[one.order] > 1 or not one.same}
    words: dict[str, list[Word | FaceCall]] = {}
    for one in beside:
        if one.photo not in unclear:
            words.setdefault(one.piece, []).append(one)
    if unclear:
        orders = {one.uid: one.order for one in beside}
        for uid, calls in _calls_on(ledger, uids, unclear).items():
            words.setdefault(uid, []).extend(_word(orders[call.uid], call) for call in calls)
    decider = session.settings.decider
    graded = {uid: house_grade(said, decider) for uid, said in words.items()}
    return {
        uid: PieceGrade(grade, True, first=_first_proposal(words[uid]) if first else None)
        for uid, grade in graded.items()
        if grade
    }


def _calls_on(ledger: Ledger, uids: Collection[str], photos: set[str]) -> dict[str, list[Call]]:
    """The calls on faces of pieces on these photos, by uid of piece; whose face each is on, the outlines tell."""
    faces = _by_photo(one for one in faces_of(ledger, uids, called=True) if one.sha256 in photos)
    stones = [
        Stones(
            sha256,
            sha256,
            {n: face.box for n, face in enumerate(here)},
            {n: face.outline for n, face in enumerate(here) if face.outline},
        )
        for sha256, here in faces.items()
    ]
    joined = join_calls(stones, views.calls(ledger, sha256=list(faces), outlines=True))
    found: dict[str, list[Call]] = {}
    for (sha256, n), said in joined.by_person.items():
        found.setdefault(faces[sha256][n].piece, []).extend(said)
    return found


def _word(order: int, call: Call) -> Word:
    shown = call.shown and call.shown.grade
    return Word(order, call.sha256, call.by, call.time, call.grade, shown)


def _first_proposal(said: Iterable[Word | FaceCall]) -> str | None:
    """What the tool had proposed when a piece was called first."""
    shown = [(word.time, word.order, word.shown) for word in said if word.shown]
    return min(shown)[2] if shown else None


def gradings(session: Session, codes: Iterable[str]) -> dict[str, Grading]:
    """Return grade and size of pieces by code; lots, and what bears no such code, are left out."""
    ledger = session.need_ledger("grades of pieces")
    things = [stock.thing(ledger, code) for code in codes]
    by_uid = {one.uid: one.code for one in things if isinstance(one, stock.Piece)}
    known = session_grades(session, by_uid)
    return {by_uid[uid]: Grading(one.grade, one.size) for uid, one in known.items()}


def proposed_grades(
    ledger: Ledger,
    uids: Collection[str],
    profile: "Profile",
    model: "Model",
    on_piece: Callable[[int, int], None] = lambda done, total: None,
) -> dict[str, PieceGrade]:
    """Return what a model proposes for pieces by uid, as their photos were shown last; pieces without a photo are left
    out."""
    from grader.grading.features.several_faces import piece_facts
    from grader.grading.propose import propose_piece

    proposed, measured = {}, measured_facts(ledger, uids)
    for done, (uid, facts) in enumerate(measured.items(), start=1):
        _, proposal = propose_piece(facts, profile, model)
        size = piece_facts(facts, profile).size_class
        grade, chances = (proposal.grade, proposal.probabilities) if proposal else (None, {})
        unfamiliar = bool(proposal and proposal.unfamiliar)
        proposed[uid] = PieceGrade(grade, False, size, chances, unfamiliar=unfamiliar)
        on_piece(done, len(measured))
    return proposed


def measured_facts(ledger: Ledger, uids: Collection[str]) -> "dict[str, list[StoneFacts]]":
    """Return what is known of the faces of pieces by uid, as their photos were shown last; pieces without a photo are
    left out."""
    from grader.grading.features.facts import facts_from

    faces = _by_photo(faces_of(ledger, uids))
    measured: dict[str, list[StoneFacts]] = {}
    for stone in views.stones(ledger, list(faces)):
        for face in faces[stone.sha256] if stone.box else ():
            if box_overlap(stone.box, face.box) >= SAME_STONE:
                measured.setdefault(face.piece, []).append(facts_from(stone.facts))
    return measured


def _by_photo(faces: Iterable[PieceFace]) -> dict[str, list[PieceFace]]:
    """Faces by the content of their photo."""
    found: dict[str, list[PieceFace]] = {}
    for face in faces:
        found.setdefault(face.sha256, []).append(face)
    return found
