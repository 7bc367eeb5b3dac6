"""Prints how soon grades follow a seller, with n and seed.

``python tests/benchmarks/seller_figures.py [--faces FILE] [--seeds N] [--runs N] [--write]``. Sellers are simulated
(``sellers.py``): they see the true features of drawn faces of the style that was kept back, the model sees what is
measured on them. Each seed draws new calls and splits the photos in two halves: calls come from one, figures from the
other. The gap is kappa of the seller's grades without wavering against his calls (the ceiling) less kappa of the
proposals against them; beside it the gap of the seller's own exact weighing applied to what is measured, which no
model on these measurements can be expected to beat by much. ``--faces`` keeps the drawn faces for the next time.
"""

import argparse
import os
import time
from dataclasses import dataclass, replace
from pathlib import Path

import metrics
import numpy as np
import tables
from numpy.typing import NDArray
from sellers import OTHERS, SELLERS, WEAKEST, Calls, Sorting, ideal_sets
from tables import Row

from grader.drawn import DrawnFace
from grader.grading.learning.agreement import counts, weighted_kappa
from grader.grading.learning.ask import ask_for
from grader.grading.learning.candidates import choose_head
from grader.grading.learning.drift import mean_interval
from grader.grading.learning.retrain import retrain
from grader.grading.models.model import GradeHead, Model
from grader.grading.models.model_files import load_model
from grader.grading.models.ordinal import median_grade
from grader.grading.models.prediction_set import LEVEL
from grader.grading.proposal import Call
from grader.measures import Interval
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING
from grader.starter import SEED, drawer, kept

#: Photos of the faces that sellers set their cuts by (training style), and of those that they call (kept back); the
#: starter's own figures are of other ones.
CUT_PHOTOS, CALLED_PHOTOS = range(200), range(1110, 1552)
COUNTS = (20, 60, 200)
AIMS = {20: "aim ≤ 0.13", 60: "aim ≤ 0.07", 200: "aim ≤ 0.06"}
#: Calls whose retraining is timed.
MANY = 2000
BINS = 10


@dataclass(frozen=True)
class Trial:
    """One seller, one seed, one number of calls, judged on the other half.

    gap, measured_gap : see above; ahead : kappa less that of the starter.
    members, chances : of the test faces; called : their called rungs; ideal : mean size that the true chances need.
    """

    seller: str
    n: int
    ceiling: float
    gap: float
    measured_gap: float
    ahead: float
    kind: str
    members: NDArray
    chances: NDArray
    called: NDArray
    ideal: float


class Faces:
    """Called faces as the model and as the sellers see them."""

    def __init__(self, faces: list[DrawnFace], starter: Model | None = None) -> None:
        self.profile, self.starter = load_profile(), starter or load_model()
        self.completed = [self.starter.complete(face.measured, self.profile) for face in faces]
        self.measured = [face.measured for face in faces]
        self.true = [face.true for face in faces]
        self.photos = np.array([face.photo for face in faces])
        self.chances = self.starter.grade.probabilities(self.completed)

    def halves(self, rng: np.random.Generator) -> tuple[NDArray, NDArray]:
        """Rows to call, shuffled, and rows to judge by; no photo in both."""
        photos = rng.permutation(np.unique(self.photos))
        first = np.isin(self.photos, photos[: len(photos) // 2])
        return rng.permutation(np.flatnonzero(first)), np.flatnonzero(~first)

    def learn(self, rows: NDArray, called: NDArray) -> GradeHead:
        names = [f"{row}" for row in rows]
        completed = [self.completed[row] for row in rows]
        return choose_head(
            self.starter.grade, completed, called[rows], names, np.random.default_rng(0)
        )[0]

    def chances_of(self, head: GradeHead, rows: NDArray) -> NDArray:
        return head.probabilities([self.completed[row] for row in rows])


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument(
        "--faces", type=Path, help="a file that keeps the drawn faces for the next time"
    )
    asked.add_argument("--seeds", type=int, default=10)
    asked.add_argument("--runs", type=int, default=40, help="of ask against random")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    draw = drawer(load_profile(), SEED, args.workers)
    if args.faces:
        draw = kept(args.faces, load_profile(), SEED, draw)
    cut_by = [face.true for face in draw(TRAINING, CUT_PHOTOS)]
    called = draw(HELD_OUT, CALLED_PHOTOS)
    faces = Faces(called)
    starter = faces.starter
    alone = Faces(called, replace(starter, grade=replace(starter.grade, ensemble=None)))
    print(
        f"{len(faces.completed)} faces of {len(set(faces.photos))} photos kept back, {args.seeds} seeds"
    )
    weighing = [t for seller in SELLERS for t in trials(seller, cut_by, faces, args.seeds)]
    weakest = trials(WEAKEST, cut_by, faces, args.seeds)
    rows = [
        *print_gaps(weighing, f"{len(SELLERS)} sellers who weigh looks"),
        *print_gaps(weakest, "a seller who judges by the poorest look alone"),
        *print_others(cut_by, faces, alone, args.seeds),
        *print_sets(weighing),
        *print_calibration(weighing),
        *print_ask(cut_by, faces, args.runs),
        print_time(cut_by, faces),
    ]
    if args.write:
        tables.write("grading", rows)


def trials(seller, cut_by: list[dict], faces: Faces, seeds: int) -> list[Trial]:
    """Every seed and number of calls of one seller."""
    sorting, done = Sorting(seller, cut_by), []
    for seed in range(seeds):
        rng = np.random.default_rng([seed, 4, *seller.name.encode()])
        calls = sorting.call(faces.true, rng)
        by_measures = sorting.call(faces.measured, rng).exact
        pool, test = faces.halves(rng)
        called = calls.called[test]
        ceiling = kappa(calls.exact[test], called)
        before = kappa(median_grade(faces.chances[test]), called)
        for n in COUNTS:
            head = faces.learn(pool[:n], calls.called)
            chances = faces.chances_of(head, test)
            reached = kappa(median_grade(chances), called)
            done.append(
                Trial(
                    seller.name, n, ceiling, ceiling - reached, ceiling - kappa(by_measures[test], called),
                    reached - before, head.kind, head.set_rule.contains(chances), chances, called,
                    float(ideal_sets(calls.chances[test], LEVEL).mean()),
                )
            )  # fmt: skip
    return done


def kappa(first: NDArray, second: NDArray) -> float:
    return weighted_kappa(counts(first, second, 4))


def print_gaps(done: list[Trial], who: str) -> list[Row]:
    """Gap to the ceiling and what stands against the starter; rows of the table."""
    ceiling = np.mean([t.ceiling for t in done])
    seeds = len(done) // len({(t.seller, t.n) for t in done})
    on = f"{who}, {seeds} seeds, faces of held-out renders"
    by_measures = [t.measured_gap for t in done if t.n == COUNTS[0]]
    print(f"\n{who}: ceiling {ceiling:.3f}, gap by what is measured {_mean(by_measures)}")
    rows = [
        Row(
            "simulated sellers: ceiling, kappa without wavering",
            on,
            f"{len({(t.seller, t.ceiling) for t in done})} trials",
            f"{ceiling:.3f}",
        )
    ]
    rows.append(
        _row(
            "simulated sellers: gap of their own weighing on what is measured", on, by_measures,
        )
    )  # fmt: skip
    for n in COUNTS:
        of_count = [t for t in done if t.n == n]
        gaps, ahead = [t.gap for t in of_count], np.array([t.ahead for t in of_count])
        kinds = {kind: sum(t.kind == kind for t in of_count) for kind in {t.kind for t in of_count}}
        print(
            f"  {n} calls: gap {_mean(gaps)}, ahead of the starter {ahead.mean():+.3f}, "
            f"worst {ahead.min():+.3f}, {kinds}"
        )
        for name in dict.fromkeys(t.seller for t in of_count):
            of = [t for t in of_count if t.seller == name]
            print(
                f"    {name:14} ceiling {np.mean([t.ceiling for t in of]):.3f} gap {np.mean([t.gap for t in of]):.3f} "
                f"(by measures {np.mean([t.measured_gap for t in of]):.3f}) "
                f"ahead {np.mean([t.ahead for t in of]):+.3f}, "
                f"worst {min(t.ahead for t in of):+.3f}"
            )
        rows.append(_row(f"simulated sellers: gap to the ceiling, {n} calls", on, gaps, AIMS[n]))
        rows.append(
            Row(
                f"simulated sellers: ahead of the starter, {n} calls, mean and worst", on, f"{len(of_count)} trials",
                f"{ahead.mean():+.3f}, {ahead.min():+.3f}", floor="aim ≥ 0, ≥ -0.05",
            )
        )  # fmt: skip
    return rows


def print_others(cut_by: list[dict], faces: Faces, alone: Faces, seeds: int) -> list[Row]:
    """How sellers of another kind than the ensemble's are followed, and how much nearer the logit alone comes."""
    by_ensemble, without = (
        [t for seller in OTHERS for t in trials(seller, cut_by, subset, seeds)]
        for subset in (faces, alone)
    )
    who = f"{len(OTHERS)} sellers of another kind than the ensemble's"
    rows = print_gaps(by_ensemble, who)
    for n in COUNTS:
        pairs = zip(by_ensemble, without, strict=True)
        more = [a.gap - b.gap for a, b in pairs if a.n == n]
        print(f"  {n} calls: gap less that of the logit alone {_mean(more)}")
        on = f"{who}, {seeds} seeds, faces of held-out renders"
        rows.append(
            _row(
                f"ensemble of simulated sellers: gap less that of the logit alone, {n} calls",
                on,
                more,
            )
        )
    return rows


def print_sets(done: list[Trial]) -> list[Row]:
    """Coverage and size of the grade sets, by number of calls."""
    print(f"\ngrade sets at {LEVEL:.0%}")
    rows = []
    for n in COUNTS:
        of_count = [t for t in done if t.n == n]
        held = [float(t.members[np.arange(len(t.called)), t.called].mean()) for t in of_count]
        sizes = np.array([t.members.sum(axis=1).mean() for t in of_count])
        ratio = float(sizes.mean() / np.mean([t.ideal for t in of_count]))
        print(
            f"  {n} calls: hold {_mean(held)}, least {min(held):.3f}, "
            f"{sizes.mean():.2f} grades, {ratio:.2f} of the ideal"
        )
        on = f"{len(SELLERS)} sellers, faces of held-out renders"
        rows.append(
            _row(f"grade sets: share that hold the call, {n} calls", on, held, "aim 0.88 to 0.93")
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
                f"{len(SELLERS)} sellers, faces of held-out renders, {BINS} bins", f"{len(called)} faces",
                f"{error:.3f}", floor="aim ≤ 0.05",
            )
        )  # fmt: skip
    return rows


def brier(sure: NDArray, right: NDArray) -> float:
    """Return the mean squared distance of chance and outcome (Brier 1950)."""
    return float(np.mean((np.asarray(sure) - np.asarray(right, float)) ** 2))


def print_ask(cut_by: list[dict], faces: Faces, runs: int) -> list[Row]:
    """Kappa after 20 calls that were asked for, after 20 and after 30 at random."""
    head, found = faces.starter.grade, []
    expected, likely = head.ensemble.expected_grades(head.scaling.design(faces.completed))
    for run in range(runs):
        rng = np.random.default_rng([run, 9])
        sorting = Sorting(SELLERS[run % len(SELLERS)], cut_by)
        calls: Calls = sorting.call(faces.true, rng)
        pool, test = faces.halves(rng)
        names = [str(row) for row in pool]
        asked = pool[ask_for(expected[:, pool], likely, 20, [], [], names, rng)]
        found.append(
            [
                kappa(
                    median_grade(faces.chances_of(faces.learn(rows, calls.called), test)),
                    calls.called[test],
                )
                for rows in (asked, pool[:20], pool[:30])
            ]
        )
    found = np.array(found)
    means = [_mean(list(column)) for column in found.T]
    print(
        f"\nask: kappa after 20 asked {means[0]}, 20 at random {means[1]}, 30 at random {means[2]}"
    )
    on = f"{len(SELLERS)} sellers, {runs} runs, faces of held-out renders"
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
    called = Sorting(SELLERS[0], cut_by).call(faces.true, np.random.default_rng(1)).called
    at = [n % len(called) for n in range(MANY)]
    calls = [
        Call(
            f"{n}.jpg",
            f"{n:016x}" + 48 * "0",
            1,
            (0, 0, 9, 9),
            faces.profile.grades[called[row]],
            None,
            None,
            "2026",
            None,
        )
        for n, row in enumerate(at)
    ]
    measured = {(call.sha256, 1): faces.measured[row] for call, row in zip(calls, at, strict=True)}
    start = time.perf_counter()
    retrain(calls, measured, faces.profile, faces.starter)
    took = time.perf_counter() - start
    print(f"\nretrain on {MANY} calls: {took:.1f} s")
    return Row(
        f"retrain on {MANY} calls, seconds",
        "drawn faces, judging included",
        "1",
        f"{took:.1f}",
        floor="aim ≤ 20",
    )


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
