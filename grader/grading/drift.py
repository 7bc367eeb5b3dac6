"""Whether a seller's calls, or the stones, have moved away from what a model learned."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grader.grading.agreement import Z_95, Figure
from grader.grading.model import Model
from grader.grading.proposal import Call

#: Fewer calls or stones than this say nothing of a shift.
LEAST = 20

#: A mean that lies so far from what the model knows, in spreads of the training faces, is worth a line.
FAR_SPREADS = 0.5


@dataclass(frozen=True)
class Season:
    """Calls of three months: how many grades the calls lie above what was proposed when they were made."""

    name: str
    n: int
    above: Figure


def call_seasons(calls: Sequence[Call], grades: Sequence[str]) -> tuple[Season, ...]:
    """Return the seasons in order, of calls that were made beside a proposal of these grades."""
    above: dict[str, list[int]] = defaultdict(list)
    for call in calls:
        if call.shown is None or call.grade not in grades or call.shown.grade not in grades:
            continue
        year, month = call.time[:4], int(call.time[5:7])
        name = f"{year}, months {3 * ((month - 1) // 3) + 1} to {3 * ((month - 1) // 3) + 3}"
        above[name].append(grades.index(call.grade) - grades.index(call.shown.grade))
    order = sorted(above, key=lambda name: (name[:4], int(name.split()[2])))
    return tuple(Season(name, len(above[name]), mean_figure(above[name])) for name in order)


def moved(seasons: Sequence[Season]) -> Figure | None:
    """Return by how many grades the last season's calls lie above those of the one before, against the proposals;
    ``None`` where either has too few."""
    known = [season for season in seasons if season.n >= LEAST]
    if len(known) < 2:
        return None
    before, last = known[-2].above, known[-1].above
    half = float(np.hypot(last.high - last.value, before.high - before.value))
    shift = last.value - before.value
    return Figure(shift, shift - half, shift + half)


def far_features(
    rows: Sequence[Mapping[str, float | None]], model: Model
) -> list[tuple[str, Figure]]:
    """Return the features whose mean over these stones lies far from that of the stones that the model knows, in
    spreads of the training faces, farthest first; rows hold what is measured, by name."""
    usual, scaling = model.grade.usual, model.grade.scaling
    far = []
    for name, spread in zip(scaling.names, scaling.spread, strict=True):
        values = [row[name] for row in rows if row.get(name) is not None]
        if len(values) < LEAST:
            continue
        figure = mean_figure([(value - usual[name]) / spread for value in values])
        if min(abs(figure.low), abs(figure.high)) >= FAR_SPREADS and figure.low * figure.high > 0:
            far.append((name, figure))
    return sorted(far, key=lambda pair: -abs(pair[1].value))


def mean_figure(values: Sequence[float]) -> Figure:
    """Return the mean with its 95 % interval (normal)."""
    mean = float(np.mean(values))
    half = Z_95 * float(np.std(values, ddof=1)) / len(values) ** 0.5 if len(values) > 1 else np.inf
    return Figure(mean, mean - half, mean + half) if np.isfinite(half) else Figure(mean, None, None)
