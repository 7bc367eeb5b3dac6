"""Every figure of the grader beside the yardstick, in one run and one table.

    python tests/benchmarks/bench.py [--real FOLDER] [--cracks FOLDER]... [--photos N] [--write]

Prints the table; ``--write`` puts its rows into figures/. Photographs are no part of the repository:
without a folder their rows are left as they are.
"""

import argparse
from pathlib import Path

import cv2
import figures
import numpy as np
import ours
import tables
import yardstick
from figures import Figure
from joblib import Parallel, delayed
from labelled import (
    Labelled,
    crack_names,
    labelled_cracks,
    labelled_stones,
    photo_size_px,
    stone_names,
)
from renders import held_out_render
from score import PhotoScore, score
from speed import speed_row
from tables import Row
from threadpoolctl import threadpool_limits

from grader import starter
from grader.grading.models.model_files import load_model
from grader.profile import load_profile
from grader.render import HELD_OUT

SEED, PHOTOS = 20_250, 120
WAYS = ("ours", "grey world", "brightest tenth")
RENDERS = "held-out renders"
STONES = "photographs of polished stones, labelled by eye, not in the repository"
CRACKS = "photographs of cracked surfaces, {} x {} px, marked by hand, not in the repository"

#: By area, in the order in which they are measured: the ranges hang on it.
RENDER_FIGURES = {
    "regions": [
        figures.region_figure("region IoU", floor="≥ 0.80, aim 0.90"),
        *figures.stone_figures(
            outline="≥ 0.96",
            outline_found="≥ 0.97",
            wrong="≤ 1",
            holds="aim 0.92–0.98",
            width="aim ≤ 12",
            share_found="aim ≤ 2.5",
        ),
        *figures.kind_figures(),
        *figures.absent_figures(),
        *figures.glare_figures(),
        figures.invented_figure(floor="≤ 2"),
    ],
    "lines": [
        figures.crack_figure("crack F1 at 5 px, photos with cracks", 5, 2, floor="≥ 0.45"),
        figures.crack_figure("crack F1 at 2 px, photos with cracks", 2, 2),
        figures.crack_figure("crack precision at 5 px, all photos", 5, 0, every=True),
        figures.crack_figure("crack recall at 5 px, all photos", 5, 1, every=True),
    ],
    "bands": figures.band_figures(),
}
REAL_FIGURES = {
    "regions": [
        figures.region_figure("region IoU, pixels sure by eye", floor="≥ 0.65, aim 0.80"),
        figures.region_figure(
            "region IoU, the better blue/white naming where in doubt", "regions_better"
        ),
        figures.region_figure("region IoU, labels as filed", "regions_filed"),
        figures.region_figure("region IoU, soft borders too", "regions_all"),
        *figures.stone_figures(
            outline="≥ 0.96",
            outline_found="≥ 0.975",
            wrong="0",
            holds="aim ≥ 0.80",
            width="aim ≤ 30",
        ),
        figures.share_figure(
            "share error beyond the bounds of the label, points",
            figures.shares_in_bounds,
            "aim ≤ 2",
        ),
        figures.invented_figure(),
    ]
}
CRACK_FIGURES = {
    "lines": [
        figures.crack_figure("crack F1 at 5 px", 5, 2),
        figures.crack_figure("crack precision at 5 px", 5, 0),
        figures.crack_figure("crack recall at 5 px", 5, 1),
    ]
}


def main() -> None:
    """Measure what was asked for, print the table, and write it where that was asked for."""
    asked = _arguments()
    rng = np.random.default_rng(asked.seed)
    sets = [render_rows(asked.seed, asked.photos, asked.jobs, rng)]
    if asked.real:
        sets.append(real_rows(asked.real, asked.jobs, rng))
    sets += [crack_rows(folder, asked.jobs, rng) for folder in asked.cracks]
    sets.append({"grading": starter_rows(asked.photos / PHOTOS, asked.jobs, asked.faces)})
    sets.append({"speed": [speed_row()]})
    print(tables.as_table([row for rows in sets for of_area in rows.values() for row in of_area]))
    if asked.write:
        for rows in sets:
            for area, of_area in rows.items():
                tables.write(area, of_area)


def render_rows(
    seed: int, photos: int, jobs: int, rng: np.random.Generator
) -> dict[str, list[Row]]:
    """Return the rows, by area, of that many rendered photos in the kept-back style."""
    answers = scores(jobs, held_out_render, [(seed, number) for number in range(photos)])
    return _rows(RENDER_FIGURES, RENDERS, answers, rng)


def real_rows(folder: Path, jobs: int, rng: np.random.Generator) -> dict[str, list[Row]]:
    """Return the rows, by area, of a folder of labelled stones, and say which labels were turned."""
    names = stone_names(folder)
    turned = sum(labelled_stones(folder, name).turned > 0 for name in names)
    answers = scores(jobs, labelled_stones, [(folder, name) for name in names])
    measured_on = STONES
    if turned:
        measured_on += f"; {turned} label lay a quarter turn off and was turned"
    return _rows(REAL_FIGURES, measured_on, answers, rng)


def crack_rows(folder: Path, jobs: int, rng: np.random.Generator) -> dict[str, list[Row]]:
    """Return the rows, by area, of a folder of marked cracks."""
    names = crack_names(folder)
    answers = scores(jobs, labelled_cracks, [(folder, name) for name in names])
    size_px = photo_size_px(folder, names[0])
    return _rows(CRACK_FIGURES, CRACKS.format(*size_px), answers, rng)


def starter_rows(part: float, jobs: int, keep: Path | None) -> list[Row]:
    """Return how the shipped model agrees with the written rules on the exact truth of faces it has
    not seen; ``part`` of all its held-out photos, 0 to 1.
    """
    profile = load_profile()
    photos = starter.HELD_OUT_PHOTOS[: max(4, round(part * len(starter.HELD_OUT_PHOTOS)))]
    draw = starter.drawer(profile, starter.SEED, jobs)
    if keep:
        draw = starter.kept(keep, profile, starter.SEED, draw)
    faces = draw(HELD_OUT, photos)
    judged = starter.judge(load_model(), faces, profile, np.random.default_rng([starter.SEED, 2]))
    measured_on = f"faces of {judged.photos} held-out renders; beside it the rules on measurements"
    return [
        Row(
            f"starter against the written rules: {words}", measured_on, str(judged.faces),
            f"{mine.value:.2f}", _between(mine), floor, f"{plain.value:.2f}",
        )
        for words, mine, plain, floor in (
            ("quadratic weighted kappa", judged.model.kappa, judged.plain.kappa, "≥ 0.75"),
            ("same grade, share", judged.model.equal, judged.plain.equal, ""),
            ("within one grade, share", judged.model.within_one, judged.plain.within_one, ""),
        )
    ]  # fmt: skip


def _between(interval) -> str:
    """The range of an agreement; faces of too few photos have none."""
    return (
        tables.NO_ANSWER if interval.low is None else f"{interval.low:.2f} to {interval.high:.2f}"
    )


def scores(jobs: int, make, arguments: list[tuple]) -> dict[str, list[PhotoScore]]:
    """Return the scores of every way of grading, over the pictures that ``make`` gives."""
    judged = Parallel(n_jobs=jobs)(delayed(_judged)(make, args) for args in arguments)
    return {way: [photo[way] for photo in judged] for way in WAYS}


def _judged(make, arguments: tuple) -> dict[str, PhotoScore]:
    cv2.setNumThreads(1)
    threadpool_limits(1)
    truth: Labelled = make(*arguments)
    answers = {
        "ours": ours.grade(truth.rgb, truth.mm_per_px, truth.whole),
        "grey world": yardstick.grade(truth.rgb, whole=truth.whole),
        "brightest tenth": yardstick.grade(truth.rgb, "brightest tenth", whole=truth.whole),
    }
    return {way: score(answer, truth) for way, answer in answers.items()}


def _rows(
    wanted: dict[str, list[Figure]],
    measured_on: str,
    answers: dict[str, list[PhotoScore]],
    rng: np.random.Generator,
) -> dict[str, list[Row]]:
    rows = {
        area: [figures.measured(figure, measured_on, answers, rng) for figure in of_area]
        for area, of_area in wanted.items()
    }
    return {area: [row for row in of_area if row is not None] for area, of_area in rows.items()}


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--real", type=Path, help="folder of labelled stones")
    parser.add_argument("--cracks", type=Path, action="append", default=[], help="marked cracks")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--photos", type=int, default=PHOTOS, help="rendered photos")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument(
        "--faces", type=Path, help="a file that keeps the starter's drawn faces for the next time"
    )
    parser.add_argument("--write", action="store_true", help="write figures/")
    args = parser.parse_args()
    if args.write and (args.seed, args.photos) != (SEED, PHOTOS):
        parser.error("--write is for the standing seed and number of photos alone")
    return args


if __name__ == "__main__":
    main()
