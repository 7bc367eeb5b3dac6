"""Simulated sellers who grade faces in their own way; test objects of our own making.

Each weighs blue, scene, lines and host otherwise, cuts the ladder elsewhere, and wavers: the
same stone shown again gets the same grade in a known share of cases. Nothing of the grader's
models or rules is in them; the sellers of its ensemble (``grading/models/seller_ensemble.py``) weigh the same
measures, though.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: What a seller may look at, as (feature, sign, centre, spread): round numbers of drawn faces.
SELLER_CRITERIA = {
    "blue": (("blue_share", 1, 0.46, 0.3), ("blue_chroma", 1, 18.5, 12.0)),
    "scene": (("scene_score", 1, 40.0, 25.0),),
    "lines": (("crack_density", -1, 0.5, 0.7),),
    "host": (("host_share", -1, 0.27, 0.3),),
    "bands": (("continuity", 1, 0.22, 0.28), ("band_contrast", 1, 13.0, 18.0)),
    "white": (("white_share", 1, 0.27, 0.26),),
    "land": (("host_share", 1, 0.27, 0.3),),
}

#: Beyond this many spreads nobody tells a poor look from a poorer one.
REACH = 2.0


@dataclass(frozen=True)
class Seller:
    """A way of grading.

    weights : of his looks.   shares : of the grades on the faces that the cuts are set by, lowest first.
    repeats : share of stones that get the same grade when shown again.   weakest : the grade hangs on the poorest of
    his looks alone, each moved by its weight.   looks : what he looks at.
    """

    name: str
    weights: tuple[float, ...]
    shares: tuple[float, ...]
    repeats: float
    weakest: bool = False
    looks: tuple[str, ...] = ("blue", "scene", "lines", "host")

    def values(self, rows: Sequence[dict]) -> NDArray[np.float64]:
        """Return the seller's inner value of faces, from true features."""
        looks = np.array([[_look(row, name) for name in self.looks] for row in rows])
        if self.weakest:
            return (looks - np.array(self.weights)).min(axis=1)
        return looks @ np.array(self.weights)


SELLERS = (
    Seller("blue first", (0.45, 0.2, 0.2, 0.15), (0.2, 0.3, 0.3, 0.2), 0.75),
    Seller("scene first", (0.15, 0.5, 0.15, 0.2), (0.3, 0.3, 0.25, 0.15), 0.65),
    Seller("sound first", (0.2, 0.15, 0.45, 0.2), (0.15, 0.25, 0.35, 0.25), 0.8),
    Seller("no host", (0.2, 0.2, 0.1, 0.5), (0.25, 0.25, 0.25, 0.25), 0.85),
    Seller("all alike", (0.25, 0.25, 0.25, 0.25), (0.35, 0.3, 0.2, 0.15), 0.7),
)

#: Judges by the poorest look alone, which no weighing of looks can copy in full.
WEAKEST = Seller("weakest part", (0.2, 0.0, -0.3, 0.1), (0.25, 0.35, 0.25, 0.15), 0.7, weakest=True)


#: Look at what no seller of the ensemble gives much for, or want what those do not.
OTHERS = (
    Seller("bands", (0.6, 0.4), (0.25, 0.25, 0.25, 0.25), 0.7, looks=("bands", "white")),
    Seller("land", (0.6, 0.4), (0.3, 0.3, 0.2, 0.2), 0.7, looks=("land", "scene")),
)


@dataclass(frozen=True)
class Calls:
    """What a seller says of n faces: rungs without wavering, as called, and the true chances (n, K)."""

    exact: NDArray[np.intp]
    called: NDArray[np.intp]
    chances: NDArray[np.float64]


class Sorting:
    """A seller whose cuts and wavering are set on the faces of ``rows`` (true features)."""

    def __init__(self, seller: Seller, rows: Sequence[dict]) -> None:
        self.seller = seller
        values = seller.values(rows)
        self.cuts = np.quantile(values, np.cumsum(seller.shares)[:-1])
        low, high = 0.0, 5.0 * float(values.std())
        for _ in range(50):
            self.wavers = 0.5 * (low + high)
            often = float((self._chances(values) ** 2).sum(axis=1).mean())
            low, high = (self.wavers, high) if often > seller.repeats else (low, self.wavers)

    def call(self, rows: Sequence[dict], rng: np.random.Generator) -> Calls:
        """Return what the seller says of faces, once."""
        values = self.seller.values(rows)
        wavering = values + self.wavers * rng.logistic(size=len(values))
        return Calls(
            np.searchsorted(self.cuts, values),
            np.searchsorted(self.cuts, wavering),
            self._chances(values),
        )

    def _chances(self, values: NDArray) -> NDArray:
        log_odds_below = (self.cuts[None, :] - values[:, None]) / max(self.wavers, 1e-9)
        below = 0.5 * (1 + np.tanh(0.5 * log_odds_below))
        n = len(values)
        return np.diff(np.hstack([np.zeros((n, 1)), below, np.ones((n, 1))]), axis=1)


def ideal_sets(chances: NDArray, level: float = 0.9) -> NDArray[np.intp]:
    """Return how many neighbouring grades each face needs so that their true chances reach ``level``."""
    n, grades = chances.shape
    need = np.full(n, grades)
    for width in range(grades - 1, 0, -1):
        sums = np.stack([chances[:, k : k + width].sum(axis=1) for k in range(grades - width + 1)])
        need[sums.max(axis=0) >= level - 1e-12] = width
    return need


def _look(row: dict, name: str) -> float:
    parts = [
        sign * ((row[f] or 0.0) - centre) / spread
        for f, sign, centre, spread in SELLER_CRITERIA[name]
    ]
    return float(np.clip(np.mean(parts), -REACH, REACH))
