"""What grade a numbered piece has: the call that counts on its faces, else what is proposed for them together."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from grader.deals.sales import Grading
from grader.grading.calls.joining import SAME_STONE, Stones, box_overlap, house_call, join_calls
from grader.grading.features.facts import StoneFacts, facts_from
from grader.grading.features.several_faces import piece_facts
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.grading.propose import propose_piece
from grader.ledger import stock, views
from grader.ledger.face_sizes import face_sizes
from grader.ledger.piece_faces import PieceFace, faces_of
from grader.ledger.store import Ledger
from grader.profile import Profile
from grader.session import Session


@dataclass(frozen=True)
class PieceGrade:
    """A piece's grade; ``called`` by a person, else proposed.

    size : size class of its largest face, ``None`` without a scale.
    chances : of each grade, of a proposed one, sum 1.   first : what the tool had proposed when it was called first.
    unfamiliar : the model does not know such a stone, so that its grade is no more than a guess.
    """

    grade: str | None
    called: bool
    size: str | None = None
    chances: Mapping[str, float] = field(default_factory=dict)
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


def session_grades(session: Session, uids: Collection[str]) -> dict[str, PieceGrade]:
    """Return the same of any pieces; a model is only asked where nobody called."""
    called = called_grades(session, uids)
    left = [uid for uid in uids if uid not in called]
    ledger = session.need_ledger("grades of pieces")
    sizes = face_sizes(ledger, called) if called else {}
    called |= {uid: replace(called[uid], size=size.size_class) for uid, size in sizes.items()}
    if not faces_of(ledger, left):
        return called
    return called | proposed_grades(ledger, left, session.profile, session.model())


def called_grades(session: Session, uids: Collection[str]) -> dict[str, PieceGrade]:
    """Return the grades that people called, by uid of piece; those that nobody called are left out."""
    ledger = session.need_ledger("grades of pieces")
    faces = _by_photo(faces_of(ledger, uids, called=True, outlines=False))
    calls = views.calls(ledger, sha256=list(faces))
    # Ten thousand outlines take seconds: where one face alone lies in the very box that was called, they tell no more.
    unclear = {
        call.sha256
        for call in calls
        if len(faces[call.sha256]) > 1 or call.box != faces[call.sha256][0].box
    }
    if unclear:
        of_unclear = [face.piece for sha256 in unclear for face in faces[sha256]]
        again = _by_photo(faces_of(ledger, of_unclear, called=True))
        faces |= {sha256: again[sha256] for sha256 in unclear}
        told = {one.uid: one for one in views.calls(ledger, sha256=list(unclear), outlines=True)}
        calls = tuple(told.get(call.uid, call) for call in calls)
    # One call on one stone needs no search for it.
    said_on = Counter(call.sha256 for call in calls)
    people: dict[str, list[Call]] = {}
    joint = {sha256 for sha256, count in said_on.items() if count > 1} | unclear
    for call in calls:
        if call.sha256 not in joint:
            people.setdefault(faces[call.sha256][0].piece, []).append(call)
    stones = [
        Stones(
            sha256,
            sha256,
            {n: face.box for n, face in enumerate(faces[sha256])},
            {n: face.outline for n, face in enumerate(faces[sha256]) if face.outline},
        )
        for sha256 in joint
    ]
    left = [call for call in calls if call.sha256 in joint]
    for (sha256, n), said in join_calls(stones, left).by_person.items():
        people.setdefault(faces[sha256][n].piece, []).extend(said)
    order = {call.uid: n for n, call in enumerate(calls)}
    house = {
        uid: house_call(
            sorted(said, key=lambda call: (call.time, order[call.uid])), session.settings.decider
        )
        for uid, said in people.items()
    }
    firsts = {uid: _first_proposal(said) for uid, said in people.items()}
    return {
        uid: PieceGrade(call.grade, True, first=firsts[uid])
        for uid, call in house.items()
        if call is not None and call.grade
    }


def _first_proposal(said: list[Call]) -> str | None:
    """What the tool had proposed when a piece was called first."""
    shown = (call.shown.grade for call in sorted(said, key=lambda call: call.time) if call.shown)
    return next((grade for grade in shown if grade), None)


def gradings(session: Session, codes: Iterable[str]) -> dict[str, Grading]:
    """Return grade and size of pieces by code; lots, and what bears no such code, are left out."""
    ledger = session.need_ledger("grades of pieces")
    things = [stock.thing(ledger, code) for code in codes]
    by_uid = {one.uid: one.code for one in things if isinstance(one, stock.Piece)}
    known = session_grades(session, by_uid)
    return {by_uid[uid]: Grading(one.grade, one.size) for uid, one in known.items()}


def proposed_grades(
    ledger: Ledger, uids: Collection[str], profile: Profile, model: Model
) -> dict[str, PieceGrade]:
    """Return what a model proposes for pieces by uid, as their photos were shown last; pieces without a photo are left
    out."""
    proposed = {}
    for uid, facts in measured_facts(ledger, uids).items():
        _, proposal = propose_piece(facts, profile, model)
        size = piece_facts(facts, profile).size_class
        grade, chances = (proposal.grade, proposal.probabilities) if proposal else (None, {})
        unfamiliar = bool(proposal and proposal.unfamiliar)
        proposed[uid] = PieceGrade(grade, False, size, chances, unfamiliar=unfamiliar)
    return proposed


def measured_facts(ledger: Ledger, uids: Collection[str]) -> dict[str, list[StoneFacts]]:
    """Return what is known of the faces of pieces by uid, as their photos were shown last; pieces without a photo are
    left out."""
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
