"""A blind re-sort of a graded folder: its stones drawn or found again, each answer kept at once, and both judged."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from grader.called import GradedStone, graded_stones
from grader.errors import CallsError
from grader.grading.calls.joining import SAME_STONE, outline_overlap
from grader.grading.learning.resort import Resort
from grader.grading.learning.second_look import Looked, SecondLook, draw_sample, judge
from grader.ledger import views
from grader.ledger.facts import FacePlace, ResortAnswer, ResortBegun, ResortDone, ResortUndone
from grader.ledger.store import Ledger
from grader.profile import Profile
from grader.report.headline import proposal_of
from grader.session import Session


@dataclass(frozen=True)
class Sitting:
    """A re-sort of one person under way.

    folder : of the photos.   begun : as the ledger holds it.   resort : how far it is.
    stones : in its order as they lie now, ``None`` where one is not there any more.
    """

    folder: Path
    begun: views.Resort
    stones: tuple[GradedStone | None, ...]
    resort: Resort

    def without_next(self) -> "Sitting":
        """Return it with the next stone left out."""
        return replace(self, resort=self.resort.leave_out())


def sit_down(
    folder: Path,
    session: Session,
    *,
    by: str | None,
    of: str | None,
    count: int,
    anew: bool = False,
    seed: int | None = None,
) -> Sitting:
    """Return the unfinished re-sort of this person in a folder, else one that is drawn and begun now.

    Parameters
    ----------
    by : who sorts.   of : whose calls are sorted again; all by default.
    count : how many stones to draw.   anew : draw also where one is unfinished.   seed : of the draw.

    Raises
    ------
    CallsError
        The folder is not graded, none of its stones is called, or the ladder has changed since: one line.
    """
    profile, ledger = session.profile, session.need_ledger("a second look")
    decider = session.settings.decider
    stones = graded_stones(folder, profile, session.model(), ledger, by=of, decider=decider)
    photos = {stone.look.ask.sha256 for stone in stones}
    begun = None if anew else unfinished(ledger, by, of, photos)
    if begun is None:
        called = [stone for stone in stones if stone.call and stone.call.grade in profile.grades]
        rng = np.random.default_rng(seed)
        rows = draw_sample([stone.name for stone in called], count, rng)
        begun = begin(folder, [called[row] for row in rows], ledger, by, of)
    return sit_at(folder, begun, stones, profile)


def sit_at(
    folder: Path, begun: views.Resort, stones: Sequence[GradedStone], profile: Profile
) -> Sitting:
    """Return a re-sort that is begun, with its stones as they lie now.

    Raises
    ------
    CallsError
        The ladder has changed since: one line.
    """
    grades = profile.grades
    if not {*begun.first, *begun.answers.values()} <= set(grades):
        raise CallsError(
            f"{folder}: the ladder has changed since this look began; draw anew with --new"
        )
    shown = tuple(_stone_at(place, stones) for place in begun.stones)
    return Sitting(folder, begun, shown, Resort(len(shown), begun.answers))


def begin(
    folder: Path, drawn: Sequence[GradedStone], ledger: Ledger, by: str | None, of: str | None
) -> views.Resort:
    """Return a re-sort of these stones, begun now.

    folder : where they lie, for messages.   drawn : called ones, in the order of showing.

    Raises
    ------
    CallsError
        There are none.
    """
    if not drawn:
        whose = f" by {of}" if of else ""
        raise CallsError(f"{folder}: no stone in it has a called grade{whose}; call some first")
    places = tuple(
        FacePlace(
            sha256=stone.look.ask.sha256,
            piece_id=stone.piece["id"],
            box=tuple(stone.piece["box"]),
            outline=[tuple(point) for point in stone.piece["outline"]],
        )
        for stone in drawn
    )
    # What was called before is kept with the draw: later calls do not change the comparison.
    first = tuple(stone.call.grade for stone in drawn)
    fact = ResortBegun(stones=places, first=first, of=of)
    ledger.add(fact, author=by)
    return next(resort for resort in views.resorts(ledger) if resort.uid == fact.uid)


def unfinished(
    ledger: Ledger, by: str | None, of: str | None, photos: set[str]
) -> views.Resort | None:
    """Return the last re-sort of these people on these photos that is not done, ``None`` where there is none."""
    found = [
        resort
        for resort in views.resorts(ledger)
        if not resort.done
        and (resort.author, resort.of) == (by, of)
        and photos & {place.sha256 for place in resort.stones}
    ]
    return found[-1] if found else None


def _stone_at(place: FacePlace, stones: Sequence[GradedStone]) -> GradedStone | None:
    """The stone that lies in a place now, ``None`` where there is none."""
    on_photo = (stone for stone in stones if stone.look.ask.sha256 == place.sha256)
    return next(
        (s for s in on_photo if outline_overlap(s.piece["outline"], place.outline) >= SAME_STONE),
        None,
    )


def answer(sitting: Sitting, grade: str, ledger: Ledger) -> Sitting:
    """Return the sitting with a grade for its next stone, kept in the ledger."""
    begun = sitting.begun
    fact = ResortAnswer(resort=begun.uid, stone=sitting.resort.next, grade=grade)
    ledger.add(fact, author=begun.author)
    return replace(sitting, resort=sitting.resort.answer(grade))


def undo(sitting: Sitting, ledger: Ledger) -> tuple[Sitting, int]:
    """Return the sitting without its last answer, and the stone that it was of: a new fact, the old one stays.

    Raises
    ------
    CallsError
        There is no answer.
    """
    begun, stone = sitting.begun, sitting.resort.last
    if stone is None:
        raise CallsError("there is no answer to take back yet")
    ledger.add(ResortUndone(resort=begun.uid, stone=stone), author=begun.author)
    return replace(sitting, resort=sitting.resort.undo()), stone


@dataclass(frozen=True)
class Judged:
    """Two sortings of the same stones, and how well they agree.

    pictures : of each stone its photo, number and small JPEG, ``None`` where it is gone.
    """

    looked: Looked
    judged: SecondLook
    pictures: tuple[tuple[str, int, bytes | None], ...]


def finish(sitting: Sitting, profile: Profile, ledger: Ledger) -> Judged:
    """Return how well the two sortings agree; the re-sort is done then.

    Raises
    ------
    CallsError
        No stone of it was answered.
    """
    begun, answers = sitting.begun, sitting.resort.answers
    if not answers:
        raise CallsError(
            f"{sitting.folder}: no stone of this look can be shown; grade the folder again"
        )
    ledger.add(ResortDone(resort=begun.uid), author=begun.author)
    grades = list(profile.grades)
    rows = sorted(answers)
    stones = [sitting.stones[row] for row in rows]
    # Of a stone that is gone its place stands for it.
    names = [f"{begun.stones[row].sha256}-{begun.stones[row].piece_id}" for row in rows]
    proposed = [proposal_of(stone.piece)["grade"] if _proposed(stone) else None for stone in stones]
    looked = Looked(
        tuple(stone.name if stone else name for stone, name in zip(stones, names, strict=True)),
        np.array([grades.index(begun.first[row]) for row in rows]),
        np.array([grades.index(answers[row]) for row in rows]),
        np.array([grades.index(grade) if grade in grades else -1 for grade in proposed]),
    )
    pictures = tuple(
        (stone.file, stone.piece["id"], stone.look.sheet_picture(stone.piece["id"]))
        if stone
        else (name, 0, None)
        for stone, name in zip(stones, names, strict=True)
    )
    return Judged(looked, judge(looked, len(grades), np.random.default_rng(0)), pictures)


def _proposed(stone: GradedStone | None) -> bool:
    return stone is not None and proposal_of(stone.piece) is not None
