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
    """Calls of three months beside one model: how many grades they lie above what it proposed when they were made."""

    quarter: Quarter
    model: str
    n: int
    above: Interval


@dataclass(frozen=True)
class Shift:
    """By how many grades the calls of one season lie above those of an earlier one, against one model's proposals."""

    model: str
    before: Quarter
    last: Quarter
    by: Interval


def call_seasons(calls: Sequence[Call], grades: Sequence[str]) -> tuple[Season, ...]:
    """Return the seasons in order, of calls that were made beside a proposal of these grades."""
    above: dict[tuple[Quarter, str], list[int]] = defaultdict(list)
    when: dict[tuple[Quarter, str], str] = {}
    for call in calls:
        if call.shown is None or call.grade not in grades or call.shown.grade not in grades:
            continue
        if not re.match(r"\d{4}-(0[1-9]|1[0-2])", call.time):
            continue
        year, month = int(call.time[:4]), int(call.time[5:7])
        key = Quarter(year, 3 * ((month - 1) // 3) + 1), call.shown.model
        above[key].append(grades.index(call.grade) - grades.index(call.shown.grade))
        when[key] = max(when.get(key, ""), call.time)
    order = sorted(above, key=lambda key: (key[0], when[key]))
    return tuple(Season(*key, len(above[key]), mean_interval(above[key])) for key in order)


def moved(seasons: Sequence[Season]) -> tuple[Shift, ...]:
    """Return the shifts of the last season, one for each model that proposed in it and in an earlier one: by how many
    grades its calls lie above those of the latest such season, each against the same model's proposals.

    A model whose calls are too few in either season is left out: what one model proposes says nothing of another's.
    """
    if not seasons:
        return ()
    enough = [season for season in seasons if season.n >= LEAST]
    shifts = []
    for last in (season for season in enough if season.quarter == seasons[-1].quarter):
        earlier = [s for s in enough if s.model == last.model and s.quarter != last.quarter]
        if earlier:
            shifts.append(_shift(earlier[-1], last))
    return tuple(shifts)


def _shift(before: Season, last: Season) -> Shift:
    half = float(
        np.hypot(last.above.high - last.above.value, before.above.high - before.above.value)
    )
    shift = last.above.value - before.above.value
    return Shift(
        last.model, before.quarter, last.quarter, Interval(shift, shift - half, shift + half)
    )


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
