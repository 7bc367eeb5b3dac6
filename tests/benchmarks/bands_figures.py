"""Prints how well bands are measured: continuity, direction, thickness, offsets; on true regions and on found ones.

``python tests/benchmarks/bands_figures.py [--seed N] [--photos N] [--jobs N] [--training] [--write]``: one banded stone
in each rendered photo, in the style kept back from learning; ``--training`` takes the other style, to tune on. On true
regions the measuring alone is judged, on found ones what ``grader check`` says. The numbers do not hang on ``--jobs``;
the time is taken apart, with one.
"""

import argparse
import time
from dataclasses import dataclass, replace

import cv2
import metrics
import numpy as np
import tables
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scene_figures import printed, unit_seconds
from tables import Row

from grader.drawn import _painted, _true_regions, same_stone
from grader.face.bands.bands import measure_bands
from grader.face.face import Face
from grader.face.measurements import Banding, Regions
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import find_pieces
from grader.photo.reference import no_reference
from grader.profile import Profile, load_profile
from grader.render import HELD_OUT, TRAINING, BandTruth, Style, render_photo

PATTERNS = (
    "fine bands",
    "coarse bands",
    "folded",
    "faulted",
    "frothy",
    "swirled",
    "patches",
    "faulted",
)
#: An offset is right within so many thicknesses of a true one, 6 working px at least.
NEAR, NEAR_PX = 1.0, 6.0
#: True offsets count from this throw, in thicknesses; said ones near a weaker one are left out.
LEAST_THROW = 0.35


@dataclass(frozen=True)
class Measured:
    """One stone: its truth, working px of one photo px, and the bands by "true" and "found" regions.

    offsets : by the same: (right, said, true) counts and the throw errors, in thicknesses.
    """

    truth: BandTruth
    px_per_photo_px: float
    bands: dict[str, Banding]
    offsets: dict[str, tuple[NDArray, list[float]]]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=12)
    asked.add_argument("--photos", type=int, default=160)
    asked.add_argument("--jobs", type=int, default=1)
    asked.add_argument("--training", action="store_true", help="the style to tune on")
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    style = TRAINING if args.training else HELD_OUT
    print(f"seed {args.seed}, style {style.name}")
    stones = Parallel(n_jobs=args.jobs)(
        delayed(measured)(style, args.seed, k) for k in range(args.photos)
    )
    stones = [stone for stone in stones if stone is not None]
    rows = [
        row for which in ("true", "found") for row in band_rows(stones, which, style, args.seed)
    ]
    rows.append(time_row(style, args.seed))
    if args.write:
        tables.write("bands", rows)


def drawn(
    style: Style, seed: int, number: int, profile: Profile
) -> tuple[BandTruth, dict[str, tuple[Face, Regions]]] | None:
    """Return a stone's truth, and its face with regions, true and found."""
    rng = np.random.default_rng([seed, 12, number])
    rendered = render_photo(
        rng, style, width_px=900, height_px=700, stones=1, pattern=PATTERNS[number % len(PATTERNS)],
        touching=False, cut=False, fill=float(rng.uniform(0.15, 0.45)),
    )  # fmt: skip
    photo = Photo("drawn", rendered.rgb, srgb_encoding(), "", Scale(None, None))
    for piece in find_pieces(photo)[0]:
        stone = same_stone(piece, rendered)
        if stone is None or stone.bands.continuity is None:
            continue
        cut = cut_face(photo, piece, no_reference(photo))
        x, y, w, h = piece.box
        here = np.s_[y : y + h, x : x + w]
        codes = np.where(rendered.pieces[here] == stone.id, rendered.regions[here], 0)
        codes = cv2.resize(codes, cut.mask.shape[::-1], interpolation=cv2.INTER_NEAREST)
        true = _true_regions(codes.astype(np.uint8), stone, profile)
        whole = replace(cut, lab=_painted(true, profile), mask=codes > 0)
        found = find_regions(cut, find_glare(cut), profile)
        return stone.bands, {"true": (whole, true), "found": (cut, found)}
    return None


def measured(style: Style, seed: int, number: int) -> Measured | None:
    """Return what is measured on one stone."""
    cv2.setNumThreads(1)
    profile = load_profile()
    stone = drawn(style, seed, number, profile)
    if stone is None:
        return None
    truth, faces = stone
    bands = {which: measure_bands(*given, profile) for which, given in faces.items()}
    offsets = {which: matched(bands[which], truth, faces[which][0]) for which in faces}
    return Measured(truth, faces["found"][0].px_per_photo_px, bands, offsets)


def matched(bands: Banding, truth: BandTruth, face: Face) -> tuple[NDArray, list[float]]:
    """Return right, found and true counts of offsets, one to one and nearest first, and the throw errors."""
    found = np.array(bands.offset_places).reshape(-1, 4)
    true = np.array(truth.breaks).reshape(-1, 4)
    places = face.from_photo_px(true[:, :2])
    near = np.maximum(NEAR * found[:, 3], NEAR_PX)[:, None]
    distance_px = np.hypot(*(found[:, None, :2] - places[None]).transpose(2, 0, 1))
    strong = true[:, 3] >= LEAST_THROW
    left = np.where((distance_px <= near) & strong, distance_px, np.inf)
    errors, taken = [], set()
    while left.size and np.isfinite(left.min()):
        i, j = np.unravel_index(left.argmin(), left.shape)
        errors.append(abs(found[i, 2] - true[j, 2] * face.px_per_photo_px) / found[i, 3])
        taken.add(int(i))
        left[i], left[:, j] = np.inf, np.inf
    weak = ((distance_px <= near) & ~strong).any(axis=1)
    judged = sum(i in taken or not weak[i] for i in range(len(found)))
    return np.array([len(taken), judged, strong.sum()]), errors


def band_rows(stones: list[Measured], which: str, style: Style, seed: int) -> list[Row]:
    """Return the rows of the stones on which bands are seen, on one kind of regions."""
    on = f"{which} regions of {style.name} renders, banded, seed {seed}"
    banded = [s for s in stones if s.bands[which].continuity is not None]
    pairs = [np.array([[s.bands[which].continuity, s.truth.continuity]]) for s in banded]
    rho = metrics.rank_correlation(*np.vstack(pairs).T)
    low, high = metrics.resampled_range(
        pairs, lambda p: metrics.rank_correlation(*p.T), np.random.default_rng(0)
    )
    off = metrics.axial_error_deg(
        [s.bands[which].direction_deg for s in banded], [s.truth.direction_deg for s in banded]
    )
    thick = np.array([
        s.bands[which].thickness_px / (s.truth.thickness_px * s.px_per_photo_px) - 1
        for s in banded if s.truth.thickness_px
    ])  # fmt: skip
    counts = np.array([s.offsets[which][0] for s in stones])
    errors = [e for s in stones for e in s.offsets[which][1]]
    n = f"{len(banded)} stones"

    def f1(rows: NDArray) -> float:
        right, found, true = rows.sum(axis=0)
        return float(2 * right / max(found + true, 1))

    f1_low, f1_high = metrics.resampled_range(
        [c[None] for c in counts], f1, np.random.default_rng(0)
    )
    right, found, true = counts.sum(axis=0)
    return [
        printed(Row("bands seen, share of banded stones", on, f"{len(stones)} stones",
                    f"{len(banded) / max(len(stones), 1):.2f}", "–", "")),
        printed(Row("bands: continuity, rank correlation with the truth", on, n, f"{rho:.2f}",
                    f"{low:.2f} to {high:.2f}", "≥ 0.85")),
        printed(Row("bands: direction, median error, degrees", on, n, f"{np.median(off):.1f}",
                    f"95 % under {np.quantile(off, 0.95):.1f}", "")),
        printed(Row("bands: mean thickness against the drawn median, median error, %", on,
                    f"{len(thick)} stones", f"{100 * np.median(np.abs(thick)):.0f}",
                    f"median lean {100 * np.median(thick):+.0f}", "")),
        printed(Row("bands: offsets, F1", on, f"{true} offsets", f"{f1(counts):.2f}",
                    f"{f1_low:.2f} to {f1_high:.2f}; precision {right / max(found, 1):.2f}, "
                    f"recall {right / max(true, 1):.2f}", "≥ 0.80")),
        printed(Row("bands: throw, median error, thicknesses", on, f"{len(errors)} offsets",
                    f"{np.median(errors) if errors else float('nan'):.2f}", "–", "")),
    ]  # fmt: skip


def time_row(style: Style, seed: int, photos: int = 16) -> Row:
    """How long the bands of one stone take, in units of decoding 12 megapixels and turning them to Lab."""
    profile, took = load_profile(), []
    for number in range(photos):
        stone = drawn(style, seed, number, profile)
        if stone is not None:
            start = time.perf_counter()
            measure_bands(*stone[1]["found"], profile)
            took.append(time.perf_counter() - start)
    unit = unit_seconds()
    return printed(
        Row("bands of one stone, R", f"{style.name} renders, banded, seed {seed}", f"{len(took)} faces",
            f"{np.median(took) / unit:.2f} (R = {unit:.2f} s)", f"most {max(took) / unit:.2f}", "≤ 3")
    )  # fmt: skip


if __name__ == "__main__":
    main()
