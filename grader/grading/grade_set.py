"""Grade sets: neighbouring grades of which, in so many of a hundred stones, one is the seller's."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.ordinal import median_grade

#: Share of stones whose called grade lies in its set.
LEVEL = 0.9


@dataclass(frozen=True)
class SetRule:
    """A grade belongs to the set where its chance is at least ``least``; settled on ``n`` calls that the model had
    not seen. ``least`` 0 is the whole ladder: too few calls to leave a grade out."""

    least: float
    n: int

    def members(self, probabilities: NDArray) -> NDArray[np.bool_]:
        """Return (n, K): the grades in each set; never empty, the proposed grade in it, without a gap."""
        inside = probabilities >= self.least
        inside[np.arange(len(inside)), median_grade(probabilities)] = True
        from_below = np.logical_or.accumulate(inside, axis=1)
        from_above = np.logical_or.accumulate(inside[:, ::-1], axis=1)[:, ::-1]
        return from_below & from_above


#: No call was seen: no grade can be left out.
WHOLE_LADDER = SetRule(0.0, 0)


def rank(n: int, level: float = LEVEL) -> int | None:
    """Return which of n scores in rising order is the bound: ceil((n + 1) level); ``None`` beyond the last.

    References
    ----------
    Vovk, Gammerman & Shafer 2005; Angelopoulos & Bates 2021, arXiv 2107.07511 (from memory).
    """
    k = int(np.ceil((n + 1) * level - 1e-9))
    return k if k <= n else None


def set_rule(probabilities: NDArray, rung: NDArray[np.intp], level: float = LEVEL) -> SetRule:
    """Return the rule from (n, K) probabilities of faces that their model had not seen, and the called rungs.

    The score of a face is 1 less the chance of its called grade, as in split conformal sets; with probabilities from
    folds held out in turn (cross-conformal, Vovk 2015, Ann. Math. Artif. Intell. 74:9-28, from memory) every call
    serves.
    """
    n = len(rung)
    k = rank(n, level)
    if k is None:
        return SetRule(0.0, n)
    called = probabilities[np.arange(n), rung]
    # Down to the last place kept, so that no face at the bound is lost by rounding.
    return SetRule(float(np.floor(np.sort(called)[n - k] * 1e6) / 1e6), n)
