"""How far people differ on the same stones: by stone, and for each two of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from grader.grading.proposal import Call

#: Scene scores of one stone that lie so far apart are taken as a disagreement. Our setting, no source.
SCENES_APART = 20


@dataclass(frozen=True)
class Pair:
    """What two people said of the same stones.

    both : stones on which both called a grade of the ladder.   same : with the same grade.
    higher, lower : on how many the second called the higher or the lower one.   steps : by how many grades, in the
    middle, where the second is mostly the higher or lower; 0 where neither is.
    scenes : stones on which both called a scene.   scene_gap : how far those lie apart in the middle, ``None`` without.
    """

    first: str | None
    second: str | None
    both: int
    same: int
    higher: int
    lower: int
    steps: float
    scenes: int
    scene_gap: float | None


def gap(people: Sequence[Call], grades: Sequence[str]) -> tuple[int, int] | None:
    """Return how far people differ on a stone, for sorting: grades apart, then points of scene; ``None`` where they do
    not. A grade that is not on the ladder lies one from any other."""
    called = [call.grade for call in people if call.grade is not None]
    scenes = [call.scene for call in people if call.scene is not None]
    of_scene = max(scenes) - min(scenes) if scenes else 0
    rungs = [grades.index(grade) for grade in called if grade in grades]
    of_grade = max(rungs) - min(rungs) if rungs else 0
    if len(set(called)) > 1:
        of_grade = max(of_grade, 1)
    return (of_grade, of_scene) if of_grade or of_scene >= SCENES_APART else None


def pairs_of(stones: Iterable[Sequence[Call]], grades: Sequence[str]) -> tuple[Pair, ...]:
    """Return how each two people agree, those with most stones in common first.

    stones : of each, one word of each person.
    """
    rungs: dict[tuple, list[int]] = {}
    scenes: dict[tuple, list[int]] = {}
    for people in stones:
        # The same two in the same order on all stones, whoever spoke first.
        in_order = sorted(people, key=lambda call: (call.by is None, call.by or ""))
        for first, second in combinations(in_order, 2):
            pair = first.by, second.by
            if first.grade in grades and second.grade in grades:
                step = grades.index(second.grade) - grades.index(first.grade)
                rungs.setdefault(pair, []).append(step)
            if first.scene is not None and second.scene is not None:
                scenes.setdefault(pair, []).append(abs(second.scene - first.scene))
    pairs = [
        _pair(*pair, rungs.get(pair, []), scenes.get(pair, [])) for pair in {**rungs, **scenes}
    ]
    return tuple(sorted(pairs, key=lambda pair: -pair.both))


def _pair(first: str | None, second: str | None, steps: list[int], scenes: list[int]) -> Pair:
    higher, lower = sum(step > 0 for step in steps), sum(step < 0 for step in steps)
    mostly = [abs(step) for step in steps if (step > 0) == (higher > lower) and step]
    return Pair(
        first,
        second,
        len(steps),
        len(steps) - higher - lower,
        higher,
        lower,
        median(mostly) if higher != lower else 0,
        len(scenes),
        median(scenes) if scenes else None,
    )
