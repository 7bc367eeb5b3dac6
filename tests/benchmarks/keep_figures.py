"""Keep or break: whether the told range holds what stones then bring, and whether the advice pays.

    python tests/benchmarks/keep_figures.py [--stones N] [--seed S] [--write]

Drawn stones are broken in earnest by ``broken_stones.py``, which knows nothing of how the advice is made. A stone
without advice is kept and broken in turn, as a habit would have it: advice that never costs a habit anything is the aim.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from broken_stones import MAKES, DrawnStone, broken_in_earnest, draw
from tables import Row, as_table, write

from grader.face.lines.parting import partings
from grader.settings import BreakRanges
from grader.trade.keep import Breakable, KeepOrBreak, PartWorth, judged, tried, usual_plan

SEED = 20260711


@dataclass(frozen=True)
class Tried:
    """A stone: what was told, and what it brought whole and broken."""

    make: str
    told: KeepOrBreak
    whole: float
    broken: float


def advised(stone: DrawnStone, trials: int) -> tuple[KeepOrBreak, set[int]] | None:
    """Return what is told of a stone, and the lines struck; ``None`` where none would part it."""
    net = partings(stone.mask, stone.lines)
    if len(net.shares) < 2:
        return None
    chances = tuple(stone.lines[n].parting_chance for n in net.lines)
    known = Breakable(stone.grams, net.shares, chances, net.parts, stone.chips_per_g)

    def worth_of(cells: tuple[int, ...]) -> PartWorth:
        part = np.isin(net.cells, np.array(cells) + 1)
        return PartWorth(tuple(stone.chances(part)), tuple(stone.per_g(part, True)))

    plan = usual_plan(known)
    rng = np.random.default_rng(1)
    told = judged(tried(known, plan, worth_of, BreakRanges(), rng, trials))
    return told, {net.lines[k] for k in range(len(net.lines)) if plan >> k & 1}


def run(stones: int, seed: int, trials: int = 2000) -> list[Tried]:
    """Return so many stones of all makes in turn, each told of and then broken."""
    done, number = [], 0
    while len(done) < stones:
        make = list(MAKES)[number % len(MAKES)]
        stone = draw(make, np.random.default_rng([seed, number]))
        number += 1
        if (found := advised(stone, trials)) is not None:
            told, struck = found
            done.append(Tried(make, told, *broken_in_earnest(stone, struck)))
    return done


def held(done: Sequence[Tried]) -> dict[str, float]:
    """Return the share of ranges that hold what came, of stones broken, kept and of the gain."""
    pairs = {
        "broken": [(one.told.broken, one.broken) for one in done],
        "whole": [(one.told.whole, one.whole) for one in done],
        "gain": [(one.told.gain, one.broken - one.whole) for one in done],
    }
    return {
        name: float(np.mean([s.low - 1e-9 <= came <= s.high + 1e-9 for s, came in of]))
        for name, of in pairs.items()
    }


def earned(done: Sequence[Tried]) -> dict[str, float]:
    """Return what ways of going by the advice bring, all stones together."""

    def sum_of(choose) -> float:
        return sum(one.broken if choose(one.told) else one.whole for one in done)

    return {
        "always keep": sum_of(lambda _: False),
        "always break": sum_of(lambda _: True),
        "advice, else keep": sum_of(lambda t: t.advice == "break"),
        "advice, else break": sum_of(lambda t: t.advice != "keep"),
        "advice, else by the mean": sum_of(
            lambda t: t.advice == "break" or (t.advice != "keep" and t.gain.mean > 0)
        ),
    }


if __name__ == "__main__":
    import sys
    d = run(int(sys.argv[1]), int(sys.argv[2]), 1000)
    for m in [*MAKES, None]:
        x=[o for o in d if m in (None,o.make)]
        print(m,len(x),held(x)); print({k:round(v) for k,v in earned(x).items()})
        from collections import Counter
        print(Counter(o.told.advice for o in x), np.mean([o.broken<o.told.broken.low for o in x]), np.mean([o.broken>o.told.broken.high for o in x]))
