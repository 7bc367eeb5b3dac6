"""Keep a stone whole or break it: what either way comes to, as two distributions by seeded trial.

What is not known of a break is drawn anew in each trial, once for all of it: how well lines open, how much is lost.
Grades of the parts are drawn by their chances, and lean one way together, as one person's eye does. Nothing here sees
a picture: a stone is cells that stay whole, and for each set of open lines the part that each cell belongs to.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from grader.settings import BreakRanges

#: Trials of one stone.
TRIALS = 4000
#: The range that is told holds eight of ten.
LOW, HIGH = 0.1, 0.9
#: How much of what makes a part's grade is common to all parts of a stone; likewise of whether its lines open.
TOGETHER = 0.5
#: So much of a stone's value a blow that does not part it may cost, as a share.
BRUISE = 0.03
#: Of the weight of a part by its share of the face: standard deviation of the logarithm. From memory, a rough stone is
#: half as thick again on one side as on the other.
THICKNESS_SD = 0.22


@dataclass(frozen=True)
class PartWorth:
    """What a part may be: chance of each grade, lowest first, sum 1, and what a gram of it costs then."""

    chances: tuple[float, ...]
    per_g: tuple[float, ...]


@dataclass(frozen=True)
class Breakable:
    """A stone that may part.

    grams : of all of it.   grams_sd_share : how far that may be off, as a share: 0 where it was weighed.
    shares : of the face, of each cell, sum 1.   chances : of each line, that the stone parts along it.
    parts : for each set of open lines (bit k is line k) the part of each cell, counted from 0.
    chips_per_g : what chips cost.
    """

    grams: float
    shares: tuple[float, ...]
    chances: tuple[float, ...]
    parts: tuple[tuple[int, ...], ...]
    chips_per_g: float = 0.0
    grams_sd_share: float = 0.0

    def cells_of(self, opened: int) -> tuple[tuple[int, ...], ...]:
        """Return the parts of a set of open lines, each as its cells."""
        of = self.parts[opened]
        return tuple(
            tuple(cell for cell, part in enumerate(of) if part == n) for n in dict.fromkeys(of)
        )


#: What a part of these cells may be.
WorthOf = Callable[[tuple[int, ...]], PartWorth]


@dataclass(frozen=True)
class Spread:
    """A distribution of money: mean, median, and the range that holds eight of ten."""

    mean: float
    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Way:
    """One way in which a stone may part: how often of all trials, the mean weights of its parts, g, largest first.

    opened : the lines that open.   low_g, high_g : the range of each weight that holds eight of ten.
    more : whether a part breaks once more where no line is seen.
    """

    chance: float
    opened: int
    grams: tuple[float, ...]
    low_g: tuple[float, ...]
    high_g: tuple[float, ...]
    more: bool


@dataclass(frozen=True)
class Trials:
    """Money of each trial, kept whole and broken, what was lost as chips and dust, g, shape (n,) each, and the ways it
    parted, the likeliest first."""

    whole: NDArray[np.float64]
    broken: NDArray[np.float64]
    lost_g: NDArray[np.float64]
    ways: tuple[Way, ...]


@dataclass(frozen=True)
class KeepOrBreak:
    """Both ways of a stone in money, and what is advised.

    gain : of breaking over keeping; below 0 it is a loss.   break_even : the price of the whole stone at which both
    come to as much, in the mean.   advice : "keep", "break" or "yours to say".
    """

    whole: Spread
    broken: Spread
    gain: Spread
    advice: str

    @property
    def break_even(self) -> float:
        return self.broken.mean


def spread(money: NDArray) -> Spread:
    """Return a distribution in four numbers."""
    low, median, high = np.quantile(money, (LOW, 0.5, HIGH))
    return Spread(float(money.mean()), float(median), float(low), float(high))


def judged(trials: Trials) -> KeepOrBreak:
    """Return what trials come to; advice only where the gain is beyond its doubt: all of its range on one side of 0.

    A blow that parts nothing leaves the stone that was there: what it may bruise is not counted as a loss.
    """
    whole, broken = spread(trials.whole), spread(trials.broken)
    gain, bruise = spread(trials.broken - trials.whole), BRUISE * spread(trials.whole).mean
    # Less than half a cent is nothing.
    better = gain.mean > 0.005 and gain.low >= -bruise
    worse = gain.mean < -0.005 and gain.high <= bruise
    advice = "break" if better else "keep" if worse else "yours to say"
    return KeepOrBreak(whole, broken, gain, advice)


def tried(
    stone: Breakable,
    planned: int,
    worth_of: WorthOf,
    ranges: BreakRanges,
    rng: np.random.Generator,
    n: int = TRIALS,
) -> Trials:
    """Return what a stone comes to whole and broken along planned lines, tried n times.

    planned : the lines that are struck, as a set; others may open with them.
    """
    world = _World(ranges, rng, n)
    grams = np.maximum(stone.grams * (1 + stone.grams_sd_share * world.normal()), 0.0)
    everything = tuple(range(len(stone.shares)))
    whole = grams * world.per_g(worth_of(everything))
    opened = world.opened(stone.chances, planned)
    broken, lost_g, more = np.empty(n), np.empty(n), np.zeros(n, bool)
    thickness = np.exp(THICKNESS_SD * world.normal(len(stone.shares)))
    weights: dict[tuple[int, bool], NDArray] = {}
    for which in np.unique(opened):
        here = np.flatnonzero(opened == which)
        parts = stone.cells_of(int(which))
        cell_g = np.array(stone.shares)[:, None] * thickness[:, here]
        part_g = np.array([cell_g[list(cells)].sum(axis=0) for cells in parts])
        part_g *= grams[here] / part_g.sum(axis=0)
        again = world.again(len(parts))[:, here]
        more[here] = again.any(axis=0)
        lost = world.lost(part_g, len(parts) - 1 + again.sum(axis=0), here)
        left, lost_g[here] = part_g - lost, lost.sum(axis=0)
        each = zip(parts, again, strict=True)
        rates = np.array([world.per_g_of_part(worth_of(cells), a, here) for cells, a in each])
        as_it_was = (len(parts) == 1) & ~more[here]
        money = (left * rates).sum(axis=0) + world.chips[here] * lost.sum(
            axis=0
        ) * stone.chips_per_g
        # What did not part is sold as the stone that it was.
        broken[here] = np.where(as_it_was, whole[here] * (left.sum(axis=0) / grams[here]), money)
        for wider in (False, True):
            chosen = more[here] == wider
            if chosen.any():
                weights[int(which), wider] = left[:, chosen]
    return Trials(whole, broken, lost_g, _ways(opened, more, weights))


class _World:
    """All that is drawn for n trials."""

    def __init__(self, ranges: BreakRanges, rng: np.random.Generator, n: int) -> None:
        self._rng, self._n = rng, n
        self._opens, self._along, self._again, self._loss, self.chips = (
            rng.uniform(*span, n)
            for span in (ranges.opens, ranges.opens_too, ranges.breaks_more, ranges.loss, ranges.chips)
        )  # fmt: skip
        self._eye, self._grain = self.normal(), self.normal()

    def normal(self, *more: int) -> NDArray[np.float64]:
        return self._rng.standard_normal((*more, self._n))

    def _leaning(self, common: NDArray) -> NDArray[np.float64]:
        """Normal numbers that lean one way with others of the same trial."""
        return np.sqrt(TOGETHER) * common + np.sqrt(1 - TOGETHER) * self.normal()

    def per_g(self, worth: PartWorth) -> NDArray[np.float64]:
        """Money a gram by a drawn grade."""
        return np.array(worth.per_g)[self._rungs(worth)]

    def _rungs(self, worth: PartWorth) -> NDArray[np.int64]:
        steps = np.clip(np.cumsum(worth.chances)[:-1], 1e-9, 1 - 1e-9)
        bounds = [NormalDist().inv_cdf(step) for step in steps]
        return np.searchsorted(bounds, self._leaning(self._eye))

    def per_g_of_part(self, worth: PartWorth, again: NDArray, here: NDArray) -> NDArray[np.float64]:
        """The same of a part; one that broke once more is a grade lower half of the time, for its picture is cut."""
        rungs = self._rungs(worth)[here]
        lower = again & (self._rng.random(len(here)) < 0.5)
        return np.array(worth.per_g)[np.where(lower, np.maximum(rungs - 1, 0), rungs)]

    def opened(self, chances: Sequence[float], planned: int) -> NDArray[np.int64]:
        """The set of lines that open in each trial: struck ones likelier than others."""
        opened = np.zeros(self._n, np.int64)
        for k, chance in enumerate(chances):
            struck = bool(planned >> k & 1)
            likely = chance * (self._opens if struck else self._along)
            depth = np.array(self._leaning(self._grain))
            opened |= (_below(depth) < likely).astype(np.int64) << k
        return opened

    def again(self, parts: int) -> NDArray[np.bool_]:
        """Which parts break once more where no line is seen, shape (parts, n)."""
        return self._rng.random((parts, self._n)) < self._again / parts

    def lost(self, part_g: NDArray, breaks: NDArray, here: NDArray) -> NDArray[np.float64]:
        """What each part loses as chips and dust, g, by how often the stone parts; what parts nothing bruises."""
        share = self._loss[here] * np.maximum(breaks, 0.25)
        return part_g * np.minimum(share, 0.5)


def _below(normal: NDArray) -> NDArray[np.float64]:
    """Share of a normal distribution below each number (Abramowitz and Stegun 1964, 7.1.26, off by 1.5e-7 at most)."""
    x = np.abs(normal) / np.sqrt(2)
    t = 1 / (1 + 0.3275911 * x)
    series = np.polyval((1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592, 0), t)
    half = 0.5 * (1 - series * np.exp(-x * x))
    return 0.5 + np.sign(normal) * half


def _ways(opened: NDArray, more: NDArray, weights: dict) -> tuple[Way, ...]:
    counts = Counter(zip(opened.tolist(), more.tolist(), strict=True))
    ways = []
    for (which, wider), count in counts.most_common():
        left = weights[which, wider]
        order = np.argsort(-left.mean(axis=1), kind="stable")
        low, high = np.quantile(left[order], (LOW, HIGH), axis=1).tolist()
        grams = left[order].mean(axis=1).tolist()
        ways.append(Way(count / len(opened), which, tuple(grams), tuple(low), tuple(high), wider))
    return tuple(ways)


def usual_plan(stone: Breakable, likely: float = 0.5) -> int:
    """Return the lines to strike where nobody names a weight: all that part it likelier than not, else the fewest and
    surest that part it at all."""
    all_of = sum(1 << k for k, chance in enumerate(stone.chances) if chance >= likely)
    if len(stone.cells_of(all_of)) > 1:
        return _least(stone, all_of)
    return max(_plans(stone), key=lambda plan: (_sure(stone, plan), -plan))


def plan_near(stone: Breakable, grams: float) -> int:
    """Return the lines to strike so that the parts come nearest to a weight, by shares of the face: the mean of how far
    a gram's part is off. Of those as near the surest."""

    def off(plan: int) -> float:
        shares = [sum(stone.shares[cell] for cell in cells) for cells in stone.cells_of(plan)]
        return sum(share * abs(np.log(share * stone.grams / grams)) for share in shares)

    return min(_plans(stone), key=lambda plan: (round(off(plan), 9), -_sure(stone, plan), plan))


def _plans(stone: Breakable) -> list[int]:
    """The sets of lines that part the stone, none with a line too many."""
    able = [plan for plan in range(len(stone.parts)) if len(stone.cells_of(plan)) > 1]
    return [plan for plan in able if _least(stone, plan) == plan]


def _least(stone: Breakable, plan: int) -> int:
    """The plan without lines that change nothing, the least sure left out first."""
    for k in sorted(range(len(stone.chances)), key=lambda k: stone.chances[k]):
        if plan >> k & 1 and stone.parts[plan & ~(1 << k)] == stone.parts[plan]:
            plan &= ~(1 << k)
    return plan


def _sure(stone: Breakable, plan: int) -> float:
    return float(np.prod([p for k, p in enumerate(stone.chances) if plan >> k & 1]))
