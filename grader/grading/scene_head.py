"""The scene head: a small ridge regression from part scores and shares to a scene score of 0 to
100."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.features import SCENE_FEATURES
from grader.grading.proposal import SceneEstimate
from grader.grading.rules import Features
from grader.grading.scaling import Scaling, fit_scaling, rounded


@dataclass(frozen=True)
class SceneHead:
    """Score = base + coefficients . columns; ``below`` and ``above`` reach 95 % of the faces that
    it had not seen."""

    scaling: Scaling
    coefficients: tuple[float, ...]
    base: float
    below: float
    above: float

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
    rows: Sequence[Features], scores: Sequence[float], groups: Sequence, *, strength: float = 3.0
) -> SceneHead:
    """Return the head learned from n faces with known scores; faces of one group are never on both
    sides of a split."""
    scaling = fit_scaling(rows, SCENE_FEATURES)
    x, y = scaling.design(rows), np.asarray(scores, float)
    base, coefficients = _ridge(x, y, np.zeros(x.shape[1]), float(y.mean()), strength)
    below, above = _reach(x, y, groups, np.zeros(x.shape[1]), float(y.mean()), strength)
    return SceneHead(scaling, rounded(coefficients), round(base, 6), below, above)


def refit_scene(
    head: SceneHead,
    rows: Sequence[Features],
    scores: Sequence[float],
    groups: Sequence,
    *,
    strength: float = 20.0,
) -> SceneHead:
    """Return the head moved towards a seller's scores: the fewer there are, the closer it stays to
    ``head``.

    The range is learned anew from faces held out, once there are 20 scores; until then it is never
    narrower than the old one.
    """
    if len(rows) == 0:
        return head
    x, y = head.scaling.design(rows), np.asarray(scores, float)
    old = np.array(head.coefficients)
    base, coefficients = _ridge(x, y, old, head.base, strength)
    below, above = _reach(x, y, groups, old, head.base, strength)
    if len(rows) < 20:
        below, above = max(below, head.below), max(above, head.above)
    return SceneHead(head.scaling, rounded(coefficients), round(base, 6), below, above)


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
    prior: NDArray,
    prior_base: float,
    strength: float,
    folds: int = 5,
) -> tuple[float, float]:
    """How far 95 % of scores lie below and above the value of a head that has not seen them."""
    fold = np.unique(np.asarray(groups), return_inverse=True)[1] % folds
    residual = np.zeros(len(y))
    for k in np.unique(fold):
        held = fold == k
        base, coefficients = _ridge(x[~held], y[~held], prior, prior_base, strength)
        residual[held] = y[held] - np.clip(base + x[held] @ coefficients, 0, 100)
    low, high = np.quantile(residual, [0.025, 0.975])
    return round(max(0.0, -float(low)), 3), round(max(0.0, float(high)), 3)
