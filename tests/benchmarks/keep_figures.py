"""Keep or break: whether the told range holds what stones then bring, and whether the advice pays.

    python tests/benchmarks/keep_figures.py [--stones N] [--seed S] [--workers W] [--write]

Drawn stones are broken in earnest by ``broken_stones.py``, which knows nothing of how the advice is made. What the
seller does where there is no advice is his: he may keep the stone, break it, or go by the mean that is told beside.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from broken_stones import MAKES, DrawnStone, broken_in_earnest, draw
from joblib import Parallel, delayed
from tables import Row, as_table, write

from grader.face.lines.parting import partings
from grader.settings import BreakRanges
from grader.trade.keep import Breakable, KeepOrBreak, PartWorth, judged, tried, usual_plan

SEED = 20260711
TRIALS = 400
#: Few dear stones make most of the money: each is broken so often, and counts with the mean.
TIMES = 4
#: By this make the shipped ranges of ``[breaking]`` were chosen, on other seeds; the figures are those of the others.
CHOSEN_ON = "middling"
HELD_OUT = [make for make in MAKES if make != CHOSEN_ON]


@dataclass(frozen=True)
class Tried:
    """A stone: what was told, and what it brought whole and broken; the first time, and in the mean of many times."""

    told: KeepOrBreak
    whole: float
    broken: float
    mean_whole: float
    mean_broken: float


def advised(stone: DrawnStone, trials: int) -> tuple[KeepOrBreak, set[int]] | None:
    """Return what is told of a stone, and the lines struck; ``None`` where none would part it."""
    net = partings(stone.mask, stone.lines)
    if len(net.shares) < 2:
        return None
    chances = tuple(stone.lines[n].parting_chance for n in net.lines)
    known = Breakable(stone.grams, net.shares, chances, net.parts, stone.chips_per_g)

    @cache
    def worth_of(cells: tuple[int, ...]) -> PartWorth:
        part = np.isin(net.cells, np.array(cells) + 1)
        return PartWorth(tuple(stone.chances(part)), tuple(stone.per_g(part)))

    plan = usual_plan(known)
    rng = np.random.default_rng(1)
    told = judged(tried(known, plan, worth_of, BreakRanges(), rng, trials))
    return told, {net.lines[k] for k in range(len(net.lines)) if plan >> k & 1}


def one(make: str, seed: int, number: int, trials: int, times: int) -> Tried | None:
    """Return one drawn stone, told of and then broken that many times; ``None`` where no line would part it."""
    stone = draw(make, np.random.default_rng([seed, number]))
    found = advised(stone, trials)
    if found is None:
        return None
    told, struck = found
    came = np.array([broken_in_earnest(stone, struck) for _ in range(times)])
    return Tried(told, *came[0], *came.mean(axis=0))


def run(
    stones: int,
    seed: int,
    makes: Sequence[str],
    trials: int = TRIALS,
    times: int = TIMES,
    workers: int = 1,
) -> list[Tried]:
    """Return so many stones of these makes in turn."""
    asked = [(makes[n % len(makes)], seed, n, trials, times) for n in range(stones + stones // 10)]
    done = Parallel(workers)(delayed(one)(*ask) for ask in asked)
    return [stone for stone in done if stone][:stones]


def held(done: Sequence[Tried]) -> dict[str, float]:
    """Return the share of ranges that hold what came: of stones broken, kept whole, and of the gain."""
    pairs = {
        "broken": [(one.told.broken, one.broken) for one in done],
        "whole": [(one.told.whole, one.whole) for one in done],
        "gain": [(one.told.gain, one.broken - one.whole) for one in done],
    }
    # A cent more or less is no miss.
    return {
        name: float(np.mean([s.low - 0.005 <= came <= s.high + 0.005 for s, came in of]))
        for name, of in pairs.items()
    }


def earned(done: Sequence[Tried]) -> dict[str, float]:
    """Return what each way of going about it brings, all stones together."""

    def sum_of(breaks) -> float:
        return sum(one.mean_broken if breaks(one.told) else one.mean_whole for one in done)

    return {
        "always keep": sum_of(lambda told: False),
        "always break": sum_of(lambda told: True),
        "advice, else keep": sum_of(lambda told: told.advice == "break"),
        "advice, else break": sum_of(lambda told: told.advice != "keep"),
        "advice, else the mean": sum_of(_by_the_mean),
    }


def _by_the_mean(told: KeepOrBreak) -> bool:
    return told.advice == "break" or (told.advice == "yours to say" and told.gain.mean > 0)


def rows(done: Sequence[Tried], measured_on: str) -> list[Row]:
    """Return the figures of stones as rows."""
    n, found, money = str(len(done)), held(done), earned(done)
    keep, broken = money["always keep"], money["always break"]
    mean = money["advice, else the mean"] / max(keep, broken)
    given = float(np.mean([one.told.advice != "yours to say" for one in done]))
    figures = [
        ("80 % range holds what the broken stone brings, share", found["broken"], "0.75–0.85"),
        ("80 % range holds what the whole stone brings, share", found["whole"], ""),
        ("80 % range holds what breaking gains, share", found["gain"], ""),
        ("money by the advice, else by its mean / the better habit", mean, "≥ 1"),
        ("money by the advice, else kept / always kept", money["advice, else keep"] / keep, "≥ 1"),
        ("money by the advice, else broken / always broken", money["advice, else break"] / broken, "≥ 1"),
        ("money always broken / always kept", broken / keep, ""),
        ("stones with advice, share", given, ""),
    ]  # fmt: skip
    return [
        Row(name, measured_on, n, f"{value:.3f}", floor=floor) for name, value, floor in figures
    ]


def main() -> None:
    """Measure, print a table, and keep it where asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--stones", type=int, default=1000)
    ask.add_argument("--seed", type=int, default=SEED)
    ask.add_argument("--workers", type=int, default=2)
    ask.add_argument("--write", action="store_true", help="keep the rows in the figures of keep")
    args = ask.parse_args()
    told = []
    for makes, stones, what in (
        (HELD_OUT, args.stones, "stones of left-out makes"),
        ([CHOSEN_ON], args.stones // 4, "the make that ranges were chosen on"),
    ):
        done = run(stones, args.seed, makes, workers=args.workers)
        told += rows(done, f"{what}, seed {args.seed}")
    print(as_table(told))
    if args.write:
        write("keep", told)


if __name__ == "__main__":
    main()
