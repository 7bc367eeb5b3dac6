"""Grade sets: neighbouring grades of which, in so many of a hundred stones, one is the seller's."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.models.ordinal import likeliest_grade

#: Share of stones whose called grade lies in its set.
LEVEL = 0.9


@dataclass(frozen=True)
class PredictionSetRule:
    """A grade belongs to the set where its chance is at least ``min_probability``.

    n : calls that the model had not seen, on which that was settled.
    min_probability : 0 to 1; 0 is the whole ladder, with too few calls to leave a grade out.
    """

    min_probability: float
    n: int

    def contains(self, probabilities: NDArray) -> NDArray[np.bool_]:
        """Return (n, K): whether each grade is in each set; never empty, the proposed grade in it, without a gap."""
        inside = probabilities >= self.min_probability
        inside[np.arange(len(inside)), likeliest_grade(probabilities)] = True
        from_below = np.logical_or.accumulate(inside, axis=1)
        from_above = np.logical_or.accumulate(inside[:, ::-1], axis=1)[:, ::-1]
        return from_below & from_above


#: No call was seen: no grade can be left out.
WHOLE_LADDER = PredictionSetRule(0.0, 0)


def rank(n: int, level: float = LEVEL) -> int | None:
    """Return which of n scores in rising order is the bound: ceil((n + 1) level); ``None`` beyond the last.

    References
    ----------
    Vovk, Gammerman & Shafer 2005; Angelopoulos & Bates 2021, arXiv 2107.07511 (from memory).
    """
    k = int(np.ceil((n + 1) * level - 1e-9))
    return k if k <= n else None


def fit_prediction_set_rule(
    probabilities: NDArray, rung: NDArray[np.intp], stones: Sequence[str], level: float = LEVEL
) -> PredictionSetRule:
    """Return the rule from (n, K) probabilities of faces that their grade head had not seen, the called rungs, and
    what stone each face is of.

    The score of a stone is 1 less the chance of its called grade, of several faces the poorest, as in split conformal
    sets; with probabilities from folds held out in turn (cross-conformal, Vovk 2015, Ann. Math. Artif. Intell.
    74:9-28, from memory) every call serves. The faces' scene score and how sure the odds are were learned from all of
    them, so the sets may be a little too small; the figures on fresh faces tell how they fare.
    """
    chance = probabilities[np.arange(len(rung)), rung]
    _, stone = np.unique(np.asarray(stones), return_inverse=True)
    called = np.full(stone.max(initial=-1) + 1, np.inf)
    np.minimum.at(called, stone, chance)
    n = len(called)
    k = rank(n, level)
    if k is None:
        return PredictionSetRule(0.0, n)
    # Down to the last place kept, so that no face at the bound is lost by rounding.
    return PredictionSetRule(float(np.floor(np.sort(called)[n - k] * 1e6) / 1e6), n)
