"""What grade a numbered piece has: the call that counts on its faces, else what is proposed for them together."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from grader.deals.sales import Grading
from grader.grading.calls.joining import SAME_STONE, Stones, box_overlap, house_call, join_calls
from grader.grading.features.facts import StoneFacts, facts_from
from grader.grading.features.several_faces import piece_facts
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.grading.propose import propose_piece
from grader.ledger import stock, views
from grader.ledger.piece_faces import PieceFace, faces_of
from grader.ledger.store import Ledger
from grader.profile import Profile
from grader.session import Session


@dataclass(frozen=True)
class PieceGrade:
    """A piece's grade; ``called`` by a person, else proposed.

    size : size class of a face, ``None`` of called ones and without a scale.
    unfamiliar : the model does not know such a stone, so that its grade is no more than a guess.
    """

    grade: str | None
    called: bool
    size: str | None = None
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
    if not faces_of(ledger, left):
        return called
    return called | proposed_grades(ledger, left, session.profile, session.model())


def called_grades(session: Session, uids: Collection[str]) -> dict[str, PieceGrade]:
    """Return the grades that people called, by uid of piece; those that nobody called are left out."""
    ledger = session.need_ledger("grades of pieces")
    faces = _by_photo(faces_of(ledger, uids, called=True))
    stones = [
        Stones(
            sha256,
            sha256,
            {n: face.box for n, face in enumerate(of)},
            {n: face.outline for n, face in enumerate(of) if face.outline},
        )
        for sha256, of in faces.items()
    ]
    calls = views.calls(ledger, sha256=list(faces), outlines=True)
    people: dict[str, list[Call]] = {}
    for (sha256, n), said in join_calls(stones, calls).by_person.items():
        people.setdefault(faces[sha256][n].piece, []).extend(said)
    house = {
        uid: house_call(sorted(said, key=lambda call: call.time), session.settings.decider)
        for uid, said in people.items()
    }
    return {
        uid: PieceGrade(call.grade, True)
        for uid, call in house.items()
        if call is not None and call.grade
    }


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
    faces = _by_photo(faces_of(ledger, uids))
    measured: dict[str, list[StoneFacts]] = {}
    for stone in views.stones(ledger, list(faces)):
        for face in faces[stone.sha256] if stone.box else ():
            if box_overlap(stone.box, face.box) >= SAME_STONE:
                measured.setdefault(face.piece, []).append(facts_from(stone.facts))
    proposed = {}
    for uid, facts in measured.items():
        _, proposal = propose_piece(facts, profile, model)
        size = piece_facts(facts, profile).size_class
        unfamiliar = bool(proposal and proposal.unfamiliar)
        grade = proposal.grade if proposal else None
        proposed[uid] = PieceGrade(grade, False, size, unfamiliar)
    return proposed


def _by_photo(faces: Iterable[PieceFace]) -> dict[str, list[PieceFace]]:
    """Faces by the content of their photo."""
    found: dict[str, list[PieceFace]] = {}
    for face in faces:
        found.setdefault(face.sha256, []).append(face)
    return found
