"""Whether a seller's calls, or the stones, have moved away from what a model learned."""

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grader.grading.learning.agreement import Z_95
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.measures import Interval

#: Fewer calls or stones than this say nothing of a shift.
LEAST = 20

#: A mean that lies so far from what the model knows, in spreads of the training faces, is worth a line.
FAR_SPREADS = 0.5


@dataclass(frozen=True, order=True)
class Quarter:
    """Three months of a year, the first of them 1, 4, 7 or 10."""

    year: int
    first_month: int


@dataclass(frozen=True)
class Season:
    """One person's calls of three months beside one model: how many grades they lie above what it proposed then."""

    by: str | None
    quarter: Quarter
    model: str
    n: int
    above: Interval


@dataclass(frozen=True)
class Span:
    """Calls of some time: how many, and the first and last day as the calls tell it."""

    n: int
    since: str
    until: str


@dataclass(frozen=True)
class Shift:
    """By how many grades one person's later calls lie above the earlier ones on alike stones: those for which the same
    model proposed the same grade."""

    by: str | None
    model: str
    before: Span
    last: Span
    above: Interval


@dataclass(frozen=True)
class SecondLookShift:
    """By how many grades a person's second look at own called stones lies above those calls; day : of the look."""

    by: str | None
    day: str
    n: int
    above: Interval


@dataclass(frozen=True)
class _Beside:
    """A call beside a proposal: its quarter and day, and both rungs."""

    quarter: Quarter
    day: str
    called: int
    proposed: int


def _beside(
    calls: Sequence[Call], grades: Sequence[str]
) -> dict[tuple[str | None, str], list[_Beside]]:
    """By person and model the calls that were made beside a proposal of these grades, in the order of their days."""
    found = defaultdict(list)
    for call in calls:
        if call.shown is None or call.grade not in grades or call.shown.grade not in grades:
            continue
        if not re.match(r"\d{4}-(0[1-9]|1[0-2])", call.time):
            continue
        quarter = Quarter(int(call.time[:4]), 3 * ((int(call.time[5:7]) - 1) // 3) + 1)
        rungs = grades.index(call.grade), grades.index(call.shown.grade)
        found[call.by, call.shown.model].append(_Beside(quarter, call.time[:10], *rungs))
    return {key: sorted(made, key=lambda call: call.day) for key, made in found.items()}


def call_seasons(calls: Sequence[Call], grades: Sequence[str]) -> tuple[Season, ...]:
    """Return the seasons of each person in order, of calls that were made beside a proposal of these grades."""
    seasons = []
    for (by, model), made in _beside(calls, grades).items():
        for quarter in dict.fromkeys(call.quarter for call in made):
            above = [call.called - call.proposed for call in made if call.quarter == quarter]
            seasons.append(Season(by, quarter, model, len(above), mean_interval(above)))
    return tuple(sorted(seasons, key=lambda season: (season.by or "", season.quarter)))


def shifts(calls: Sequence[Call], grades: Sequence[str]) -> tuple[Shift, ...]:
    """Return the shifts of each person, one for each model beside which he called in his last three months.

    Those months are held to the latest three before in which he called enough beside the same model; where there are
    none, the later half of his calls beside it to the earlier half. A model beside which he called too little is left
    out: what one model proposes says nothing of another's.
    """
    by_both = _beside(calls, grades)
    last = defaultdict(list)
    for (by, _), made in by_both.items():
        last[by].append(made[-1].quarter)
    found = []
    for (by, model), made in by_both.items():
        if made[-1].quarter != max(last[by]):
            continue
        parts = _parts(made)
        above = parts and _above(*parts)
        if above:
            found.append(Shift(by, model, *map(_span, parts), above))
    return tuple(found)


def _parts(made: Sequence[_Beside]) -> tuple[list[_Beside], list[_Beside]] | None:
    """Earlier and last calls to be held against each other; ``None`` where they are too few."""
    by_quarter = defaultdict(list)
    for call in made:
        by_quarter[call.quarter].append(call)
    *earlier, last = by_quarter.values()
    enough = [part for part in earlier if len(part) >= LEAST]
    if len(last) >= LEAST and enough:
        return enough[-1], last
    half = len(made) // 2
    return (list(made[:half]), list(made[half:])) if half >= LEAST else None


def _span(part: Sequence[_Beside]) -> Span:
    return Span(len(part), part[0].day, part[-1].day)


def _above(before: Sequence[_Beside], last: Sequence[_Beside]) -> Interval | None:
    """By how many grades the last calls lie above those before on stones with the same proposal; ``None`` where too few
    were alike.

    Least squares with a base for each proposed grade and one step between the two times, 95 % interval (normal): so
    that a season of better stones is no milder seller.
    """
    base = np.array([call.proposed for call in (*before, *last)])
    called = np.array([call.called for call in (*before, *last)], float)
    is_last = np.arange(len(base)) >= len(before)
    weights, steps, left_over, used = [], [], 0.0, 0
    for rung in np.unique(base):
        old, new = called[(base == rung) & ~is_last], called[(base == rung) & is_last]
        if not len(old) or not len(new):
            continue
        weights.append(len(old) * len(new) / (len(old) + len(new)))
        steps.append(new.mean() - old.mean())
        left_over += ((old - old.mean()) ** 2).sum() + ((new - new.mean()) ** 2).sum()
        used += len(old) + len(new)
    if used < 2 * LEAST:
        return None
    step = float(np.average(steps, weights=weights))
    # What the step leaves of each base's own difference is left over, too.
    left_over += float(np.dot(weights, (np.array(steps) - step) ** 2))
    free = used - len(weights) - 1
    half = Z_95 * float(np.sqrt(left_over / free / sum(weights)))
    return Interval(step, step - half, step + half)


def second_look_shift(
    by: str | None, day: str, rungs: Sequence[tuple[int, int]]
) -> SecondLookShift | None:
    """Return by how many grades a second look lies above the first calls; ``None`` with too few.

    rungs : of each stone, called first and on the second look.
    """
    if len(rungs) < LEAST:
        return None
    above = [second - first for first, second in rungs]
    return SecondLookShift(by, day, len(above), mean_interval(above))


def far_features(
    rows: Sequence[Mapping[str, float | None]], model: Model
) -> list[tuple[str, Interval]]:
    """Return the features whose mean over these stones lies far from that of the stones that the model knows, in
    spreads of the training faces, farthest first; rows hold what is measured, by name."""
    usual, scaling = model.grade.usual, model.grade.scaling
    far = []
    for name, spread in zip(scaling.names, scaling.spread, strict=True):
        # The model's own average counts what is not there as 0.
        values = [row[name] or 0.0 for row in rows if name in row]
        if len(values) < LEAST:
            continue
        figure = mean_interval([(value - usual[name]) / spread for value in values])
        if min(abs(figure.low), abs(figure.high)) >= FAR_SPREADS and figure.low * figure.high > 0:
            far.append((name, figure))
    return sorted(far, key=lambda pair: -abs(pair[1].value))


def mean_interval(values: Sequence[float]) -> Interval:
    """Return the mean with its 95 % interval (normal)."""
    mean = float(np.mean(values))
    half = Z_95 * float(np.std(values, ddof=1)) / len(values) ** 0.5 if len(values) > 1 else np.inf
    return (
        Interval(mean, mean - half, mean + half)
        if np.isfinite(half)
        else Interval(mean, None, None)
    )
