"""Lots of a set weight against what is known: a published instance, planted optima, all ways, and what is given away.

    python tests/benchmarks/lots_figures.py [--write]

The published instance is u120_00 of Falkenauer 1996 (OR-Library, binpack1), read as covering. The others are drawn.
"""

import argparse
import time

import numpy as np
from tables import Row, write

from grader.trade.lots import make_lots

SEED, PLANTED, FEW, DRAWN = 20261130, 50, 60, 8
FALKENAUER = (
    "98*3 96*2 94 93*2 92 91*2 90 87 86 85*2 84*5 83*2 82*2 81 80*3 79*2 78*4 76 74*2 73*4 72 71 70*3 69*3 67 66 64 "
    "62*2 60*2 59 58*3 57*4 55*3 50 49*3 47 46*2 45*2 44*2 43*4 42*5 41*3 39*2 38*3 37 36*3 35 33*3 32*2 30*3 29 28 "
    "27*2 26 25*2 24 23*2 20"
)


def main() -> None:
    """Measure, print and with ``--write`` keep the rows."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--write", action="store_true", help="keep the rows in the figures")
    rows = [published(), planted(), exact(), *three_hundred()]
    for row in rows:
        print(f"{row.figure:<60} {row.n:<24} {row.ours}  {row.floor}")
    if ask.parse_args().write:
        write("deals", rows)


def published() -> Row:
    parts = (part.split("*") for part in FALKENAUER.split())
    grams = [int(w) for w, *times in parts for _ in range(int(times[0]) if times else 1)]
    short = sum(grams) // 150 - len(make_lots(grams, 150).lots)
    return Row(
        "lots: fewer than all that weighs enough",
        "Falkenauer u120_00",
        "1",
        str(short),
        floor="≤ 1",
    )


def planted() -> Row:
    """Lots that were cut into pieces without a gram left: as many can be made again."""
    short = []
    for seed in range(PLANTED):
        rng = np.random.default_rng([SEED, seed])
        count, grams = int(rng.integers(5, 20)), []
        for _ in range(count):
            cuts = np.sort(rng.choice(np.arange(20, 481), int(rng.integers(1, 6)), replace=False))
            grams += [int(g) for g in np.diff([0, *cuts, 500]) if g > 0]
        short.append(count - len(make_lots(grams, 500).lots))
    return Row(
        "lots: fewer than planted, at most", "drawn, optimum planted", str(PLANTED), str(max(short)),
        floor="≤ 1",
    )  # fmt: skip


def exact() -> Row:
    """Up to twenty pieces against the best of all ways to divide them."""
    rng, equal = np.random.default_rng(SEED), 0
    for _ in range(FEW):
        grams = [int(g) for g in rng.lognormal(np.log(140), 0.5, rng.integers(1, 21))]
        equal += len(make_lots(grams, 500).lots) == most_by_all_ways(grams, 500)
    return Row(
        "lots: as many as of all ways, share", "drawn, 1 to 20 pieces", str(FEW), f"{equal / FEW:.3f}",
        floor="≥ 1",
    )  # fmt: skip


def most_by_all_ways(grams: list[int], size: int) -> int:
    """The most lots of all ways: of each set of pieces, filled one after the other, the most whole lots and then the
    fullest begun one (Held & Karp 1962, J. SIAM 10(1), build the best of a set from its subsets alike)."""
    count, whole = len(grams), 1 << 20  # One whole lot counts more than any that is begun.
    assert sum(grams) < whole
    sets = np.arange(1 << count)
    sizes = sum((sets >> piece) & 1 for piece in range(count))
    best = np.full(1 << count, -1)
    best[0] = 0
    for layer in (sets[sizes == number] for number in range(count)):
        for piece, weight in enumerate(grams):
            free = layer[(layer >> piece) & 1 == 0]
            lots, begun = best[free] // whole, best[free] % whole + weight
            then = np.where(begun >= size, (lots + 1) * whole, lots * whole + begun)
            best[free | 1 << piece] = np.maximum(best[free | 1 << piece], then)
    return int(best[-1] // whole)


def three_hundred() -> list[Row]:
    """Three hundred pieces, of which the middle one weighs at most a quarter of the lot."""
    away, short, seconds = [], [], []
    for seed in range(DRAWN):
        rng = np.random.default_rng([SEED, 300, seed])
        grams = [int(g) for g in rng.lognormal(np.log(110), 0.5, 300)]
        begun = time.process_time()
        lots = make_lots(grams, 500)
        seconds.append(time.process_time() - begun)
        away.append(lots.over_share)
        short.append(lots.most - len(lots.lots))
    on, n = "drawn, 300 pieces for 500 g, median about 110 g", str(DRAWN)
    return [
        Row("lots: given away, share", on, n, f"{max(away):.4f} (worst)", floor="≤ 0.005"),
        Row("lots: fewer than the proven bound, at most", on, n, str(max(short))),
        Row("lots: time of the processor, s", on, n, f"{max(seconds):.1f} (worst)", floor="≤ 20"),
    ]


if __name__ == "__main__":
    main()
