"""Prints how soon grades follow a seller of a make that nobody thought of, with n and seed.

``python tests/benchmarks/seller_figures.py [--faces FILE] [--seeds N] [--runs N] [--write]``. Sellers are simulated
(``sellers.py``), of each make one for each seed: they see the true features of drawn faces of the style that was kept
back, the model sees what is measured on them. Of the crowd behind the ensemble the make of the seller who calls is left
out, each in turn. The photos are split in two: calls come from one part, kappa with his calls from the other. Beside
it: the starter as it is, a plain ridge on the same measures cut at the called shares, the same learner with the same
crowd on the true measures, and the seller's own calls of the same stones a second time. ``--faces`` keeps the drawn
faces for the next time.
"""

import argparse
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import metrics
import numpy as np
import tables
from numpy.typing import NDArray
from ridge import ridge_rungs
from sellers import MAKES, Sorting, draw_seller, ideal_sets
from tables import Row

from grader.drawn import DrawnFace
from grader.grading.learning.agreement import counts, weighted_kappa
from grader.grading.learning.ask import ask_for
from grader.grading.learning.candidates import column_signs, learn_head
from grader.grading.learning.drift import mean_interval
from grader.grading.learning.retrain import retrain
from grader.grading.models.crowd import MAKES as CROWD
from grader.grading.models.model import GradeHead, Model
from grader.grading.models.model_files import load_model
from grader.grading.models.ordinal import median_grade
from grader.grading.models.prediction_set import LEVEL
from grader.grading.models.seller_ensemble import EACH, SellerEnsemble, draw_ensemble
from grader.grading.proposal import Call
from grader.measures import Interval
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING
from grader.starter import HELD_OUT_PHOTOS, PHOTOS, SEED, drawer, kept

#: Photos of the faces that are called beside those that the starter is judged by, all of the style kept back. The crowd
#: learns from the starter's own faces, and sellers set their cuts by them.
CALLED_PHOTOS = range(1110, 1150)
COUNTS = (20, 60, 120)
#: How far kappa may lie below the seller's own repeat, in the mean over makes.
BELOW_REPEAT = {20: 0.15, 60: 0.10, 120: 0.08}
#: Calls whose retraining is timed.
MANY = 2000
BINS = 10


@dataclass(frozen=True)
class Trial:
    """One seller, one number of calls, judged on the other part: kappa with his calls by each way.

    model, true, ridge, starter, repeat : see above.
    sets : whether each grade is in each test face's set, (n, K).   chances : (n, K).   called : (n,).
    ideal : mean size of set that the true chances need.
    """

    make: str
    n: int
    model: float
    true: float
    ridge: float
    starter: float
    repeat: float
    sets: NDArray
    chances: NDArray
    called: NDArray
    ideal: float


class Crowds:
    """Ensembles of which one make is left out, on what is measured and on what is true of the same faces."""

    def __init__(self, faces: Sequence[DrawnFace], starter: Model, completed: list[dict]) -> None:
        self.head = starter.grade
        self.true = [face.true for face in faces]
        self.makes = {
            rows: self._each_make(of) for rows, of in (("measured", completed), ("true", self.true))
        }

    def _each_make(self, rows: list[dict]) -> dict[str, SellerEnsemble]:
        x, signs = self.head.scaling.design(rows), column_signs(self.head)
        return {
            make: draw_ensemble(
                x, self.true, 4, signs, self.head.ordinal, np.random.default_rng([SEED, number]), EACH, (make,)
            )
            for number, make in enumerate(CROWD)
        }  # fmt: skip

    def without(self, make: str | None, rows: str) -> GradeHead:
        """Return the starter's head with all makes but one; the one who grades as the starter does is first."""
        kept_makes = [e for name, e in self.makes[rows].items() if name != make]
        first = kept_makes[0]
        beta = [first.coefficients[0], *(b for e in kept_makes for b in e.coefficients[1:])]
        cuts = [first.cuts[0], *(c for e in kept_makes for c in e.cuts[1:])]
        ensemble = SellerEnsemble(tuple(beta), tuple(cuts), (1.0,) * len(cuts)).prior
        return replace(self.head, ensemble=ensemble)


class Faces:
    """Called faces as the model and as the sellers see them."""

    def __init__(self, faces: list[DrawnFace], starter: Model) -> None:
        self.profile, self.starter = load_profile(), starter
        self.measured = [face.measured for face in faces]
        self.true = [face.true for face in faces]
        completed = [starter.complete(face.measured, self.profile) for face in faces]
        self.rows = {"measured": completed, "true": self.true}
        self.x = starter.grade.scaling.design(completed)
        self.photos = np.array([face.photo for face in faces])

    def parts(self, rng: np.random.Generator) -> tuple[NDArray, NDArray]:
        """Rows to call, shuffled, just enough of them, and rows to judge by; no photo in both."""
        photos, faces_of = np.unique(self.photos, return_counts=True)
        order = rng.permutation(len(photos))
        enough = np.searchsorted(np.cumsum(faces_of[order]), max(COUNTS)) + 1
        first = np.isin(self.photos, photos[order[:enough]])
        return rng.permutation(np.flatnonzero(first)), np.flatnonzero(~first)

    def take(self, rows: NDArray, seen: str = "measured") -> list[dict]:
        return [self.rows[seen][row] for row in rows]

    def learn(
        self, head: GradeHead, rows: NDArray, rung: NDArray, seen: str = "measured"
    ) -> GradeHead:
        names = [f"{row}" for row in rows]
        return learn_head(head, self.take(rows, seen), rung, names, np.random.default_rng(0))[0]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument(
        "--faces", type=Path, help="a file that keeps the drawn faces for the next time"
    )
    asked.add_argument("--seeds", type=int, default=6)
    asked.add_argument("--runs", type=int, default=32, help="of ask against random")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    profile, starter = load_profile(), load_model()
    draw = drawer(profile, SEED, args.workers)
    if args.faces:
        draw = kept(args.faces, profile, SEED, draw)
    learned = draw(TRAINING, PHOTOS)
    called = [*draw(HELD_OUT, HELD_OUT_PHOTOS), *draw(HELD_OUT, CALLED_PHOTOS)]
    faces, cut_by = Faces(called, starter), [face.true for face in learned]
    crowds = Crowds(learned, starter, [starter.complete(face.measured, profile) for face in learned])  # fmt: skip
    print(
        f"{len(called)} faces of {len(set(faces.photos))} photos kept back, {args.seeds} sellers of each make",
        flush=True,
    )
    done = [t for make in MAKES for t in trials(make, cut_by, faces, crowds, args.seeds)]
    rows = [
        *print_makes(done, args.seeds),
        *print_aims(done, args.seeds),
        *print_sets(done),
        *print_calibration(done),
        *print_ask(cut_by, faces, args.runs),
        print_time(cut_by, faces),
    ]
    if args.write:
        tables.write("grading", rows)


def trials(make: str, cut_by: list[dict], faces: Faces, crowds: Crowds, seeds: int) -> list[Trial]:
    """Every seed and number of calls of one make, which no seller of the ensemble is of."""
    done = []
    heads = {seen: crowds.without(make, seen) for seen in ("measured", "true")}
    for seed in range(seeds):
        rng = np.random.default_rng([seed, 4, *make.encode()])
        sorting = Sorting(draw_seller(make, rng), cut_by)
        pool, test = faces.parts(rng)
        order = np.concatenate([pool, test])
        calls = sorting.call([faces.true[row] for row in order], rng)
        called = calls.called[len(pool) :]
        before = starter_rungs(faces, test)
        repeat = kappa(calls.again[len(pool) :], called)
        for n in COUNTS:
            rung = calls.called[:n]
            chances = {}
            for seen, head in heads.items():
                follows = faces.learn(head, pool[:n], rung, seen)
                chances[seen] = follows.probabilities(faces.take(test, seen))
                if seen == "measured":
                    sets = follows.set_rule.contains(chances[seen])
            ridge = ridge_rungs(faces.x[pool[:n]], rung, faces.x[test], 4)
            done.append(
                Trial(
                    make, n, kappa(median_grade(chances["measured"]), called),
                    kappa(median_grade(chances["true"]), called), kappa(ridge, called), kappa(before, called), repeat,
                    sets, chances["measured"], called, float(ideal_sets(calls.chances[len(pool):], LEVEL).mean()),
                )
            )  # fmt: skip
    return done


def starter_rungs(faces: Faces, rows: NDArray) -> NDArray[np.intp]:
    return faces.starter.grade.rungs(faces.take(rows))


def kappa(first: NDArray, second: NDArray) -> float:
    """Quadratic weighted kappa; 0 where all grades are alike, which agrees no better than chance."""
    return weighted_kappa(counts(first, second, 4)) or 0.0


def mean_of(done: Sequence[Trial], way: str, n: int, make: str | None = None) -> float:
    return float(
        np.mean([getattr(t, way) for t in done if t.n == n and (make is None or t.make == make)])
    )


def print_makes(done: list[Trial], seeds: int) -> list[Row]:
    """Kappa of each way by the make that was left out, after each number of calls."""
    ways = ("model", "starter", "ridge", "true", "repeat")
    print("make left out, calls: " + ", ".join(ways))
    rows = []
    for make in MAKES:
        for n in COUNTS:
            by = {way: mean_of(done, way, n, make) for way in ways}
            print(f"  {make:18} {n:4}: " + ", ".join(f"{v:.3f}" for v in by.values()), flush=True)
            beside = "; ".join(f"{way} {by[way]:.2f}" for way in ways[1:])
            rows.append(
                Row(
                    f"make left out, {make}: kappa after {n} calls", "faces of held-out renders", f"{seeds} sellers",
                    f"{by['model']:.3f}", yardstick=beside,
                )
            )  # fmt: skip
    return rows


def print_aims(done: list[Trial], seeds: int) -> list[Row]:
    """Means over makes against what they must reach."""
    rows, on = [], f"means over {len(MAKES)} makes left out, faces of held-out renders"
    n_trials = f"{len(MAKES) * seeds} sellers"

    def row(name: str, below: list[float], aim: str) -> None:
        mean = mean_interval(below)
        print(f"{name}: {mean.value:.3f} ({_between(mean)}), {aim}", flush=True)
        rows.append(Row(name, on, n_trials, f"{mean.value:.3f}", _between(mean), floor=aim))

    for n in COUNTS:
        of = [t for t in done if t.n == n]
        row(f"sellers of left-out makes: kappa after {n} calls", [t.model for t in of], "")
        row(
            f"sellers of left-out makes: below their own repeat, {n} calls",
            [t.repeat - t.model for t in of],
            f"aim ≤ {BELOW_REPEAT[n]:.2f}",
        )
        row(
            f"sellers of left-out makes: below the same learner on true measures, {n} calls",
            [t.true - t.model for t in of],
            "aim ≤ 0.10",
        )
        better = [
            max(mean_of(done, way, n, t.make) for way in ("starter", "ridge")) - t.model for t in of
        ]
        row(
            f"sellers of left-out makes: below the better of starter and ridge, {n} calls",
            better,
            "aim ≤ 0.02",
        )
    return rows


def print_sets(done: list[Trial]) -> list[Row]:
    """Coverage and size of the grade sets, by number of calls."""
    print(f"\ngrade sets at {LEVEL:.0%}")
    rows = []
    for n in COUNTS:
        of_count = [t for t in done if t.n == n]
        held = [float(t.sets[np.arange(len(t.called)), t.called].mean()) for t in of_count]
        sizes = np.array([t.sets.sum(axis=1).mean() for t in of_count])
        ratio = float(sizes.mean() / np.mean([t.ideal for t in of_count]))
        print(
            f"  {n} calls: hold {_mean(held)}, {sizes.mean():.2f} grades, {ratio:.2f} of the ideal"
        )
        on = f"{len(MAKES)} makes left out, faces of held-out renders"
        rows.append(
            _row(f"grade sets: share that hold the call, {n} calls", on, held, "aim 0.87 to 0.93")
        )
        rows.append(
            Row(
                f"grade sets: mean size / size that the true chances need, {n} calls", on, f"{len(of_count)} trials",
                f"{ratio:.2f}", floor="aim ≤ 1.15",
            )
        )  # fmt: skip
    return rows


def print_calibration(done: list[Trial]) -> list[Row]:
    """Expected calibration error of the chance of the proposed grade, all trials of one number of calls together."""
    rows = []
    for n in COUNTS:
        of_count = [t for t in done if t.n == n]
        chances, called = (
            np.concatenate([getattr(t, name) for t in of_count]) for name in ("chances", "called")
        )
        rung = median_grade(chances)
        sure, right = chances[np.arange(len(rung)), rung], rung == called
        error = metrics.calibration_error(sure, right, BINS)
        print(
            f"calibration error, {n} calls: {error:.3f}, Brier {brier(sure, right):.3f}, "
            f"mean chance {sure.mean():.3f}, right {right.mean():.3f}"
        )
        rows.append(
            Row(
                f"calibration error of the proposed grade, {n} calls",
                f"{len(MAKES)} makes left out, faces of held-out renders, {BINS} bins", f"{len(called)} faces",
                f"{error:.3f}", floor="aim ≤ 0.05",
            )
        )  # fmt: skip
    return rows


def brier(sure: NDArray, right: NDArray) -> float:
    """Return the mean squared distance of chance and outcome (Brier 1950)."""
    return float(np.mean((np.asarray(sure) - np.asarray(right, float)) ** 2))


def print_ask(cut_by: list[dict], faces: Faces, runs: int) -> list[Row]:
    """Kappa after 20 calls that were asked for, after 20 and after 30 at random; no make left out."""
    head, found = faces.starter.grade, []
    expected, likely = head.ensemble.expected_grades(faces.x)
    for run in range(runs):
        rng = np.random.default_rng([run, 9])
        sorting = Sorting(draw_seller(list(MAKES)[run % len(MAKES)], rng), cut_by)
        called = sorting.call(faces.true, rng).called
        pool, test = faces.parts(rng)
        names = [str(row) for row in pool]
        asked = pool[ask_for(expected[:, pool], likely, 20, [], [], names, rng)]
        found.append(
            [
                kappa(faces.learn(head, rows, called[rows]).rungs(faces.take(test)), called[test])
                for rows in (asked, pool[:20], pool[:30])
            ]
        )
    found = np.array(found)
    means = [_mean(list(column)) for column in found.T]
    print(
        f"\nask: kappa after 20 asked {means[0]}, 20 at random {means[1]}, 30 at random {means[2]}"
    )
    on = f"{len(MAKES)} makes, {runs} runs, faces of held-out renders"
    return [
        _row("ask: kappa after 20 asked less 20 at random", on, list(found[:, 0] - found[:, 1])),
        _row(
            "ask: kappa after 20 asked less 30 at random",
            on,
            list(found[:, 0] - found[:, 2]),
            "aim ≥ 0",
        ),
    ]


def print_time(cut_by: list[dict], faces: Faces) -> Row:
    """Seconds to retrain on many calls, judging included."""
    rng = np.random.default_rng(1)
    called = Sorting(draw_seller("weighs", rng), cut_by).call(faces.true, rng).called
    at = [n % len(called) for n in range(MANY)]
    calls = [
        Call(f"{n}.jpg", f"{n:016x}" + 48 * "0", 1, (0, 0, 9, 9), faces.profile.grades[called[row]], None, None,
             "2026", None)
        for n, row in enumerate(at)
    ]  # fmt: skip
    measured = {(call.sha256, 1): faces.measured[row] for call, row in zip(calls, at, strict=True)}
    start = time.process_time()
    retrain(calls, measured, faces.profile, faces.starter)
    took = time.process_time() - start
    print(f"\nretrain on {MANY} calls: {took:.1f} s of the processor")
    name = f"retrain on {MANY} calls, seconds of the processor"
    return Row(name, "drawn faces, judging included", "1", f"{took:.1f}", floor="aim ≤ 20")


def _mean(values: list[float]) -> str:
    mean = mean_interval(values)
    return f"{mean.value:.3f} ({_between(mean)})"


def _row(name: str, on: str, values: list[float], floor: str = "") -> Row:
    mean = mean_interval(values)
    return Row(name, on, f"{len(values)} trials", f"{mean.value:.3f}", _between(mean), floor=floor)


def _between(mean: Interval) -> str:
    """The range of a mean; a single trial has none."""
    return tables.NO_ANSWER if mean.low is None else f"{mean.low:.3f} to {mean.high:.3f}"


if __name__ == "__main__":
    main()
