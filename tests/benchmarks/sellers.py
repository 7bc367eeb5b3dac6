"""Simulated sellers of many makes who grade faces each in his own way; test objects of our own making.

They look at what is true of a face, share the ladder out as they like, waver, so that the same stone shown again gets
the same grade in a known share of cases, and slip now and then. Nothing of the grader's models or rules is in them.
The crowd behind its ensemble (``grading/models/crowd.py``) has makes of the same names, written by themselves: the
benchmark leaves the make of the seller who calls out of that crowd.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

GRADES = 4

#: What a seller may look at, as (feature, sign, centre, spread): round numbers of drawn faces.
LOOKS = {
    "blue": (("blue_share", 1, 0.46, 0.3), ("blue_chroma", 1, 18.5, 12.0)),
    "scene": (("scene_score", 1, 35.0, 23.0),),
    "lines": (("crack_density", -1, 0.5, 0.7),),
    "host": (("host_share", -1, 0.27, 0.3),),
    "run": (("continuity", 1, 0.24, 0.28), ("fill_share", 1, 0.4, 0.4)),
    "white": (("white_share", 1, 0.28, 0.26),),
    "land": (("host_share", 1, 0.27, 0.3),),
    "contrast": (("band_contrast", 1, 14.0, 18.0),),
}  # fmt: skip

#: The looks that the trade speaks of most (common practice, no source).
SPOKEN_OF = ("blue", "scene", "lines", "host")

#: Beyond this many spreads nobody tells a poor look from a poorer one.
REACH = 2.0

#: More bands than this on a face are narrow ones to a seller of wide bands.
WIDE_BANDS = 8

#: Share of calls that are a slip: a grade too high or too low, whatever the stone.
SLIPS = 0.03

#: One who is stricter on some days: standard deviation of a day's strictness, in spreads of values, and stones a day.
STRICTNESS, STONES_A_DAY = 0.4, 10

#: Share of stones that get the same grade when shown again on the same day, slips apart.
REPEATS = (0.65, 0.85)

#: How even the shares of a seller's grades are (Dirichlet).
EVENNESS = 10.0

#: By name of the look, (n,) of n faces.
Looks = dict[str, NDArray[np.float64]]


@dataclass(frozen=True)
class Seller:
    """A way of grading.

    values : looks at n faces to his inner values, (n,).   shares : of the grades on the faces that the cuts are set
    by, lowest first.   strictness : see :data:`STRICTNESS`.
    """

    make: str
    values: Callable[[Looks], NDArray[np.float64]]
    shares: tuple[float, ...]
    repeats: float
    slips: float = SLIPS
    strictness: float = 0.0


def draw_seller(make: str, rng: np.random.Generator) -> Seller:
    """Return a seller of that make: of :data:`MAKES`."""
    shares = tuple(float(share) for share in rng.dirichlet(np.full(GRADES, EVENNESS)))
    values = MAKES[make](rng)
    strictness = STRICTNESS if make == "shifting" else 0.0
    return Seller(make, values, shares, float(rng.uniform(*REPEATS)), strictness=strictness)


def _weighs(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """All looks that the trade speaks of together; a weight on blue, scene, lines, host."""
    weights = rng.dirichlet(np.full(len(SPOKEN_OF), 1.5))
    return lambda looks: sum(w * looks[name] for w, name in zip(weights, SPOKEN_OF, strict=True))


def _poorest(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """The poorest look decides, each moved by how much he asks of it."""
    asked = rng.normal(0, 0.3, len(SPOKEN_OF))
    return lambda looks: np.min(
        [looks[name] - a for a, name in zip(asked, SPOKEN_OF, strict=True)], axis=0
    )


def _one_look(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """One look and no other."""
    only = rng.choice(["blue", "scene", "run", "white", "land", "contrast"])
    return lambda looks: looks[only]


def _one_then_another(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """Three steps of one look; within a step another look decides (lexicographic)."""
    first, second = rng.choice(["blue", "scene", "host", "lines"], 2, replace=False)
    low, high = sorted(rng.normal(0, 0.5, 2))
    return lambda looks: (
        2.0 * (looks[first] > low) + 2.0 * (looks[first] > high) + 0.5 * looks[second]
    )


def _thresholds(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """Asks for this much of one, that much of another: so many as are met, in his order."""
    order, asked = rng.permutation(["blue", "scene", "lines", "host"]), rng.normal(-0.2, 0.4, 4)

    def values(looks: Looks) -> NDArray:
        met = np.array([looks[name] > a for name, a in zip(order, asked, strict=True)])
        # Of those who fail alike, the one who is nearer to it in the mean stands first.
        return np.cumprod(met, axis=0).sum(axis=0) + 0.3 * looks[order[0]]

    return values


def _never_host(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """Host above what he stands, and all else is for nothing."""
    weighs, bound = _weighs(rng), rng.uniform(-0.6, 0.4)
    return lambda looks: weighs(looks) - 4.0 * (looks["host"] < bound)


def _wide_bands(rng: np.random.Generator) -> Callable[[Looks], NDArray]:
    """Only few, wide bands count, the clearer the better; narrow ones or none are for nothing."""
    share = rng.uniform(0.3, 0.7)
    return lambda looks: 3.0 * looks["wide"] + share * looks["contrast"] + (1 - share) * looks["run"]  # fmt: skip


#: How each make is drawn. One whose strictness shifts weighs as the first.
MAKES: dict[str, Callable[[np.random.Generator], Callable[[Looks], NDArray]]] = {
    "weighs": _weighs, "poorest": _poorest, "one look": _one_look, "one then another": _one_then_another,
    "thresholds": _thresholds, "never host": _never_host, "wide bands": _wide_bands, "shifting": _weighs,
}  # fmt: skip


@dataclass(frozen=True)
class Calls:
    """What a seller says of n faces: rungs without wavering, as called, called again, and the true chances (n, K)."""

    exact: NDArray[np.intp]
    called: NDArray[np.intp]
    again: NDArray[np.intp]
    chances: NDArray[np.float64]


class Sorting:
    """A seller whose cuts and wavering are set on the faces of ``rows`` (true features)."""

    def __init__(self, seller: Seller, rows: Sequence[dict]) -> None:
        self.seller = seller
        values = seller.values(looks_at(rows))
        # Stones that he holds alike lie on one side of a cut.
        self.cuts = np.quantile(values, np.cumsum(seller.shares)[:-1]) + 1e-9
        self.spread = float(values.std())
        low, high = 0.0, 5.0 * self.spread
        for _ in range(40):
            self.wavers = 0.5 * (low + high)
            often = float((self._chances(values) ** 2).sum(axis=1).mean())
            low, high = (self.wavers, high) if often > seller.repeats else (low, self.wavers)

    def call(self, rows: Sequence[dict], rng: np.random.Generator) -> Calls:
        """Return what the seller says of faces, in the order in which he calls them."""
        values = self.seller.values(looks_at(rows))
        chances = (1 - self.seller.slips) * self._chances(values)
        chances += self.seller.slips * _slipped(np.searchsorted(self.cuts, values))
        called, again = (self._once(values, rng) for _ in range(2))
        return Calls(np.searchsorted(self.cuts, values), called, again, chances)

    def _once(self, values: NDArray, rng: np.random.Generator) -> NDArray[np.intp]:
        days = -(-len(values) // STONES_A_DAY)
        day = np.repeat(rng.normal(size=days), STONES_A_DAY)[: len(values)]
        strict = self.seller.strictness * self.spread * day
        wavering = values - strict + self.wavers * rng.logistic(size=len(values))
        called = np.searchsorted(self.cuts, wavering)
        slips = rng.random(len(values)) < self.seller.slips
        passed = np.cumsum(_slipped(called), axis=1)
        slipped = (rng.random((len(values), 1)) > passed).sum(axis=1)
        return np.where(slips, slipped, called)

    def _chances(self, values: NDArray) -> NDArray:
        log_odds_below = (self.cuts[None, :] - values[:, None]) / max(self.wavers, 1e-9)
        below = 0.5 * (1 + np.tanh(0.5 * log_odds_below))
        n = len(values)
        return np.diff(np.hstack([np.zeros((n, 1)), below, np.ones((n, 1))]), axis=1)


def looks_at(rows: Sequence[dict]) -> Looks:
    """Return each look at n faces, from their features."""
    looks = {name: _look(rows, parts) for name, parts in LOOKS.items()}
    bands = np.array([row["bands"] or 0.0 for row in rows])
    return looks | {"wide": (bands > 0) & (bands <= WIDE_BANDS)}


def ideal_sets(chances: NDArray, level: float = 0.9) -> NDArray[np.intp]:
    """Return how many neighbouring grades each face needs so that their true chances reach ``level``."""
    n, grades = chances.shape
    need = np.full(n, grades)
    for width in range(grades - 1, 0, -1):
        sums = np.stack([chances[:, k : k + width].sum(axis=1) for k in range(grades - width + 1)])
        need[sums.max(axis=0) >= level - 1e-12] = width
    return need


def _look(rows: Sequence[dict], parts: Sequence[tuple]) -> NDArray[np.float64]:
    scaled = [
        [sign * ((row[f] or 0.0) - centre) / spread for f, sign, centre, spread in parts]
        for row in rows
    ]
    return np.clip(np.mean(scaled, axis=1), -REACH, REACH)


def _slipped(rung: NDArray[np.intp]) -> NDArray[np.float64]:
    """(n, K): the grades beside a rung, evenly."""
    apart = np.abs(np.arange(GRADES)[None, :] - rung[:, None]) == 1
    return apart / apart.sum(axis=1, keepdims=True)
