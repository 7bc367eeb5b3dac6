"""How often each feature occurs: ``python -m grader.render.census -n 400`` prints training beside
held-out renders.
"""

import argparse
from collections import Counter

import numpy as np

from grader.render.photograph import render_photo
from grader.render.style import HELD_OUT, TRAINING, Style


def census(style: Style, count: int, seed: int, width_px: int = 480) -> dict[str, float]:
    """Return the share of ``count`` renders in which each feature occurs."""
    seen: Counter[str] = Counter()
    for i in range(count):
        rng = np.random.default_rng([seed, i])
        rendered = render_photo(rng, style, width_px=width_px, height_px=width_px * 3 // 4)
        seen.update(name for name, there in rendered.features.items() if there)
    return {name: seen[name] / count for name in sorted(seen)}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=400, help="renders per style")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    training = census(TRAINING, given.n, given.seed)
    held_out = census(HELD_OUT, given.n, given.seed + 1)
    print(f"{'feature':32} {'training %':>10} {'held-out %':>10}   ({given.n} renders each)")
    for name in sorted(training | held_out):
        print(f"{name:32} {100 * training.get(name, 0):10.1f} {100 * held_out.get(name, 0):10.1f}")


if __name__ == "__main__":
    main()
