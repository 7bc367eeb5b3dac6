"""Which parts of a drawn line can be seen in the finished photo."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.stroke import across

#: A line is seen where it differs by this much L* from both sides, taken as a mean over that many of its points.
#: Both are our setting: common practice, no source.
LEAST_CONTRAST_L, WINDOW_POINTS = 3.0, 11
#: How far beyond the line's edge its sides are read, in photo px.
BESIDE_PX = 2.0
#: Where the surface beside a line is read for what it shows by chance, px beyond the line's width, and how many times
#: that a line must exceed.
ASIDE_PX, OVER_CHANCE = (6, 11), 2.0


def lightness_of(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return L* (h, w), 0 to 100, of an sRGB picture (h, w, 3)."""
    lab = cv2.cvtColor(np.ascontiguousarray(rgb).astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.ascontiguousarray(lab[..., 0])


def seen_points(
    lightness: NDArray[np.float32],
    points: NDArray,
    widths: NDArray,
    on: NDArray[np.bool_] | None = None,
) -> NDArray[np.bool_]:
    """Return which points of a line can be seen, shape (n,).

    Parameters
    ----------
    lightness : (h, w) L* of the finished photo, with its blur, noise and sharpening.
    points : (n, 2) x, y; a whole number is the middle of a px.   widths : (n,) px.
    on : (n,) whether a point lies on the stone in the photo; one that does not is not seen.
    """
    on = np.ones(len(points), bool) if on is None else on
    contrast = line_contrast(lightness, points, widths, on)
    # What the surface beside the line shows where nothing is drawn: in a rough one any track is a valley by chance.
    by_chance = [
        line_contrast(lightness, points, widths, on, side * (widths + beyond_px))
        for beyond_px in ASIDE_PX
        for side in (-1, 1)
    ]
    least = np.maximum(LEAST_CONTRAST_L, OVER_CHANCE * np.median(by_chance, 0))
    share = _mean_along(1.0 * (contrast >= least)[:, None], on.astype(float), WINDOW_POINTS)[:, 0]
    return (share >= 0.5) & on  # No dashes that are shorter than the window.


def draw_seen(
    layer: NDArray[np.uint8], points: NDArray, widths: NDArray, visible: NDArray[np.bool_]
) -> None:
    """Write 1 into a layer (h, w) where those points of a line lie that can be seen, at its width."""
    ends = np.round(points).astype(int)
    for k in np.flatnonzero(visible[:-1] & visible[1:]):
        cv2.line(layer, ends[k].tolist(), ends[k + 1].tolist(), 1, max(1, round(float(widths[k]))))


def line_contrast(
    lightness: NDArray[np.float32],
    points: NDArray,
    widths: NDArray,
    on: NDArray[np.bool_],
    aside_px: NDArray | float = 0.0,
) -> NDArray[np.float64]:
    """Return by how much L* a line is darker, or lighter, than its less different side, (n,), at least 0.

    A step between a dark side and a light one is 0: an eye needs a valley or a ridge. Parameters as in
    ``seen_points``; only points that are ``on`` are read.   aside_px : read beside the line instead.
    """
    aside = across(_mean_along(points.astype(float), np.ones(len(points)), 5))
    half = widths[:, None] / 2
    core = half * np.float32([-1, -0.5, 0, 0.5, 1])
    beyond = half + BESIDE_PX + np.float32([-0.5, 0, 0.5])
    reach = np.hstack([core, -beyond, beyond]) + np.reshape(aside_px, (-1, 1))
    x = (points[:, :1] + aside[:, :1] * reach).astype(np.float32)
    y = (points[:, 1:] + aside[:, 1:] * reach).astype(np.float32)
    read = cv2.remap(lightness, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sections = np.stack(
        [np.median(read[:, :5], 1), read[:, 5:8].mean(1), read[:, 8:].mean(1)], 1
    )  # fmt: skip
    middle, left, right = _mean_along(sections, on.astype(float), WINDOW_POINTS).T
    valley = np.minimum(left, right) - middle
    ridge = middle - np.maximum(left, right)
    return np.maximum(np.maximum(valley, ridge), 0)


def _mean_along(values: NDArray, weights: NDArray, window: int) -> NDArray[np.float64]:
    """Return the weighted mean of (n, k) values over a window that ends with the line."""
    window = min(window, len(values))
    kernel = np.ones(window)
    total = np.maximum(np.convolve(weights, kernel, "same"), 1e-9)
    means = [np.convolve(column * weights, kernel, "same") / total for column in values.T]
    return np.stack(means, 1)
