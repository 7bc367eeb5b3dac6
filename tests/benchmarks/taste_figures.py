"""Prints how far proposals follow three tastes on photographs: before any call, and after the calls on other stones.

``python tests/benchmarks/taste_figures.py FOLDER CALLS [--write]``. CALLS is JSON, ``{taste: {photo: grade}}``; it was
written from the pictures alone, before the tool's numbers were seen. One stone is judged on each photo, the largest.
Calls are held out by fifths: a model retrained on four of them proposes for the stones of the fifth, through the same
``retrain`` as the command. Beside it a plain ridge on the same calls, and the grade that is called most.
"""

import argparse
import json
from pathlib import Path

import cv2
import metrics
import numpy as np
import tables
from numpy.typing import NDArray
from ridge import ridge_rungs
from tables import Row

from grader.batch import find_photos
from grader.errors import GraderError
from grader.grade import grade_photo
from grader.grading.learning.agreement import counts, weighted_kappa
from grader.grading.learning.candidates import folds_of
from grader.grading.learning.retrain import retrain
from grader.grading.models.model import Features, Model
from grader.grading.models.model_files import load_model
from grader.grading.proposal import Call
from grader.profile import Profile, load_profile

FOLDS, SEED = 5, 70


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("folder", type=Path, help="photographs, one stone on each")
    asked.add_argument("calls", type=Path, help="JSON, {taste: {photo: grade}}")
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    profile, starter = load_profile(), load_model()
    tastes = json.loads(args.calls.read_text("utf-8"))
    measured = measure(args.folder, set().union(*tastes.values()), profile)
    rows = []
    for taste, calls in tastes.items():
        rows += print_taste(taste, calls, measured, profile, starter)
    if args.write:
        tables.write("grading", rows)


def measure(folder: Path, names: set[str], profile: Profile) -> dict[str, Features]:
    """Return the features of the largest stone on each photo of those names; none where no stone is found."""
    measured = {}
    for path in find_photos(folder, folder / "graded").values():
        if path.name not in names or path.name in measured:
            continue
        try:
            stones = grade_photo(path, profile=profile).pieces
        except GraderError as err:
            print(err, flush=True)
            continue
        if stones:
            largest = max(stones, key=lambda stone: stone.facts.face_area_px)
            measured[path.name] = largest.facts.features
    return measured


def print_taste(
    taste: str,
    calls: dict[str, str],
    measured: dict[str, Features],
    profile: Profile,
    starter: Model,
) -> list[Row]:
    """Print and return what each way agrees with this taste on, all stones held out in turn."""
    names = sorted(set(calls) & set(measured))
    rung = np.array([profile.grades.index(calls[name]) for name in names])
    told = held_out(names, rung, measured, profile, starter)
    rows, n_grades = [], len(profile.grades)
    on = f"photographs of polished stones called by eye, taste {taste}; {FOLDS} parts held out in turn"
    same = {way: float((answer == rung).mean()) for way, answer in told.items()}
    agree = {way: _kappa(answer, rung, n_grades) for way, answer in told.items()}
    for name, figures, of in (
        ("same grade, share", same, lambda pair: float((pair[:, 0] == pair[:, 1]).mean())),
        ("quadratic weighted kappa", agree, lambda pair: _kappa(pair[:, 0], pair[:, 1], n_grades)),
    ):
        pairs = [np.array([[a, b]]) for a, b in zip(told["after the calls"], rung, strict=True)]
        low, high = metrics.resampled_range(pairs, of, np.random.default_rng(SEED))
        ours, around = f"{figures['after the calls']:.2f}", f"{low:.2f} to {high:.2f}"
        beside = "; ".join(f"{way} {figures[way]:.2f}" for way in told if way != "after the calls")
        print(f"{taste}, {name}: {ours} ({around}); {beside}", flush=True)
        name = f"three tastes, after the calls: {name}"
        rows.append(Row(name, on, f"{len(names)} stones", ours, around, yardstick=beside))
    return rows


def held_out(
    names: list[str], rung: NDArray, measured: dict[str, Features], profile: Profile, starter: Model
) -> dict[str, NDArray]:
    """Return the rungs that each way tells of every stone, by a model or yardstick that has not seen its call."""
    fold = folds_of(names, FOLDS, np.random.default_rng(SEED))
    told = {
        way: np.zeros(len(names), int)
        for way in ("starter", "after the calls", "ridge", "commonest")
    }
    told["starter"] = _proposed(starter, names, measured, profile)
    x = starter.grade.scaling.design([starter.complete(measured[name], profile) for name in names])
    for part in range(FOLDS):
        test, rest = fold == part, fold != part
        calls = [_call(name, profile.grades[r]) for name, r in zip(names, rung, strict=True)]
        learned = retrain(
            [call for call, kept in zip(calls, rest, strict=True) if kept],
            {(call.sha256, 1): measured[call.photo] for call in calls},
            profile,
            starter,
        ).model
        of_part = [name for name, held in zip(names, test, strict=True) if held]
        told["after the calls"][test] = _proposed(learned, of_part, measured, profile)
        told["ridge"][test] = ridge_rungs(x[rest], rung[rest], x[test], len(profile.grades))
        told["commonest"][test] = np.bincount(rung[rest]).argmax()
    return told


def _proposed(
    model: Model, names: list[str], measured: dict[str, Features], profile: Profile
) -> NDArray:
    return model.grade.rungs([model.complete(measured[name], profile) for name in names])


def _call(name: str, grade: str) -> Call:
    """The name stands for the photo's hash: one stone on each."""
    return Call(name, name, 1, None, grade, None, "eye", "2026-01-01T00:00:00+00:00", None)


def _kappa(first: NDArray, second: NDArray, n_grades: int) -> float:
    """Quadratic weighted kappa; 0 where all grades are alike, which agrees no better than chance."""
    return weighted_kappa(counts(first, second, n_grades)) or 0.0


if __name__ == "__main__":
    main()
