"""``python -m grader.train.intervals``: how wide a share's interval must be to hold the truth in 95 of 100 renders."""

import argparse
import json
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face, fill_outline
from grader.face.sight.glare import find_glare
from grader.files import write_text
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.pieces import find_pieces
from grader.photo.reference import no_reference
from grader.profile import load_profile
from grader.render import TRAINING, Style
from grader.train.examples import render_example_photo


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


def errors_and_doubts(seed: int, photo: int, style: Style) -> list[tuple[float, float]]:
    """Return (absolute share error, doubt) for every class of every stone of one render that was found."""
    rendered = render_example_photo(np.random.default_rng([seed, photo]), style)
    shot = Photo("render", rendered.rgb, srgb_encoding(), "")
    profile = load_profile()
    pairs = []
    for piece in find_pieces(shot)[0]:
        inside = fill_outline(piece.outline, rendered.pieces.shape)
        ids = np.bincount(rendered.pieces[inside], minlength=2)
        ids[0] = 0
        theirs = rendered.pieces == ids.argmax()
        if ids.max() < 0.8 * (inside | theirs).sum():
            continue
        truth = rendered.stones[int(ids.argmax()) - 1].shares
        face = cut_face(shot, piece, no_reference(shot))
        regions = find_regions(face, find_glare(face), profile)
        pairs += [
            (abs(share.value - truth[name]), share.doubt) for name, share in regions.shares.items()
        ]
    return pairs


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.train.intervals", description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("models/starter"))
    ask.add_argument("--photos", type=int, default=240)
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
