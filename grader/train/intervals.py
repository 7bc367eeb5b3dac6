"""``python -m grader.train.intervals``: how wide a share's interval must be to hold the truth in 95 of 100 renders.

Renders in lights that a phone leaves, in copies as the web has them, in colours made stronger or weaker: more than the
networks met. One half of the photos tells which faces need wide intervals, the other how wide they all must be.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy.optimize import minimize

from grader.face.regions.intervals import LEAST, ShareEvidence
from grader.face.regions.regions import find_regions, share_evidence
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.files import write_text
from grader.photo.colour import codes_from_linear, linear_srgb, srgb_encoding
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import estimated_reference
from grader.profile import load_profile
from grader.render import TRAINING, Style
from grader.train.casts import draw_cast
from grader.train.examples import render_example_photo
from grader.train.variety import poorer

#: How often a photo is a poor copy; colour strength of all, at least and at most.
POOR, STRENGTH = 0.5, (0.75, 1.3)
#: Of a photo at most so many stones, the largest: each photo has its say.
MOST_STONES = 4
LEAST_SIDE_PX = 40


def fit_log_half_width(
    rows: NDArray, errors: NDArray, first: NDArray[np.bool_], hold_share: float = 0.95
) -> NDArray[np.float64]:
    """Return the coefficients, (7,), of the logarithm of the half width.

    Parameters
    ----------
    rows : (n, 7), of :meth:`~grader.face.regions.intervals.ShareEvidence.row`, the first column 1.
    errors : (n,) absolute share errors, 0 to 1.
    first : (n,) which rows fit the coefficients; the others set the level (split conformal prediction, Lei et al.
        2018, J. Am. Stat. Assoc. 113:1094-1111).
    """
    lost = np.maximum(errors, LEAST / 4)

    def loss(weights: NDArray) -> tuple[float, NDArray]:
        # Laplace's law with a scale of its own for each share, and a light pull to none.
        log_scale = rows[first] @ weights
        ratio = lost[first] * np.exp(-log_scale)
        pull = 1e-3 * np.sum(weights[1:] ** 2)
        slope = rows[first].T @ (1 - ratio) / first.sum()
        slope[1:] += 2e-3 * weights[1:]
        return float(np.mean(log_scale + ratio) + pull), slope

    weights = minimize(loss, np.zeros(rows.shape[1]), jac=True, method="L-BFGS-B").x
    ratios = np.sort(lost[~first] / np.exp(rows[~first] @ weights))
    # The ceil((n + 1) * share)-th smallest of those that had no part in the fit.
    rank = min(len(ratios), int(np.ceil((len(ratios) + 1) * hold_share)))
    weights[0] += np.log(ratios[rank - 1])
    return weights


def errors_and_evidence(seed: int, number: int, style: Style) -> list[tuple[float, ShareEvidence]]:
    """Return (absolute share error, evidence) of every class of the largest stones of one render, true outlines."""
    rng = np.random.default_rng([seed, number])
    rendered = render_example_photo(rng, style)
    rgb = _photographed(rendered.rgb, rng)
    photo = Photo("render", rgb, srgb_encoding(), "")
    # A poor copy has fewer px.
    pieces = cv2.resize(rendered.pieces, rgb.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    reference, profile = estimated_reference(photo), load_profile()
    pairs = []
    for stone in sorted(rendered.stones, key=lambda s: -s.area_px)[:MOST_STONES]:
        mask = pieces == stone.id
        if min(cv2.boundingRect(mask.astype(np.uint8))[2:]) < LEAST_SIDE_PX:
            continue
        face = cut_face(photo, _piece(mask), reference)
        regions = find_regions(face, find_glare(face), profile)
        pairs += [
            (abs(regions.shares[name].value - stone.shares[name]), evidence)
            for name, evidence in share_evidence(face, regions).items()
        ]
    return pairs


def _piece(mask: NDArray[np.bool_]) -> Piece:
    layer = mask.astype(np.uint8)
    outlines = cv2.findContours(layer, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    outline = max(outlines, key=cv2.contourArea)[:, 0] + np.float32(0.5)
    return Piece(1, cv2.boundingRect(layer), outline.astype(np.float32))


def _photographed(rgb: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """The render in another light, its colours stronger or weaker, at times a poor copy."""
    encoding = srgb_encoding()
    linear = linear_srgb(rgb, encoding)
    grey = linear @ np.float32([0.2126, 0.7152, 0.0722])
    linear = grey[..., None] + np.float32(rng.uniform(*STRENGTH)) * (linear - grey[..., None])
    cast = draw_cast(rng).astype(np.float32)
    rgb = codes_from_linear(np.clip(linear * cast / cast.max(), 0, 1), encoding)
    return poorer(rgb, rng) if rng.random() < POOR else rgb


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.train.intervals", description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("models/starter"))
    ask.add_argument("--photos", type=int, default=240)
    ask.add_argument("--seed", type=int, default=7001)
    ask.add_argument("--jobs", type=int, default=-1)
    given = ask.parse_args()
    made = Parallel(n_jobs=given.jobs)(
        delayed(errors_and_evidence)(given.seed, k, TRAINING) for k in range(given.photos)
    )
    pairs = [(k % 2 == 0, *pair) for k, photo in enumerate(made) for pair in photo]
    first, errors = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    weights = fit_log_half_width(np.array([p[2].row() for p in pairs]), errors, first)
    fitted = {
        "log_half_width": [round(float(w), 5) for w in weights],
        "shares": len(pairs), "photos": given.photos, "seed": given.seed,
    }  # fmt: skip
    write_text(given.out / "regions.json", json.dumps(fitted, indent=1) + "\n")
    print(json.dumps(fitted))


if __name__ == "__main__":
    main()
