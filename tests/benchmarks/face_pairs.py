"""Two photos of one rendered face: another lamp, and the camera turned, tilted and exposed anew."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render import HELD_OUT, Rendered, render_photo

#: Of the renderer's seven sources of chance the lamps', and that of the camera's noise.
LIGHT, NOISE = 3, 6


class AnotherLamp:
    """A source of chance that draws the same stone under other lamps, in other noise."""

    def __init__(self, seed, lamp_seed) -> None:
        self.seed, self.lamp_seed = seed, lamp_seed

    def spawn(self, count: int) -> list[np.random.Generator]:
        ways = np.random.default_rng(self.seed).spawn(count)
        for way in (LIGHT, NOISE):
            ways[way] = np.random.default_rng([*self.lamp_seed, way])
        return ways


@dataclass(frozen=True)
class Pair:
    """first, other : one stone in two photos.   matrix : (3, 3), the true homography from px of the first's photo to
    px of the other's.   shares : (3,), blue, white and host of the whole face, glare or not."""

    first: Rendered
    other: NDArray[np.uint8]
    matrix: NDArray[np.float64]
    shares: NDArray[np.float64]


def face_pair(seed: list[int], style=HELD_OUT, *, turn_deg: float | None = None, **chosen) -> Pair:
    """Return two photos of one stone.

    turn_deg : of the other photo; drawn within 12 degrees without it.   chosen : as ``render_photo`` takes it.
    """
    rng = np.random.default_rng([*seed, 77])
    first = first_of(seed, style, **chosen)
    other = render_photo(AnotherLamp(seed, [*seed, 2]), style, stones=1, **chosen)
    turn = rng.uniform(-12, 12) if turn_deg is None else turn_deg
    h, w = first.rgb.shape[:2]
    matrix = moved(rng, w, h, turn)
    size = (w, h)
    rgb = cv2.warpPerspective(
        other.rgb, _centres(matrix), size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return Pair(first, exposed(rng, rgb), matrix, _shares(seed, style, chosen))


def _shares(seed: list[int], style, chosen: dict) -> NDArray[np.float64]:
    """Return the true shares of the first stone's whole face: dry, it hides nothing."""
    dry = render_photo(
        AnotherLamp(seed, [*seed, 1]), style, stones=1, **chosen | {"glare": False, "state": "dry"}
    )
    counts = np.bincount(dry.regions[dry.pieces == 1], minlength=4)[1:4]
    return counts / max(1, counts.sum())


def first_of(seed: list[int], style=HELD_OUT, **chosen) -> Rendered:
    """Return the first photo of the pair alone."""
    return render_photo(AnotherLamp(seed, [*seed, 1]), style, stones=1, **chosen)


def moved(rng: np.random.Generator, w: int, h: int, turn_deg: float) -> NDArray[np.float64]:
    """Return the homography of a plane seen by a camera that moved: turned, tilted by up to 6 degrees, a little off."""
    focal = 1.3 * max(w, h)
    tilt, lean = np.radians(rng.uniform(-6, 6, 2))
    a = np.radians(turn_deg)
    about_z = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
    )
    about_y = np.array(
        [[np.cos(lean), 0, np.sin(lean)], [0, 1, 0], [-np.sin(lean), 0, np.cos(lean)]]
    )
    turn = about_z @ about_x @ about_y
    # The plane z = focal, turned about its middle and moved.
    plane = np.c_[turn[:, :2], [*rng.uniform(-0.02, 0.02, 2) * w, focal * rng.uniform(0.97, 1.08)]]
    lens = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1]])
    matrix = lens @ plane @ np.array([[1, 0, -w / 2], [0, 1, -h / 2], [0, 0, 1]])
    return matrix / matrix[2, 2]


def exposed(rng: np.random.Generator, rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a photo of another gain per channel and noise, in codes, roughly as a camera balances anew."""
    gain = rng.uniform(0.9, 1.08) * rng.uniform(0.97, 1.03, 3)
    noisy = rgb * gain + rng.normal(0, 1.5, rgb.shape)
    return np.rint(noisy).clip(0, 255).astype(np.uint8)


def _centres(matrix: NDArray) -> NDArray[np.float64]:
    """The same homography where pixel centres count as whole numbers, as OpenCV takes them."""
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    return np.linalg.inv(half) @ matrix @ half
