"""Prints which photos are refused: good ones, and the same ones spoilt by known amounts.

``python tests/benchmarks/verdict_figures.py [--training] [--seed N] [--stones N] [--write]``: renders of the held-out
style (of the training style with ``--training``, for choosing limits). Good are stones as rendered that are large
enough, not patchy, not under glare, and drawn through a sharp lens. Photos are spoilt in linear light and stored again
in 8 bit; outlines and glare are the true ones, so that the networks have no part in the figures.
"""

import argparse
import collections
import time
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import tables
from numpy.typing import NDArray
from renders import SIDE_PX
from tables import Row

from grader.face.face import Face
from grader.face.sight.cut import FACE_PX, cut_face
from grader.photo.colour import linear_srgb, srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.photo.surface import State
from grader.photo.verdict import BLUR_RETAKE_PART, BLUR_RETAKE_PX, Framing, Verdict, judge_photo
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING, render_photo

#: Stones of one photo share its light and lens, so only so many of them are taken.
STONES_A_PHOTO = 3
#: Ground around a stone that a blur may bring in, px.
MARGIN_PX = 64
#: Noise of the sensor, in linear light: its variance grows with the light.
NOISE_DARK, NOISE_GAIN = 0.0015, 0.00015
GOOD = "as rendered"
SPOILT = (
    "out of focus, 1.5 limits",
    "out of focus, 2 limits",
    "shaken, 1.5 limits",
    "shaken, 2 limits",
    "over-exposed",
    "4 stops under",
)


@dataclass(frozen=True)
class Stone:
    """One good stone: its photo cut with ``MARGIN_PX`` of ground, and what is true of it there."""

    name: str
    rgb: NDArray[np.uint8]
    piece: Piece
    glare: NDArray[np.bool_]
    glare_share: float
    mm_per_px: float
    kind: str


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--training", action="store_true", help="the style to choose limits on")
    asked.add_argument("--seed", type=int, default=6)
    asked.add_argument("--stones", type=int, default=160)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    style = TRAINING if args.training else HELD_OUT
    verdicts, seconds = collections.defaultdict(list), []
    stones = 0
    for number, stone in enumerate(good_stones(args.seed, style, args.stones)):
        rng = np.random.default_rng([args.seed, 1, number])
        stones += 1
        for way, rgb in takes(rng, stone):
            face, glare = as_face(stone, rgb)
            start = time.process_time()
            verdicts[way].append(judge(face, glare, stone))
            seconds.append(time.process_time() - start)
    print(
        f"{style.name} renders, seed {args.seed}, n {stones} stones; verdict {np.median(seconds):.3f} s"
    )
    rows = [
        _row(way, verdicts[way], f"{style.name} renders, seed {args.seed}, true outlines and glare")
        for way in (GOOD, *SPOILT)
    ]
    if args.write:
        tables.write("state", rows)


def good_stones(seed: int, style, count: int) -> Iterator[Stone]:
    """Yield ``count`` stones that a person would call well photographed, few of each photo."""
    limits, found, number = load_profile().limits, 0, 0
    while found < count:
        rng = np.random.default_rng([seed, number])
        side, wide = rng.integers(*SIDE_PX), rng.choice([0.75, 1.0, 4 / 3])
        drawn = render_photo(
            rng, style, width_px=round(side * wide**0.5), height_px=round(side / wide**0.5)
        )
        number += 1
        if drawn.features["soft focus"]:
            continue
        taken = 0
        for truth in drawn.stones:
            mask = drawn.pieces == truth.id
            outlines, _ = cv2.findContours(
                mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
            )
            outline = max(outlines, key=cv2.contourArea)
            wide_enough = min(cv2.minAreaRect(outline)[1]) + 1 >= limits.face_px
            bright = truth.glare_share > limits.glare_share
            if taken == STONES_A_PHOTO or found == count or not wide_enough or bright:
                continue
            if truth.state == "patchy":
                continue
            taken, found = taken + 1, found + 1
            yield _stone(f"{seed}-{number - 1}-{truth.id}", drawn, truth, outline[:, 0] + 0.5)


def _stone(name: str, drawn, truth, outline: NDArray) -> Stone:
    x, y, w, h = truth.box
    left, top = max(0, x - MARGIN_PX), max(0, y - MARGIN_PX)
    part = np.s_[top : y + h + MARGIN_PX, left : x + w + MARGIN_PX]
    box = (x - left, y - top, w, h)
    piece = Piece(1, box, (outline - (left, top)).astype(np.float32), truth.cut_by_frame)
    return Stone(
        name,
        drawn.rgb[part],
        piece,
        ((drawn.regions == 9) & (drawn.pieces == truth.id))[y : y + h, x : x + w],
        truth.glare_share,
        truth.mm_per_px,
        truth.kind,
    )


def takes(rng: np.random.Generator, stone: Stone) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield the stone's picture as it is and as each mishap leaves it."""
    linear = linear_srgb(stone.rgb, srgb_encoding())
    side = max(stone.piece.box[2:])
    factor = min(1.0, FACE_PX / side)
    limit_px = max(BLUR_RETAKE_PX, BLUR_RETAKE_PART * side * factor) / factor
    yield GOOD, stone.rgb
    for way, times in zip(SPOILT[:2], (1.5, 2.0), strict=True):
        yield way, filed(rng, cv2.GaussianBlur(linear, (0, 0), times * limit_px))
    for way, times in zip(SPOILT[2:4], (1.5, 2.0), strict=True):
        yield way, filed(rng, shaken(linear, times * limit_px, rng.uniform(0, 180)))
    yield SPOILT[4], filed(rng, over_exposed(linear, stone, rng.uniform(0.42, 0.7)))
    yield SPOILT[5], filed(rng, linear / 16)


def shaken(linear: NDArray, spread_px: float, turn_deg: float) -> NDArray[np.float32]:
    """Return light smeared along a straight line of that standard deviation, at that turn."""
    length = spread_px * 12**0.5
    reach = int(np.ceil(length / 2)) + 2
    fine = 8
    drawn = np.zeros(((2 * reach + 1) * fine,) * 2, np.float32)
    middle = drawn.shape[0] / 2
    turn = np.deg2rad(turn_deg)
    step = np.array([np.cos(turn), -np.sin(turn)])
    along = np.linspace(-length / 2, length / 2, 64 * reach)[:, None] * step * fine + middle
    np.add.at(drawn, (along[:, 1].astype(int), along[:, 0].astype(int)), 1)
    kernel = cv2.resize(drawn, (2 * reach + 1,) * 2, interpolation=cv2.INTER_AREA)
    return cv2.filter2D(linear, -1, kernel / kernel.sum())


def over_exposed(linear: NDArray, stone: Stone, share: float) -> NDArray[np.float32]:
    """Return so much light that this share of the readable face is full in one channel at least."""
    x, y, w, h = stone.piece.box
    inside = np.zeros(linear.shape[:2], np.uint8)
    cv2.fillPoly(inside, [stone.piece.outline.astype(np.int32)], 1)
    readable = (inside[y : y + h, x : x + w] > 0) & ~stone.glare
    most = linear[y : y + h, x : x + w][readable].max(axis=1)
    return linear / max(np.quantile(most, 1 - share), 1e-3)


def filed(rng: np.random.Generator, linear: NDArray) -> NDArray[np.uint8]:
    """Return 8-bit sRGB of linear light, with a sensor's noise; what is above 1 is lost."""
    sigma = np.sqrt(NOISE_DARK**2 + NOISE_GAIN * np.maximum(linear, 0))
    light = np.clip(linear + sigma * rng.standard_normal(linear.shape, np.float32), 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(255 * code).astype(np.uint8)


def as_face(stone: Stone, rgb: NDArray[np.uint8]) -> tuple[Face, NDArray[np.bool_]]:
    """Return the face and its glare at working size."""
    photo = Photo(stone.name, rgb, srgb_encoding(), "", Scale(stone.mm_per_px, "hand"))
    face = cut_face(photo, stone.piece, no_reference(photo))
    size = face.mask.shape[::-1]
    glare = cv2.resize(stone.glare.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return face, glare


def judge(face: Face, glare: NDArray, stone: Stone) -> Verdict:
    return judge_photo(
        face.linear,
        face.lab,
        face.mask,
        glare,
        glare_share=stone.glare_share,
        framing=Framing(stone.piece.cut_by_frame, face.px_per_photo_px),
        state=State("unknown", "photo"),
        limits=load_profile().limits,
    )


def _row(way: str, verdicts: list[Verdict], measured_on: str) -> Row:
    refused = [v for v in verdicts if v.value == "retake"]
    share, care = len(refused) / len(verdicts), np.mean([v.value == "with care" for v in verdicts])
    reasons = collections.Counter(r.code for v in refused for r in v.remarks)
    all_codes = collections.Counter(r.code for v in verdicts for r in v.remarks)
    print(
        f"  {way:26s} refused {share:.3f}, with care {care:.3f}; refused for {dict(reasons)}; told {dict(all_codes)}"
    )
    floor = "≤ 0.02" if way == GOOD else "≥ 0.95"
    return Row(
        f"refused, {way}, share", measured_on, str(len(verdicts)), f"{share:.3f}", floor=floor
    )


if __name__ == "__main__":
    main()
