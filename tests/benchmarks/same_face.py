"""Prints what a second photo of the same face gains, with n and seed.

``python tests/benchmarks/same_face.py [--pairs N] [--seed N] [--write]``: renders in the held-out style whose lamp a
face mirrors (5 to 70 % of it is truly glare), each with a second photo of the same stone under another lamp, turned,
tilted and exposed anew (``face_pairs.py``). Graded alone and together; the seller says that both are wet. Beside it
how often the two are found to be of one face, and two of different stones are not.
"""

import argparse

import cv2
import numpy as np
import tables
from face_pairs import Pair, face_pair, first_of
from tables import Row

from grader.face.sight.cut import cut_face
from grader.face.sight.view import find_again, search, see_face
from grader.grade import measure_photo
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.reference import no_reference
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile

CLASSES = ("blue", "white", "host")
#: True glare of the first photo's face, and least overlap of the stone found with the true one.
GLARE_BETWEEN, LEAST_IOU = (0.05, 0.70), 0.5
DRAWS = 1000
#: How the pairs are drawn, beside chance.
CHOSEN = {"glare": True, "fill": 0.35, "width_px": 1000, "height_px": 750}


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--pairs", type=int, default=20)
    asked.add_argument("--seed", type=int, default=17)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    given = asked.parse_args()
    cv2.setNumThreads(1)
    rows = rows_of(given.seed, given.pairs)
    print(tables.as_table(rows))
    if given.write:
        tables.write("same_face", rows)


def rows_of(seed: int, wanted: int) -> list[Row]:
    """Return the rows of so many pairs whose first photo glares."""
    profile = load_profile()
    glare, share, misfit, found, mistaken, contradict = [], [], [], 0, [], 0
    number, last = 0, None
    while len(glare) < wanted:
        number += 1
        stones = first_of([seed, number], **CHOSEN).stones
        if not stones or not within(stones[0].glare_share, GLARE_BETWEEN):
            continue
        pair = face_pair([seed, number], **CHOSEN)
        first, other = photo_of(pair.first.rgb, f"{number}a"), photo_of(pair.other, f"{number}b")
        alone, together = (
            the_stone(
                measure_photo(
                    first, PhotoTerms(state="wet"), profile, no_reference(first), same_face=further
                ).pieces,
                pair,
            )
            for further in ((), (other,))
        )
        if alone is None:
            continue
        glare.append([m.measurements.regions.glare_share for m in (alone, together)])
        share.append([share_error(m, pair) for m in (alone, together)])
        first_view = see_face(cut_face(first, alone.piece, no_reference(first)), profile)
        again = find_again(first_view, search(other))
        if again is not None:
            found += 1
            misfit.append(misfit_px(first_view.face, *again, pair))
            states = {s.state.value for s in (first_view, see_face(again[0], profile))}
            contradict += states == {"wet", "dry"}
        if last is not None:
            mistaken.append(find_again(first_view, last) is not None)
        last = search(other)
        print(number, glare[-1], share[-1], misfit[-1:] if again else "not found", flush=True)
    on = f"pairs of held-out renders that glare, seed {seed}"
    rng = np.random.default_rng([seed, 99])
    n = f"{len(glare)} pairs"
    rows = [
        Row(f"{name}, one photo / two, points", on, n, *both(100 * np.array(values), rng))
        for name, values in (("glare share of a glaring face", glare), ("share error of it", share))
    ]
    gains = np.array([b - a for a, b in share])
    rows += [
        Row("two photos: share error less / more by over a point", on, n,
            f"{(gains < -0.01).sum()} / {(gains > 0.01).sum()}"),
        Row("two photos of one face found to be so, share", on, n, f"{found / len(glare):.2f}"),
        Row("two photos of two faces taken for one", on, f"{len(mistaken)} pairs",
            str(sum(mistaken)), floor="0"),
        Row("two photos of one face: misfit, median / worst pair, px", on, f"{len(misfit)} pairs",
            f"{np.median(misfit):.2f} / {max(misfit):.2f}", floor="≤ 1"),
        Row("two wet photos read as a wet and a dry one", on, f"{found} pairs", str(contradict)),
    ]  # fmt: skip
    return rows


def photo_of(rgb, name: str) -> Photo:
    """Return a photo in memory; the name stands for its hash."""
    return Photo(name, rgb, srgb_encoding(), name)


def within(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]


def the_stone(measured, pair: Pair):
    """Return the stone found where the true one lies; ``None`` where it is missed."""
    truth = pair.first.pieces == 1
    for stone in measured:
        outline = np.rint((stone.piece.outline - 0.5) * 16).astype(np.int32)
        filled = np.zeros(truth.shape, np.uint8)
        cv2.fillPoly(filled, [outline], 1, shift=4)
        if (truth & (filled > 0)).sum() >= LEAST_IOU * (truth | (filled > 0)).sum():
            return stone
    return None


def share_error(measured, pair: Pair) -> float:
    """Return the mean error over the classes against the whole face, glare or not."""
    shares = measured.measurements.regions.shares
    return float(np.abs([shares[name].value for name in CLASSES] - pair.shares).mean())


def misfit_px(face, other, alignment, pair: Pair) -> float:
    """Return the median distance from the true place over the face, px of the other photo."""
    points = np.argwhere(face.mask)[::97, ::-1] + 0.5
    mapped = other.to_photo_px(alignment.to_other(points))
    true = cv2.perspectiveTransform(face.to_photo_px(points)[None], pair.matrix)[0]
    return float(np.median(np.linalg.norm(mapped - true, axis=1)))


def both(values: np.ndarray, rng: np.random.Generator) -> tuple[str, str]:
    """Return the two means, and the 95 % range of what the second photo takes off."""
    drawn = rng.integers(0, len(values), (DRAWS, len(values)))
    less = (values[:, 0] - values[:, 1])[drawn].mean(axis=1)
    low, high = np.percentile(less, [2.5, 97.5])
    one, two = values.mean(axis=0)
    return f"{one:.1f} / {two:.1f}", f"less by {low:.1f} to {high:.1f}"


if __name__ == "__main__":
    main()
