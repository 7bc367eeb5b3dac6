"""How well two ways of grading the same stones agree, each figure with its interval."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from grader.measures import Interval

#: Standard normal quantile of 97.5 %.
Z_95 = 1.959963984540054

#: Resamples of a bootstrap interval.
RESAMPLES = 1000


@dataclass(frozen=True)
class Agreement:
    """Quadratic weighted kappa, share of equal grades, share within one grade; n faces of so many
    stones."""

    n: int
    stones: int
    kappa: Interval
    equal: Interval
    within_one: Interval


def agreement(
    first: ArrayLike, second: ArrayLike, n_grades: int, stones: Sequence, rng: np.random.Generator
) -> Agreement:
    """Return the agreement of two (n,) rows of rungs, 0 the lowest grade to ``n_grades`` - 1.

    stones : what each of the n faces is of; the bootstrap draws whole ones.
    """
    first, second = np.asarray(first), np.asarray(second)
    apart = np.abs(first - second)
    pairs = _pairs(first, second, n_grades)
    return Agreement(
        n=len(first),
        stones=len(set(stones)),
        kappa=bootstrap(lambda drawn: _kappas(drawn, pairs), stones, rng),
        equal=share(int((apart == 0).sum()), len(first)),
        within_one=share(int((apart <= 1).sum()), len(first)),
    )


@dataclass(frozen=True)
class SideBySide:
    """Two ways of grading against the calls on the same stones; ``gain`` is kappa of the second less the first."""

    first: Agreement
    second: Agreement
    gain: Interval


def side_by_side(
    first: ArrayLike,
    second: ArrayLike,
    called: ArrayLike,
    n_grades: int,
    stones: Sequence,
    rng: np.random.Generator,
) -> SideBySide:
    """Return how well two (n,) rows of rungs agree with the called ones; whole stones are drawn for the intervals."""
    pairs = [_pairs(rungs, called, n_grades) for rungs in (second, first)]

    def gain(drawn: NDArray) -> NDArray[np.float64]:
        return _kappas(drawn, pairs[0]) - _kappas(drawn, pairs[1])

    return SideBySide(
        agreement(first, called, n_grades, stones, rng),
        agreement(second, called, n_grades, stones, rng),
        bootstrap(gain, stones, rng),
    )


def beyond(gain: Interval | None) -> str:
    """Return "better", "worse" or "alike": whether a gain lies beyond its uncertainty; "unknown" without one."""
    if gain is None or gain.low is None:
        return "unknown"
    return "better" if gain.low > 0 else "worse" if gain.high < 0 else "alike"


def counts(first: ArrayLike, second: ArrayLike, n_grades: int) -> NDArray[np.int64]:
    """Return the (K, K) table of how often rung i of the first meets rung j of the second."""
    pairs = np.asarray(first, int) * n_grades + np.asarray(second, int)
    return np.bincount(pairs, minlength=n_grades**2).reshape(n_grades, n_grades)


def weighted_kappa(table: ArrayLike, disagreement: ArrayLike | None = None) -> float | None:
    """Return Cohen's weighted kappa of a (K, K) table of counts.

    Parameters
    ----------
    disagreement : (K, K) weights, 0 where the two agree; left out, the squares of the distance
    (quadratic).

    Returns
    -------
    float or None
        1 full agreement, 0 no better than chance; ``None`` where chance leaves nothing to disagree
        about.

    References
    ----------
    Cohen 1968, Psychol. Bull. 70:213-220, doi 10.1037/h0026256.
    """
    table = np.asarray(table, float)
    rung = np.arange(len(table))
    weights = (rung[:, None] - rung) ** 2 if disagreement is None else disagreement
    kappa = float(_kappas_of(table[None], np.asarray(weights, float))[0])
    return None if np.isnan(kappa) else kappa


def _kappas_of(tables: NDArray, weights: NDArray) -> NDArray[np.float64]:
    """The (B,) kappas of (B, K, K) tables, nan where not defined."""
    total = np.maximum(tables.sum(axis=(1, 2)), 1.0)
    by_chance = tables.sum(axis=2)[:, :, None] * tables.sum(axis=1)[:, None] / total[:, None, None]
    expected, found = ((weights * t).reshape(len(t), -1).sum(axis=1) for t in (by_chance, tables))
    with np.errstate(invalid="ignore"):
        return np.where(expected == 0, np.nan, 1.0 - found / expected)


def _pairs(first: ArrayLike, second: ArrayLike, n_grades: int) -> NDArray[np.float64]:
    """(n, K, K): where each face stands in the table of two rows of rungs."""
    rungs = np.eye(n_grades)
    return rungs[np.asarray(first, int)][:, :, None] * rungs[np.asarray(second, int)][:, None]


def _kappas(drawn: NDArray, pairs: NDArray) -> NDArray[np.float64]:
    """The (B,) quadratic kappas of faces of :func:`_pairs`, each drawn as often as a row of (B, n) says."""
    rung = np.arange(pairs.shape[1])
    tables = np.tensordot(drawn, pairs, axes=1)
    return _kappas_of(tables, (rung[:, None] - rung) ** 2.0)


def share(hits: int, n: int) -> Interval:
    """Return a share with its Wilson score interval.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209-212; method 3 of Newcombe 1998, Stat. Med. 17:857-872.
    """
    if n == 0:
        return Interval(None, None, None)
    p, z2 = hits / n, Z_95**2
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z_95 * np.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return Interval(p, max(0.0, float(middle - half)), min(1.0, float(middle + half)))


def bootstrap(
    statistic: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    stones: Sequence,
    rng: np.random.Generator,
    resamples: int = RESAMPLES,
) -> Interval:
    """Return a statistic of n faces with its 95 % percentile interval, whole stones drawn with replacement.

    Draws in which the statistic is not defined are left out; with under ten stones, or under half
    of the draws left, no interval is given.

    Parameters
    ----------
    statistic : from (B, n), how often each face is drawn in each of B draws, to its (B,) values, nan where it is not
        defined.
    stones : what each face is of.
    """
    names, stone = np.unique(np.asarray(stones), return_inverse=True)
    value = _defined(statistic(np.ones((1, len(stone)))))
    if not len(value) or len(names) < 10:
        return Interval(float(value[0]) if len(value) else None, None, None)
    draws = rng.integers(len(names), size=(resamples, len(names)))
    times = np.stack([np.bincount(draw, minlength=len(names)) for draw in draws])
    drawn = _defined(statistic(times[:, stone].astype(float)))
    if len(drawn) < resamples / 2:
        return Interval(float(value[0]), None, None)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return Interval(float(value[0]), float(low), float(high))


def mean_of(values: NDArray) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Return the mean of the (n,) values of faces as a statistic for :func:`bootstrap`."""
    return lambda drawn: drawn @ values / drawn.sum(axis=1)


def _defined(values: NDArray) -> NDArray:
    return values[~np.isnan(values)]
