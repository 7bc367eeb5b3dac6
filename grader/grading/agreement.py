"""How well two ways of grading the same stones agree, each figure with its interval."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Standard normal quantile of 97.5 %.
Z_95 = 1.959963984540054

#: Resamples of a bootstrap interval.
RESAMPLES = 1000


@dataclass(frozen=True)
class Figure:
    """A value with its 95 % interval; ``None`` where it is not defined."""

    value: float | None
    low: float | None
    high: float | None

    def __str__(self) -> str:
        if self.value is None:
            return "not defined"
        spread = "" if self.low is None else f" ({self.low:.2f} to {self.high:.2f})"
        return f"{self.value:.2f}{spread}"


@dataclass(frozen=True)
class Agreement:
    """Quadratic weighted kappa, share of equal grades, share within one grade; n faces of so many
    stones."""

    n: int
    stones: int
    kappa: Figure
    equal: Figure
    within_one: Figure


def agreement(
    first: ArrayLike, second: ArrayLike, n_grades: int, stones: Sequence, rng: np.random.Generator
) -> Agreement:
    """Return the agreement of two rows of rungs (0 the lowest grade); the bootstrap draws whole
    stones."""
    first, second = np.asarray(first), np.asarray(second)
    apart = np.abs(first - second)

    def kappa_of(rows: NDArray) -> float | None:
        return weighted_kappa(counts(first[rows], second[rows], n_grades))

    return Agreement(
        n=len(first),
        stones=len(set(stones)),
        kappa=bootstrap(kappa_of, stones, rng),
        equal=share(int((apart == 0).sum()), len(first)),
        within_one=share(int((apart <= 1).sum()), len(first)),
    )


@dataclass(frozen=True)
class SideBySide:
    """Two ways of grading against the calls on the same stones; ``gain`` is kappa of the second less the first."""

    first: Agreement
    second: Agreement
    gain: Figure


def side_by_side(
    first: ArrayLike,
    second: ArrayLike,
    called: ArrayLike,
    n_grades: int,
    stones: Sequence,
    rng: np.random.Generator,
) -> SideBySide:
    """Return how well two rows of rungs agree with the called ones; whole stones are drawn for the intervals."""
    first, second, called = (np.asarray(rungs) for rungs in (first, second, called))

    def gain(rows: NDArray) -> float | None:
        kappas = [weighted_kappa(counts(m[rows], called[rows], n_grades)) for m in (second, first)]
        return None if None in kappas else kappas[0] - kappas[1]

    return SideBySide(
        agreement(first, called, n_grades, stones, rng),
        agreement(second, called, n_grades, stones, rng),
        bootstrap(gain, stones, rng),
    )


def beyond(gain: Figure | None) -> str:
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
    weights = (
        (rung[:, None] - rung) ** 2 if disagreement is None else np.asarray(disagreement, float)
    )
    by_chance = np.outer(table.sum(axis=1), table.sum(axis=0)) / max(table.sum(), 1.0)
    expected = float((weights * by_chance).sum())
    return None if expected == 0 else 1.0 - float((weights * table).sum()) / expected


def share(hits: int, n: int) -> Figure:
    """Return a share with its Wilson score interval.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209-212; method 3 of Newcombe 1998, Stat. Med. 17:857-872.
    """
    if n == 0:
        return Figure(None, None, None)
    p, z2 = hits / n, Z_95**2
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z_95 * np.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return Figure(p, max(0.0, float(middle - half)), min(1.0, float(middle + half)))


def bootstrap(
    statistic: Callable[[NDArray], float | None],
    stones: Sequence,
    rng: np.random.Generator,
    resamples: int = RESAMPLES,
) -> Figure:
    """Return a statistic of row numbers with its 95 % percentile interval, whole stones drawn with
    replacement.

    Draws in which the statistic is not defined are left out; with under ten stones, or under half
    of the draws left, no interval is given.
    """
    names, stone = np.unique(np.asarray(stones), return_inverse=True)
    value = statistic(np.arange(len(stone)))
    if value is None or len(names) < 10:
        return Figure(value, None, None)
    order = np.argsort(stone, kind="stable")
    rows_of = np.split(order, np.cumsum(np.bincount(stone))[:-1])
    draws = rng.integers(len(names), size=(resamples, len(names)))
    drawn = [statistic(np.concatenate([rows_of[i] for i in draw])) for draw in draws]
    known = [d for d in drawn if d is not None]
    if len(known) < resamples / 2:
        return Figure(value, None, None)
    low, high = np.quantile(known, [0.025, 0.975])
    return Figure(value, float(low), float(high))


def beside(first: Agreement, second: Agreement, gain: Figure | None) -> list[str]:
    """Return two agreements beside each other, a line each figure, and what the second gains."""
    told = [
        f"{words:<28}{getattr(first, name)!s:<24}{getattr(second, name)}"
        for words, name in (
            ("quadratic weighted kappa", "kappa"),
            ("same grade", "equal"),
            ("within one grade", "within_one"),
        )
    ]
    return [*told, f"{'gain in kappa':<28}{'':<24}{gain}"]
