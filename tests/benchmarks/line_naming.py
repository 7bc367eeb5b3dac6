"""Fits models/starter/lines.json, which names lines, and writes tests/face/crack_chances.csv.

    python tests/benchmarks/line_naming.py [--stones N] [--surfaces N] [--jobs N]

Learned on renders of the training style (seed of tuning) and on other surfaces, which count half; one scale and two
shifts are fitted on every second photo of the style of held-out lines. The table is of the older held-out style, to
which nothing is fitted. A line is a crack or a pattern line where most of it lies within 3 px of one that can be seen;
lines on what is too faint to see, or part on a crack, are left out.
"""

import argparse
import csv
import json
from pathlib import Path

import cv2
import numpy as np
from crack_faces import TUNING_SEED, KnownFace, faces_of
from crack_figures import _every_px, _near, _one_thread, _piece, _share_on
from joblib import Parallel, delayed
from numpy.typing import NDArray
from renders import drawn_photo
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from grader.face.lines import cracks
from grader.face.lines.evidence import NAMES, evidence
from grader.face.lines.naming import MOST_SPREADS, LineModel
from grader.face.lines.polyline import length_px
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.photo.colour import srgb_encoding
from grader.photo.net import softmax, starter_folder
from grader.photo.photo import Photo
from grader.photo.reference import no_reference
from grader.profile import load_profile
from grader.render import HELD_OUT, HELD_OUT_LINES, TRAINING
from grader.render.truth import CRACK, FAINT, PATTERN_LINE
from grader.train.surfaces import draw_surface

TABLE = Path(__file__).parents[1] / "face" / "crack_chances.csv"
#: Photos of the style of held-out lines, of the older held-out style, and their seeds.
PHOTOS, LINES_SEED, TABLE_SEED, SURFACE_SEED = (60, 30), 24_024, 20_250, 991
#: A line lies on a drawn one within this many px.
NEAR_PX = 3
#: Weight of a surface's lines, and inverse strength of the penalty on weights.
SURFACE_WEIGHT, LOOSENESS = 0.5, 0.03
KINDS = ("none", "crack", "pattern")


def main() -> None:
    """Fit, write the model and the table."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    ask.add_argument("--stones", type=int, default=100, help="photos to learn from")
    ask.add_argument("--surfaces", type=int, default=120)
    ask.add_argument("--jobs", type=int, default=2)
    asked = ask.parse_args()

    def gathered(way, count):
        return Parallel(asked.jobs)(delayed(way)(number) for number in range(count))

    stones = gathered(lambda n: lines_of_photo(TUNING_SEED, n, TRAINING), asked.stones)
    surfaces = gathered(lines_of_surface, asked.surfaces)
    held_out = gathered(lambda n: lines_of_photo(LINES_SEED, n, HELD_OUT_LINES), PHOTOS[0])[::2]
    others = gathered(lambda n: lines_of_photo(TABLE_SEED, n, HELD_OUT), PHOTOS[1])
    learned = [np.concatenate(part) for part in zip(*stones, *surfaces, strict=True)]
    weight = np.sqrt(np.clip(learned[2], 10, 150))
    weight[sum(len(one[1]) for one in stones) :] *= SURFACE_WEIGHT
    checked = [np.concatenate(part) for part in zip(*held_out, strict=True)]
    model = fitted(*learned[:2], weight, *checked[:2])
    write_model(model, len(learned[1]), len(checked[1]))
    with open(TABLE, "w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["photo", *KINDS[1:], "is"])
        for number, (rows, kinds, _) in enumerate(others):
            for (crack, pattern), kind in zip(model.chances(rows), kinds, strict=True):
                table.writerow([number, f"{crack:.4f}", f"{pattern:.4f}", KINDS[kind]])


def lines_of_photo(seed: int, number: int, style) -> tuple[NDArray, NDArray, NDArray]:
    """Return evidence (n, names), kind (n,) and length (n,) of the lines of a render's faces."""
    _one_thread()
    found = [lines_of(face) for _, face in faces_of(drawn_photo(seed, number, style))]
    return tuple(np.concatenate(part) for part in zip(*found, strict=True)) if found else _none()


def lines_of_surface(number: int) -> tuple[NDArray, NDArray, NDArray]:
    """Return the same of a surface that fills its picture."""
    _one_thread()
    side = (224, 256, 320)[number % 3]
    drawn = draw_surface(np.random.default_rng([SURFACE_SEED, number]), TRAINING, side)
    everywhere = np.ones((side, side), bool)
    crack, faint, pattern = (drawn.cracks == code for code in (CRACK, FAINT, PATTERN_LINE))
    return lines_of(KnownFace(drawn.rgb, everywhere, crack, faint, pattern, ~everywhere, (), False))


def lines_of(face: KnownFace) -> tuple[NDArray, NDArray, NDArray]:
    """Return the same of one face, as far as its truth says what a line is."""
    photo = Photo("face", face.rgb, srgb_encoding(), "")
    cut = cut_face(photo, _piece(face.mask), no_reference(photo))
    regions = find_regions(cut, find_glare(cut), load_profile())
    lines, surround = cracks.traced_lines(cut, regions)
    if not lines:
        return _none()
    on = [_near(layer, NEAR_PX) for layer in (face.cracks, face.pattern, face.faint)]
    paths = [_every_px(cut.to_photo_px(points + 0.5) - 0.5) for points in lines]
    kinds = np.array([_kind(*(_share_on(layer, path) for layer in on)) for path in paths])
    judged = kinds >= 0
    lengths = np.array([length_px(points) for points in lines])
    return evidence(lines, surround)[judged], kinds[judged], lengths[judged]


def _kind(crack: float, pattern: float, faint: float) -> int:
    """Place in ``KINDS``, by the shares of a line that lie on each; -1 where it is not judged."""
    if crack > 0.5:
        return 1
    if pattern > 0.5:
        return 2
    return -1 if faint > 0.5 or crack > 0.2 else 0


def _none() -> tuple[NDArray, NDArray, NDArray]:
    return np.zeros((0, len(NAMES))), np.zeros(0, int), np.zeros(0)


def fitted(
    table: NDArray, kinds: NDArray, weight: NDArray, held_out: NDArray, true: NDArray
) -> LineModel:
    """Return the logistic model of evidence, its scale and shifts fitted on held-out lines."""
    mean, spread = table.mean(0), table.std(0) + 1e-6

    def footing(rows):
        return np.clip((rows - mean) / spread, -MOST_SPREADS, MOST_SPREADS)

    plain = LogisticRegression(C=LOOSENESS, max_iter=3000)
    plain.fit(footing(table), kinds, sample_weight=weight / weight.mean())
    scores = footing(held_out) @ plain.coef_.T + plain.intercept_

    def lost(free):
        chances = softmax(scores * np.exp(free[0]) + np.array([0, *free[1:]]))
        return -np.log(chances[np.arange(len(true)), true] + 1e-9).mean() + 1e-3 * (free @ free)

    free = minimize(lost, np.zeros(3), method="Nelder-Mead").x
    weights = plain.coef_ * np.exp(free[0])
    first = plain.intercept_ * np.exp(free[0]) + np.array([0, *free[1:]])
    return LineModel(mean, spread, weights[1:] - weights[0], first[1:] - first[0])


def write_model(model: LineModel, lines: int, held_out: int) -> None:
    """Write the model that ships, a row for each evidence."""
    crack, pattern = (round(float(v), 4) for v in model.first)
    head = {
        "learned_from": "renders only",
        "lines": lines,
        "lines_held_out": held_out,
        "crack": crack,
        "pattern": pattern,
    }
    columns = zip(NAMES, model.mean, model.spread, *model.weights, strict=True)
    keys = ("evidence", "mean", "spread", "crack", "pattern")
    rows = [
        json.dumps(dict(zip(keys, (name, *(round(float(v), 4) for v in values)), strict=True)))
        for name, *values in columns
    ]
    text = json.dumps(head)[:-1] + ', "evidence": [\n  ' + ",\n  ".join(rows) + "\n]}\n"
    (starter_folder() / "lines.json").write_text(text, "utf-8")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
