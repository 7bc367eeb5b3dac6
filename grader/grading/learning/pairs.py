"""Two stones side by side: which to show next, and how what was said of pairs goes with calls."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from grader.grading.proposal import Call


@dataclass(frozen=True)
class PairsBesideCalls:
    """What a person said of pairs, beside that person's own calls on the same stones.

    of : by what, "scene" or "grade".   same, alike, opposite : in how many pairs the calls say the same, call both
    stones alike, or say the opposite; pairs of which a stone is not called are left out.
    worst : (better, other) as calls, of the pairs of which the calls say the opposite, those farthest apart first.
    """

    by: str | None
    of: str
    same: int
    alike: int
    opposite: int
    worst: tuple[tuple[Call, Call], ...]


def next_pair(
    values: Sequence[float],
    times: Sequence[int],
    said: Collection[frozenset[int]],
    rng: np.random.Generator,
) -> tuple[int, int] | None:
    """Return two stones, in the order of showing; ``None`` where every pair was compared.

    The first is one of those that were compared least, the other the one of like value that it was not yet compared
    with. Where two are as good, it is least known which of them a person likes better, so that the answer tells most:
    in the model of Bradley and Terry (Biometrika 39, 1952; from memory) what a comparison tells goes as p (1 - p).

    Parameters
    ----------
    values : what is thought of each stone, scene or grade.   times : how often each was compared.
    said : pairs that the person compared already.
    """
    values, times = np.asarray(values, float), np.asarray(times, int)
    order = rng.permutation(len(values))
    for first in order[np.argsort(times[order], kind="stable")]:
        # Of those alike in value the one that was compared less.
        gaps = np.abs(values - values[first]) + 1e-6 * times
        for other in np.argsort(gaps, kind="stable"):
            if other != first and frozenset((int(first), int(other))) not in said:
                pair = (int(first), int(other))
                return pair if rng.random() < 0.5 else pair[::-1]
    return None
