"""How often each feature occurs in training, tuning and held-out renders: ``python -m grader.render.census -n 400``."""

import argparse
from collections import Counter

import numpy as np

from grader.render.photograph import render_photo
from grader.render.style import HELD_OUT, TRAINING, Style


def census(style: Style, count: int, seed: int, width_px: int = 480) -> dict[str, float]:
    """Return the share of ``count`` renders in which each feature occurs."""
    counts: Counter[str] = Counter()
    for i in range(count):
        rng = np.random.default_rng([seed, i])
        rendered = render_photo(rng, style, width_px=width_px, height_px=width_px * 3 // 4)
        counts.update(name for name, present in rendered.features.items() if present)
    return {name: counts[name] / count for name in sorted(counts)}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=400, help="renders per style")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    styles = {"training": TRAINING, "tuning": TRAINING, "held-out": HELD_OUT}
    shares = {
        name: census(style, given.n, given.seed + step)
        for step, (name, style) in enumerate(styles.items())
    }
    print(
        f"{'feature':32}" + "".join(f"{name + ' %':>13}" for name in styles) + f"   (n {given.n})"
    )
    for feature in sorted(set().union(*shares.values())):
        row = (f"{100 * share.get(feature, 0):13.1f}" for share in shares.values())
        print(f"{feature:32}" + "".join(row))


if __name__ == "__main__":
    main()
