"""What grade a numbered piece has: the call that counts on its faces, else the lowest that is proposed for one."""

from collections.abc import Iterable
from dataclasses import dataclass

from grader.deals.sales import Grading
from grader.grading.calls.joining import SAME_STONE, Stones, box_overlap, house_call, join_calls
from grader.grading.features.facts import facts_from
from grader.grading.models.model import Model
from grader.grading.propose import propose, scene_estimate
from grader.ledger import stock, views
from grader.ledger.store import Ledger
from grader.profile import Profile
from grader.session import Session


@dataclass(frozen=True)
class PieceGrade:
    """A piece's grade; ``called`` by a person, else proposed.

    size : size class of its largest face, ``None`` without a scale.
    """

    grade: str | None
    called: bool
    size: str | None = None


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


def session_grades(session: Session, uids: Iterable[str]) -> dict[str, PieceGrade]:
    """Return the same of any pieces; no model is read where none of them was photographed."""
    ledger = session.need_ledger("grades of pieces")
    seen = {entry.fact.piece for entry in views.faces_of(ledger, list(uids))}
    if not seen:
        return {}
    return piece_grades(ledger, seen, session.profile, session.model(), session.settings.decider)


def gradings(session: Session, codes: Iterable[str]) -> dict[str, Grading]:
    """Return grade and size of pieces by code; lots, and what bears no such code, are left out."""
    ledger = session.need_ledger("grades of pieces")
    things = [stock.thing(ledger, code) for code in codes]
    by_uid = {one.uid: one.code for one in things if isinstance(one, stock.Piece)}
    known = session_grades(session, by_uid)
    return {by_uid[uid]: Grading(one.grade, one.size) for uid, one in known.items()}


def piece_grades(
    ledger: Ledger,
    uids: Iterable[str],
    profile: Profile,
    model: Model,
    decider: str | None = None,
) -> dict[str, PieceGrade]:
    """Return the grades of pieces by uid, as their photos were shown last; pieces without a photo are left out."""
    wanted = set(uids)
    faces = [e.fact for e in views.faces_of(ledger, list(wanted))]
    photos = {face.sha256 for face in faces}
    by_photo: dict[str, list] = {sha256: [] for sha256 in photos}
    for face in faces:
        by_photo[face.sha256].append(face)
    called = _called(ledger, by_photo, decider)
    proposed: dict[str, list[tuple[str, str | None]]] = {}
    for stone in views.stones(ledger, photos):
        if stone.box is None:
            continue
        for face in by_photo[stone.sha256]:
            if box_overlap(stone.box, face.box) >= SAME_STONE:
                facts = facts_from(stone.facts)
                said = propose(facts, scene_estimate(facts, model), profile, model)
                proposed.setdefault(face.piece, []).append((said and said.grade, facts.size_class))
    found = {}
    for uid in wanted & {face.piece for face in faces}:
        grades = [grade for grade, _ in proposed.get(uid, ()) if grade in profile.grades]
        # Several faces: the worst one counts.
        lowest = min(grades, key=profile.grades.index, default=None)
        size = next((size for _, size in proposed.get(uid, ()) if size), None)
        found[uid] = PieceGrade(called.get(uid) or lowest, uid in called, size)
    return found


def _called(ledger: Ledger, by_photo: dict[str, list], decider: str | None) -> dict[str, str]:
    """Grades that people called, by piece."""
    stones = [
        Stones(
            sha256,
            sha256,
            {n: face.box for n, face in enumerate(faces)},
            {n: face.outline for n, face in enumerate(faces) if face.outline},
        )
        for sha256, faces in by_photo.items()
    ]
    calls = views.calls(ledger, sha256=list(by_photo), outlines=True)
    people: dict[str, list] = {}
    for (sha256, n), said in join_calls(stones, calls).by_person.items():
        people.setdefault(by_photo[sha256][n].piece, []).extend(said)
    house = {
        uid: house_call(sorted(said, key=lambda call: call.time), decider)
        for uid, said in people.items()
    }
    return {uid: call.grade for uid, call in house.items() if call is not None and call.grade}
