"""Simulated sellers who name the better of two scenes; test objects of our own making."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.scene.score import scene_score
from grader.grading.features.scaling import Scaling
from grader.profile import SCENE_PARTS, load_profile


@dataclass(frozen=True)
class Seller:
    """A taste: points for each full part score, all 0 or more, sum 100.

    slip_points : a difference of this many points is seen right in 73 of 100 cases.
    """

    weights: NDArray
    slip_points: float = 4.0

    def scores(self, rows: list[dict]) -> NDArray:
        """Return the seller's own scores, without a slip."""
        return (
            np.array([[row[f"scene_{part}"] for part in SCENE_PARTS] for row in rows])
            @ self.weights
        )

    def comparisons(
        self, rows: list[dict], count: int, rng: np.random.Generator
    ) -> list[tuple[dict, dict]]:
        """Return so many comparisons among random pairs, with slips (Bradley-Terry)."""
        scores, pairs = self.scores(rows), []
        for _ in range(count):
            a, b = rng.choice(len(rows), 2, replace=False)
            right = rng.random() < 1 / (1 + np.exp(-(scores[a] - scores[b]) / self.slip_points))
            pairs.append((rows[a], rows[b]) if right else (rows[b], rows[a]))
        return pairs


def draw_seller(rng: np.random.Generator, slip_points: float = 4.0) -> Seller:
    """Any monotone taste is as likely as any other: weights evenly over all that sum to 100."""
    return Seller(100 * rng.dirichlet(np.ones(len(SCENE_PARTS))), slip_points)


def draw_faces(count: int, scaling: Scaling, rng: np.random.Generator) -> list[dict]:
    """Faces whose features have the means and spreads of those that a head has learned from, each by itself; the
    written score follows from the parts."""
    rows, weights = [], load_profile().scene_weights
    for _ in range(count):
        row = {}
        for name, mean, spread in zip(scaling.names, scaling.mean, scaling.spread, strict=True):
            if name == "scene_written":
                parts = {part: row[f"scene_{part}"] for part in SCENE_PARTS}
                row[name] = scene_score(parts, weights)
            elif name.startswith("scene_"):
                row[name] = _share(mean, spread, rng)
            else:
                row[name] = max(0.0, float(rng.normal(mean, spread)))
        rows.append(row)
    return rows


def _share(mean: float, spread: float, rng: np.random.Generator) -> float:
    """A share of that mean and spread (beta), as near to it as shares can be."""
    spread = min(spread, 0.98 * (mean * (1 - mean)) ** 0.5)
    size = mean * (1 - mean) / spread**2 - 1
    return float(rng.beta(mean * size, (1 - mean) * size))
