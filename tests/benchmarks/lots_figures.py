"""Lots of a set weight, and parcels, against what is known: published instances, planted optima, all ways.

    python tests/benchmarks/lots_figures.py [--write]

The published ones are Falkenauer's (`published_packing.py`), u120_00 for lots read as covering. The others are drawn.
"""

import argparse
import time

import numpy as np
from published_packing import PUBLISHED, pieces_of
from tables import Row, write

from grader.trade.lots import make_lots
from grader.trade.packing import pack

SEED, PLANTED, FEW, DRAWN = 20261130, 50, 60, 8


def main() -> None:
    """Measure, print and with ``--write`` keep the rows."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--write", action="store_true", help="keep the rows in the figures")
    rows = [parcels(), published(), planted(), exact(), *three_hundred()]
    for row in rows:
        print(f"{row.figure:<60} {row.n:<24} {row.ours}  {row.floor}")
    if ask.parse_args().write:
        write("deals", rows)


def parcels() -> Row:
    """Pieces into as few parcels as can be: published instances, of which the plain way needs one parcel more each."""
    more = [len(pack(pieces_of(text), 150).parcels) - best for best, text in PUBLISHED.values()]
    on = "Falkenauer u120_00, 07, 08, 19"
    return Row(
        "parcels: more than the optimum, at most", on, str(len(more)), str(max(more)), floor="≤ 0"
    )


def published() -> Row:
    grams = pieces_of(PUBLISHED["u120_00"][1])
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
