"""``python -m grader.train.intervals``: how wide a share's interval must be to hold the truth in 95 of 100 renders.

Renders in lights that a phone leaves, in copies as the web has them, in colours made stronger or weaker: more than the
networks met.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from grader.face.regions.intervals import lit_doubt
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.files import write_text
from grader.photo.colour import codes_from_linear, linear_srgb, srgb_encoding
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import estimated_reference
from grader.profile import load_profile
from grader.render import TRAINING, Style
from grader.train.casts import PHONE, draw_cast
from grader.train.examples import render_example_photo
from grader.train.variety import poorer

#: How often a photo is a poor copy; colour strength of all, at least and at most.
POOR, STRENGTH = 0.35, (0.85, 1.2)
#: How often the light is one that the phone mostly took out, as it is drawn, and any other.
TAKEN_OUT = 0.7
#: Of a photo at most so many stones, the largest: each photo has its say.
MOST_STONES = 4
LEAST_SIDE_PX = 40


def fit_half_width(
    errors: NDArray, doubts: NDArray, hold_share: float = 0.95
) -> tuple[float, float]:
    """Return (base, slope) of the narrowest half width ``base + slope * doubt`` that holds that share of the errors."""
    best = (np.inf, 0.0, 0.0)
    for slope in np.linspace(0, 8, 161):
        # The rank of split conformal prediction: the ceil((n + 1) * share)-th smallest.
        rank = min(len(errors), int(np.ceil((len(errors) + 1) * hold_share)))
        base = max(0.002, float(np.sort(errors - slope * doubts)[rank - 1]))
        best = min(best, (base + slope * float(doubts.mean()), base, float(slope)))
    return best[1], best[2]


def errors_and_doubts(seed: int, number: int, style: Style) -> list[tuple[float, float]]:
    """Return (absolute share error, doubt with the light's in it) of all classes of a render's largest stones.

    Outlines are the true ones.
    """
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
            (abs(share.value - stone.shares[name]), lit_doubt(share.doubt, face.light_sd))
            for name, share in regions.shares.items()
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
    cast = np.exp(rng.normal(0, PHONE, 3)) if rng.random() < TAKEN_OUT else draw_cast(rng)
    cast = cast.astype(np.float32)
    rgb = codes_from_linear(np.clip(linear * cast / cast.max(), 0, 1), encoding)
    return poorer(rgb, rng) if rng.random() < POOR else rgb


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.train.intervals", description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("models/starter"))
    ask.add_argument("--photos", type=int, default=110)
    ask.add_argument("--seed", type=int, default=7001)
    ask.add_argument("--jobs", type=int, default=-1)
    given = ask.parse_args()
    made = Parallel(n_jobs=given.jobs)(
        delayed(errors_and_doubts)(given.seed, k, TRAINING) for k in range(given.photos)
    )
    pairs = np.array([pair for photo in made for pair in photo])
    base, slope = fit_half_width(pairs[:, 0], pairs[:, 1])
    fitted = {
        "half_width_base": round(base, 5), "half_width_per_doubt": round(slope, 5),
        "shares": len(pairs), "photos": given.photos, "seed": given.seed,
    }  # fmt: skip
    write_text(given.out / "regions.json", json.dumps(fitted, indent=1) + "\n")
    print(json.dumps(fitted))


if __name__ == "__main__":
    main()
