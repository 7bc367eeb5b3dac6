"""The scene head: starts from the scene score as the profile's weights write it, and corrects it by a
small ridge regression on part scores and shares. It also learns from comparisons: of two stones the one whose scene
the seller likes better.

Comparisons follow Bradley & Terry 1952, Biometrika 39:324-345: the chance that a is liked better than b is
1 / (1 + exp(-(score a - score b) / COMPARISON_POINTS)).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.features import FEATURES, SCENE_FEATURES
from grader.grading.features.rules import Features
from grader.grading.features.scaling import Scaling, fit_scaling, rounded
from grader.grading.models.ordinal import logistic
from grader.grading.proposal import SceneEstimate

#: At this many points apart the better scene is named in 73 of 100 cases; how much one comparison counts,
#: in squared points. Found on simulated sellers of ours, with 10 to 200 comparisons.
COMPARISON_POINTS, COMPARISON_WORTH = 6.0, 400.0

#: How strongly the first head is drawn to the written score. Found by cross-validation on the 586 drawn faces that the
#: starter learns from: mean error 5.2 points; 6.1 with a strength of 3, 7.0 without the written score.
WRITTEN_STRENGTH = 3000.0

#: Features of the better stone, and of the other one.
Pair = tuple[Features, Features]


@dataclass(frozen=True)
class SceneHead:
    """Score = base + coefficients . columns; ``below`` and ``above`` reach 95 % of the faces that
    it had not seen."""

    scaling: Scaling
    coefficients: tuple[float, ...]
    base: float
    below: float
    above: float

    @property
    def points(self) -> dict[str, float]:
        """Points of the score by one whole unit of each feature: of a part score from 0 to 1."""
        rows = zip(self.scaling.names, self.coefficients, self.scaling.spread, strict=True)
        return {name: coefficient / spread for name, coefficient, spread in rows}

    def values(self, rows: Sequence[Features]) -> NDArray:
        """Return the (n,) scores of n faces, 0 to 100, not rounded."""
        score = self.base + self.scaling.design(rows) @ np.array(self.coefficients)
        return np.clip(score, 0.0, 100.0)

    def estimate(self, features: Features) -> SceneEstimate:
        """Return one face's score with its range."""
        value = float(self.values([features])[0])
        low, high = max(0.0, value - self.below), min(100.0, value + self.above)
        return SceneEstimate(round(value), round(low), round(high))


def fit_scene(
    rows: Sequence[Features],
    scores: Sequence[float],
    groups: Sequence,
    *,
    strength: float = WRITTEN_STRENGTH,
) -> SceneHead:
    """Return the head learned from n faces with known scores, drawn to the score as it is written; faces of one group
    are never on both sides of a split."""
    scaling = fit_scaling(rows, SCENE_FEATURES)
    x, y = scaling.design(rows), np.asarray(scores, float)
    columns = zip(scaling.names, scaling.spread, strict=True)
    written = np.array([spread if name == "scene_written" else 0.0 for name, spread in columns])
    level = float(y.mean())
    base, coefficients = _ridge(x, y, written, level, strength)
    below, above = _reach(x, y, groups, lambda x, y: _ridge(x, y, written, level, strength))
    return SceneHead(scaling, rounded(coefficients), round(base, 6), below, above)


def refit_scene(
    head: SceneHead,
    rows: Sequence[Features],
    scores: Sequence[float],
    groups: Sequence,
    pairs: Sequence[Pair] = (),
    *,
    strength: float = 20.0,
) -> SceneHead:
    """Return the head moved towards a seller's scores and comparisons.

    The fewer there are, the closer it stays to ``head``.

    No coefficient turns against the direction in which its feature is declared, further than it
    stood there before. Comparisons say nothing of the level, so they leave the base. The range is learned
    anew from faces held out, once there are 20 scores; until then it is never narrower than the old
    one.
    """
    if len(rows) == 0 and len(pairs) == 0:
        return head
    old = np.array(head.coefficients)
    differences = pair_differences(head.scaling, pairs)
    x, y = head.scaling.design(rows), np.asarray(scores, float)
    low, high = _bounds(head)
    # A comparison is about the scene: what else of the stone is a column keeps its say.
    parts = np.array([name.startswith("scene_") for name in head.scaling.names])

    def fit(x: NDArray, y: NDArray) -> tuple[float, NDArray]:
        base, found = _ridge(x, y, old, head.base, strength) if len(y) else (head.base, old)
        if len(pairs) == 0 and (low <= found).all() and (found <= high).all():
            return base, found
        return _drawn(x, y, differences, parts, old, head.base, strength, (low, high))

    base, coefficients = fit(x, y)
    below, above = head.below, head.above
    if len(rows):
        below, above = _reach(x, y, groups, fit)
        if len(rows) < 20:
            below, above = max(below, head.below), max(above, head.above)
    return SceneHead(head.scaling, rounded(coefficients), round(base, 6), below, above)


def pair_differences(scaling: Scaling, pairs: Sequence[Pair]) -> NDArray[np.float64]:
    """Return (n, columns): the columns of the better stone less those of the other."""
    better, other = ([pair[side] for pair in pairs] for side in (0, 1))
    return scaling.design(better) - scaling.design(other)


def compared_right(head: SceneHead, pairs: Sequence[Pair]) -> NDArray[np.float64]:
    """Return (n,), for each comparison 1 where the head scores the better stone higher, 0 lower, 0.5 alike."""
    apart = pair_differences(head.scaling, pairs) @ np.array(head.coefficients)
    return 0.5 + 0.5 * np.sign(np.round(apart, 9))


def _bounds(head: SceneHead) -> tuple[NDArray, NDArray]:
    sign = np.array([FEATURES[name].monotone_sign for name in head.scaling.names])
    old = np.array(head.coefficients)
    return (
        np.where(sign > 0, np.minimum(0, old), -np.inf),
        np.where(sign < 0, np.maximum(0, old), np.inf),
    )


def _drawn(
    x: NDArray,
    y: NDArray,
    differences: NDArray,
    parts: NDArray[np.bool_],
    prior: NDArray,
    prior_base: float,
    strength: float,
    bounds: tuple[NDArray, NDArray],
) -> tuple[float, NDArray]:
    """Least squares and comparisons together within bounds, every number drawn to its prior as by
    :func:`_ridge`; comparisons move the columns that are ``parts`` of the scene."""
    from scipy.optimize import Bounds, minimize

    start = np.concatenate([[prior_base], prior])
    pull = np.concatenate([[strength / 4], np.full(len(prior), strength)])
    full = np.hstack([np.ones((len(x), 1)), x])

    def cost(point: NDArray) -> tuple[float, NDArray]:
        off, moved = full @ point - y, point - start
        ahead = differences @ np.where(parts, point[1:], prior) / COMPARISON_POINTS
        value = 0.5 * (off @ off) + 0.5 * (pull * moved) @ moved
        value += COMPARISON_WORTH * np.logaddexp(0, -ahead).sum()
        slope = full.T @ off + pull * moved
        slope[1:] -= (
            COMPARISON_WORTH / COMPARISON_POINTS * parts * (differences.T @ logistic(-ahead))
        )
        return value, slope

    low, high = bounds
    box = Bounds(np.concatenate([[-np.inf], low]), np.concatenate([[np.inf], high]))
    found = minimize(
        cost, start, jac=True, method="L-BFGS-B", bounds=box, options={"ftol": 1e-14}
    ).x
    return float(found[0]), found[1:]


def _ridge(
    x: NDArray, y: NDArray, prior: NDArray, prior_base: float, strength: float
) -> tuple[float, NDArray]:
    """Least squares with every number drawn to its prior; the base by a quarter of the strength."""
    full = np.hstack([np.ones((len(x), 1)), x])
    start = np.concatenate([[prior_base], prior])
    pull = np.diag(np.concatenate([[strength / 4], np.full(x.shape[1], strength)]))
    step = np.linalg.solve(full.T @ full + pull, full.T @ (y - full @ start))
    solved = start + step
    return float(solved[0]), solved[1:]


def _reach(
    x: NDArray,
    y: NDArray,
    groups: Sequence,
    fit: Callable[[NDArray, NDArray], tuple[float, NDArray]],
    folds: int = 5,
) -> tuple[float, float]:
    """How far 95 % of scores lie below and above the value of a head that has not seen them."""
    fold = np.unique(np.asarray(groups), return_inverse=True)[1] % folds
    residual = np.zeros(len(y))
    for k in np.unique(fold):
        held = fold == k
        base, coefficients = fit(x[~held], y[~held])
        residual[held] = y[held] - np.clip(base + x[held] @ coefficients, 0, 100)
    low, high = np.quantile(residual, [0.025, 0.975])
    return round(max(0.0, -float(low)), 3), round(max(0.0, float(high)), 3)
