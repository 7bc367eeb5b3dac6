"""What a haul may come to: weight and money by grade and size class as ranges, from the chances of grades, the spread
of prices and the part that is sold in the end; and the grades of a bin from a few pieces drawn at random.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt

import numpy as np

#: Two-sided 95 % of the normal distribution.
_Z = 1.959964
#: So many hauls are drawn; ranges hold eight in ten of them.
DRAWS, RANGE = 2000, (0.1, 0.5, 0.9)
Pair = tuple[float, float]


@dataclass(frozen=True)
class Share:
    """A share with its 95 % interval, 0 to 1."""

    share: float
    low: float
    high: float


def wilson(count: int, of: int) -> Share:
    """Return a share seen in a random sample, with its 95 % interval: Wilson 1927, J. Am. Stat. Assoc. 22:209-212.

    Raises
    ------
    ValueError
        An empty sample.
    """
    if of <= 0:
        raise ValueError("an empty sample tells nothing")
    p, z2 = count / of, _Z**2
    middle = (p + z2 / (2 * of)) / (1 + z2 / of)
    half = _Z * sqrt(p * (1 - p) / of + z2 / (4 * of**2)) / (1 + z2 / of)
    return Share(p, max(0.0, middle - half), min(1.0, middle + half))


@dataclass(frozen=True)
class Stock:
    """Stone for sale whose grade, price or sale is not settled.

    grams : its weight.   asked : money by grade, were it of that; a grade without a price is left out.
    chances : by grade, sum 1; one of 1 where the grade is settled.
    counts : of a bin, how many of a random sample had each grade; then ``chances`` are left empty.
    """

    grams: float
    asked: Mapping[str, float]
    chances: Mapping[str, float] = field(default_factory=dict)
    counts: Mapping[str, int] = field(default_factory=dict)
    size: str | None = None


@dataclass(frozen=True)
class Spread:
    """How prices and sales may turn out: both as parts of what is asked, of everything and by grade; (1, 1) is sure."""

    price: Pair = (1.0, 1.0)
    sells: Mapping[str, Pair] = field(default_factory=dict)

    @property
    def said(self) -> bool:
        """Whether the seller said anything of it."""
        return self != Spread()


@dataclass(frozen=True)
class Ranges:
    """Low, middle and high: eight drawn hauls in ten lie between low and high.

    grams : g.   money : in the currency.   priced : whether any of it has a price.
    """

    grams: tuple[float, float, float]
    money: tuple[float, float, float]
    priced: bool = True


@dataclass(frozen=True)
class Outlook:
    """What stock may come to. by_kind : by grade and size class."""

    total: Ranges
    by_kind: Mapping[tuple[str, str | None], Ranges]


def outlook(
    stock: Sequence[Stock], ladder: Sequence[str], spread: Spread, seed: int = 0
) -> Outlook:
    """Return what stock may come to, by drawing many hauls; the same seed gives the same.

    Grades are drawn for each stone by its chances, those of a bin from the Dirichlet distribution of its sample (with
    half a piece of each grade added, Jeffreys' prior); prices and what is sold once for all stones of a grade.
    """
    rng = np.random.default_rng(seed)
    grades = list(dict.fromkeys([*ladder, *(g for one in stock for g in one.chances)]))
    place = {grade: n for n, grade in enumerate(grades)}
    sizes = list(dict.fromkeys(one.size for one in stock)) or [None]
    grams = np.zeros((DRAWS, len(grades), len(sizes)))
    money = np.zeros_like(grams)
    every = np.arange(DRAWS)
    prices = {(grade, one.size) for one in stock for grade in one.asked}
    for one in stock:
        column = sizes.index(one.size)
        asked = np.array([one.asked.get(grade, 0.0) for grade in grades])
        if one.counts:
            counts = np.array([one.counts.get(grade, 0) for grade in grades])
            shares = rng.dirichlet(counts + 0.5, DRAWS)
            grams[:, :, column] += one.grams * shares
            money[:, :, column] += asked * shares
        else:
            drawn = _drawn(one.chances, place, rng)
            grams[every, drawn, column] += one.grams
            money[every, drawn, column] += asked[drawn]
    factor = rng.uniform(*spread.price, (DRAWS, len(grades)))
    sells = [rng.uniform(*spread.sells.get(grade, (1.0, 1.0)), DRAWS) for grade in grades]
    money *= (factor * np.transpose(sells))[:, :, None] if grades else 1.0
    kinds = {
        (grade, size): _ranges(grams[:, g, s], money[:, g, s], priced=(grade, size) in prices)
        for g, grade in enumerate(grades)
        for s, size in enumerate(sizes)
        if grams[:, g, s].any()
    }
    return Outlook(_ranges(grams.sum(axis=(1, 2)), money.sum(axis=(1, 2))), kinds)


def _drawn(chances: Mapping[str, float], place: Mapping[str, int], rng: np.random.Generator):
    """Places of a stone's grade in each drawn haul."""
    grades = [place[grade] for grade in chances]
    if len(grades) == 1:
        return np.full(DRAWS, grades[0])
    weights = np.array(list(chances.values()))
    return rng.choice(grades, DRAWS, p=weights / weights.sum())


def _ranges(grams: np.ndarray, money: np.ndarray, priced: bool = True) -> Ranges:
    of = (tuple(map(float, np.quantile(one, RANGE))) for one in (grams, money))
    return Ranges(*of, priced=priced)
