"""Looks for bounds of the written rules that share out drawn faces, and prints them.

``python tests/benchmarks/tune_rules.py [--faces FILE] [--steps N]``. On the true features of faces of the training
style, never of the one kept back: each grade is to hold 15 to 35 %, a third of the faces to lie within a tenth of a
border, each condition to decide 5 %. From the bounds as they stand, one is moved at a time and the move kept where all
of these together come nearer. Put what it prints into the profile by hand, raise its version, and make the starter
anew.
"""

import argparse
import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.rules import NEEDS_SCALE, conditions
from grader.profile import Profile, load_profile
from grader.render import TRAINING
from grader.starter import NEAR, SEED, drawer, kept

PHOTOS = range(260)
SHARES, BORDER, DECIDES = (0.17, 0.33), 0.33, 0.055
#: A bound moves by up to so much of itself in one step.
MOVE = 0.15


class Rules:
    """The rules of a profile on many faces at once; bounds in the order of the conditions."""

    def __init__(self, profile: Profile, rows: list[dict]) -> None:
        self.grades, self.rules = profile.grades, [conditions(rule) for rule in profile.rules]
        every = [c for rule in self.rules for c in rule]
        if any(c.measure in NEEDS_SCALE for c in every):
            raise ValueError("rules on sizes are not tuned: not every face has a scale")
        self.names = [str(c).rsplit(" ", 1)[0] for c in every]
        self.bounds = np.array([c.bound for c in every])
        self.values = np.array([[row[c.measure] or 0.0 for c in every] for row in rows])
        # A better grade asks no less of a measure than the one below it: (condition below, condition above).
        self.ladder = [
            (i, j)
            for i, low in enumerate(every)
            for j, high in enumerate(every)
            if low.measure == high.measure
            and low.at_most == high.at_most
            and self.grades.index(high.grade) == self.grades.index(low.grade) + 1
        ]
        self.sign = np.array([-1.0 if c.at_most else 1.0 for c in every])

    def outcome(self, bounds: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        """Return the share of each grade, of each condition that it decides, and how far each nearest border is."""
        margins = self.sign * (self.values - bounds) / np.abs(bounds)
        n, k = len(margins), len(self.grades)
        best = np.full((n, k), -np.inf)
        best[:, 0] = np.inf
        decider = np.zeros((n, k), int)
        first = 0
        for rule in self.rules:
            part = margins[:, first : first + len(rule)]
            rung = self.grades.index(rule[0].grade)
            tightest = part.min(axis=1)
            better = tightest > best[:, rung]
            best[better, rung] = tightest[better]
            decider[better, rung] = first + part.argmin(axis=1)[better]
            first += len(rule)
        reached = k - 1 - np.argmax(best[:, ::-1] >= 0, axis=1)
        rows = np.arange(n)
        decided = decider[rows, np.minimum(reached + 1, k - 1)]
        masked = np.where(np.arange(k) >= reached[:, None], best, -np.inf)
        below = np.where(reached > 0, masked.max(axis=1), np.inf)
        above = np.where(np.arange(k) > reached[:, None], best, -np.inf).max(axis=1)
        shares = np.bincount(reached, minlength=k) / n
        deciding = np.bincount(decided, minlength=len(bounds)) / n
        return shares, deciding, np.minimum(below, -above)

    def lack(self, bounds: NDArray) -> float:
        """Return by how much the aims are missed, all together; a little for leaving the bounds of now."""
        if any(self.sign[j] * (bounds[j] - bounds[i]) < 0 for i, j in self.ladder):
            return np.inf
        shares, deciding, border = self.outcome(bounds)
        uneven = np.maximum(SHARES[0] - shares, 0).sum() + np.maximum(shares - SHARES[1], 0).sum()
        idle = np.maximum(DECIDES - deciding, 0).sum()
        near = abs(float((border <= NEAR).mean()) - BORDER)
        return (
            2 * uneven + 2 * idle + near + 0.01 * float(np.abs(np.log(bounds / self.bounds)).mean())
        )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument(
        "--faces", type=Path, help="a file that keeps the drawn faces for the next time"
    )
    asked.add_argument("--steps", type=int, default=6000)
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    args = asked.parse_args()
    profile = load_profile()
    draw = drawer(profile, SEED, args.workers)
    if args.faces:
        draw = kept(args.faces, profile, SEED, draw)
    rules = Rules(profile, [face.true for face in draw(TRAINING, PHOTOS)])
    rng, bounds = np.random.default_rng(0), rules.bounds.copy()
    lack = rules.lack(bounds)
    for _ in range(args.steps):
        tried = bounds.copy()
        some = rng.choice(len(bounds), rng.integers(1, 3), replace=False)
        tried[some] *= np.exp(rng.uniform(-MOVE, MOVE, len(some)))
        tried = np.where(tried > 2, np.round(tried), np.round(tried, 2))
        if (found := rules.lack(tried)) < lack:
            bounds, lack = tried, found
    for title, at in (("as they stand", rules.bounds), ("found", bounds)):
        shares, deciding, border = rules.outcome(at)
        shares_text = ", ".join(f"{g} {s:.0%}" for g, s in zip(rules.grades, shares, strict=True))
        print(f"\n{title}: {shares_text}; within a tenth of a border {(border <= NEAR).mean():.0%}")
        for name, bound, share in zip(rules.names, at, deciding, strict=True):
            print(f"  {name} {bound:g}: decides {share:.0%}")


if __name__ == "__main__":
    main()
