"""How far people differ on the same stones: by stone, and for each two of them."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from statistics import fmean, median

import numpy as np

from grader.grading.learning.agreement import agreement
from grader.grading.proposal import Call
from grader.measures import Interval

#: Scene scores of one stone that lie so far apart are taken as a disagreement. Our setting, no source.
SCENES_APART = 20


@dataclass(frozen=True)
class Confused:
    """Two grades of which two people called one each on the same stones.

    count : of stones.   second_higher : on how many of them the second called the higher one.
    """

    lower: str
    higher: str
    count: int
    second_higher: int


@dataclass(frozen=True)
class Pair:
    """What two people said of the same stones.

    both : photos of stones on which both called a grade of the ladder, of so many ``pieces``.   same : with the same
    grade.
    higher, lower : on how many the second called the higher or the lower one.   steps : by how many grades, in the
    middle, where the second is mostly the higher or lower; 0 where neither is.
    kappa : quadratic weighted, with its 95 % interval; without one where they never differ or the stones are few.
    confused : the grades that they take for each other, the most often first.
    scenes : stones on which both called a scene.   scene_gap : how far those lie apart in the middle, ``None`` without.
    """

    first: str | None
    second: str | None
    both: int
    pieces: int
    same: int
    higher: int
    lower: int
    steps: float
    kappa: Interval
    confused: tuple[Confused, ...]
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


def agreed_call(people: Sequence[Call]) -> Call | None:
    """Return what two or more say of a stone and nobody says otherwise: the grade, and the mean of scenes that do not
    lie apart; ``None`` where there is neither.

    people : one word of each, who spoke last is last.
    """
    said = [call.grade for call in people if call.grade is not None]
    scenes = [call.scene for call in people if call.scene is not None]
    grade = said[0] if len(said) > 1 and len(set(said)) == 1 else None
    near = len(scenes) > 1 and max(scenes) - min(scenes) < SCENES_APART
    if grade is None and not near:
        return None
    scene = round(fmean(scenes)) if near else None
    return replace(people[-1], grade=grade, scene=scene, stone=stone_name(people))


def stone_name(people: Sequence[Call]) -> str | None:
    """Return the name of the piece that was said last; ``None`` where nobody named it."""
    return next((call.stone for call in reversed(people) if call.stone), None)


def pairs_of(
    stones: Iterable[Sequence[Call]], grades: Sequence[str], rng: np.random.Generator
) -> tuple[Pair, ...]:
    """Return how each two people agree, those with most stones in common first.

    stones : of each, one word of each person; photos of one piece bear its name.   rng : for the intervals.
    """
    rungs: dict[tuple, list[tuple[int, int, str | int]]] = {}
    scenes: dict[tuple, list[int]] = {}
    for number, people in enumerate(stones):
        # The same two in the same order on all stones, whoever spoke first.
        in_order = sorted(people, key=lambda call: (call.by is None, call.by or ""))
        piece = stone_name(people) or number
        for first, second in combinations(in_order, 2):
            pair = first.by, second.by
            if first.grade in grades and second.grade in grades:
                called = grades.index(first.grade), grades.index(second.grade)
                rungs.setdefault(pair, []).append((*called, piece))
            if first.scene is not None and second.scene is not None:
                scenes.setdefault(pair, []).append(abs(second.scene - first.scene))
    pairs = [
        _pair(pair, rungs.get(pair, []), scenes.get(pair, []), grades, rng)
        for pair in {**rungs, **scenes}
    ]
    return tuple(sorted(pairs, key=lambda pair: -pair.both))


def _pair(
    people: tuple[str | None, str | None],
    called: Sequence[tuple[int, int, str | int]],
    scenes: Sequence[int],
    grades: Sequence[str],
    rng: np.random.Generator,
) -> Pair:
    """called : rungs of the first and the second, and the piece that they are of."""
    steps = [second - first for first, second, _ in called]
    higher, lower = sum(step > 0 for step in steps), sum(step < 0 for step in steps)
    mostly = [abs(step) for step in steps if (step > 0) == (higher > lower) and step]
    return Pair(
        *people,
        both=len(steps),
        pieces=len({piece for _, _, piece in called}),
        same=len(steps) - higher - lower,
        higher=higher,
        lower=lower,
        steps=median(mostly) if higher != lower else 0,
        kappa=_kappa(called, len(grades), rng),
        confused=_confused(called, grades),
        scenes=len(scenes),
        scene_gap=median(scenes) if scenes else None,
    )


def _kappa(
    called: Sequence[tuple[int, int, str | int]], n_grades: int, rng: np.random.Generator
) -> Interval:
    if not called:
        return Interval(None, None, None)
    first, second, pieces = zip(*called, strict=True)
    # Names and numbers side by side: as words, since they are sorted.
    kappa = agreement(first, second, n_grades, [repr(piece) for piece in pieces], rng).kappa
    if first == second:
        # Drawn again from stones without a difference, none ever differs: that would promise too much.
        return Interval(kappa.value, None, None)
    return kappa


def _confused(
    called: Sequence[tuple[int, int, str | int]], grades: Sequence[str]
) -> tuple[Confused, ...]:
    both = Counter((min(a, b), max(a, b)) for a, b, _ in called if a != b)
    second_higher = Counter((a, b) for a, b, _ in called if a < b)
    # The most often first; of as many those that lie farther apart.
    order = sorted(both, key=lambda two: (-both[two], two[0] - two[1]))
    return tuple(
        Confused(grades[low], grades[high], both[low, high], second_higher[low, high])
        for low, high in order
    )
