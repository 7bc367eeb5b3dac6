"""Polylines: their length, points at even steps along them, and what is read along and across them.

A polyline is an ndarray of shape (n, 2), x and y of each point. Px of an array are counted from their middles here:
px (0, 0) has its middle at (0, 0).
"""

import numpy as np
from numpy.typing import NDArray


def length_px(points: NDArray) -> float:
    """Return the length along the polyline."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def arc_px(points: NDArray) -> NDArray[np.float64]:
    """Return how far along the polyline each point lies, (n,); the first at 0."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def at_arc(points: NDArray, arc: NDArray, at: NDArray) -> NDArray[np.float64]:
    """Return the points, (m, 2), that lie ``at`` (m,) along the polyline, of which ``arc`` is its :func:`arc_px`."""
    return np.column_stack([np.interp(at, arc, points[:, k]) for k in (0, 1)])


def dashes(points: NDArray, dash_px: float) -> list[NDArray[np.float64]]:
    """Return the polyline as straight dashes, (2, 2) each, of that length, with gaps as long; the last one may be
    shorter."""
    arc = arc_px(points)
    starts = np.arange(0, arc[-1], 2 * dash_px)
    return [at_arc(points, arc, np.array([start, start + dash_px])) for start in starts]


def resample(points: NDArray) -> NDArray[np.float64]:
    """Return the polyline with its points about one px apart along it, its ends kept."""
    arc = arc_px(points)
    return at_arc(points, arc, np.linspace(0, arc[-1], max(round(arc[-1]), 1) + 1))


def resample_within(points: NDArray, most_px: float) -> NDArray[np.float64]:
    """Return the polyline with its points no more than ``most_px`` apart along it, its ends kept."""
    arc = arc_px(points)
    return at_arc(points, arc, np.linspace(0, arc[-1], int(np.ceil(arc[-1] / most_px)) + 2))


def pieces(points: NDArray, most_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the middles (m, 2) and lengths (m,) of pieces of at most ``most_px``; each lies on one edge."""
    steps = np.diff(points, axis=0)
    lengths = np.hypot(*steps.T)
    number = np.maximum(np.ceil(lengths / most_px), 1).astype(int)
    edge = np.repeat(np.arange(len(steps)), number)
    first = np.repeat(np.cumsum(number) - number, number)
    share = (np.arange(len(edge)) - first + 0.5) / number[edge]
    return points[edge] + share[:, None] * steps[edge], lengths[edge] / number[edge]


def smooth(points: NDArray, window_px: int) -> NDArray[np.float64]:
    """Return the polyline with its stairs averaged out over ``window_px`` points; its ends stay."""
    half = min(window_px // 2, (len(points) - 1) // 2)
    if half < 1:
        return np.asarray(points, np.float64)
    sums = np.vstack([np.zeros((1, 2)), np.cumsum(points, axis=0, dtype=np.float64)])
    i = np.arange(len(points))
    # The window shrinks towards the ends, evenly, so that it stays centred.
    reach = np.minimum(half, np.minimum(i, len(points) - 1 - i))
    return (sums[i + reach + 1] - sums[i - reach]) / (2 * reach + 1)[:, None]


def tangents(points: NDArray) -> NDArray[np.float64]:
    """Return unit vectors along the polyline at its points, (n, 2); 0, 0 where it stands still."""
    step = np.gradient(points, axis=0)
    return step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]


def across(points: NDArray, along: NDArray, out: NDArray) -> tuple[NDArray, NDArray]:
    """Return x and y, (n, m) each, of the places that lie ``out`` (m,) from each point square to the polyline.

    along : (n, 2), its unit vectors. Above 0 lies where they show when turned a quarter clockwise as seen.
    """
    return points[:, :1] - along[:, 1:] * out, points[:, 1:] + along[:, :1] * out


def at_px(values: NDArray, x: NDArray, y: NDArray) -> NDArray:
    """Return the values of an array (h, w, ...) at the px nearest to places x, y of any shape.

    Beyond the edge the edge is read.
    """
    h, w = values.shape[:2]
    return values[np.rint(y).astype(int).clip(0, h - 1), np.rint(x).astype(int).clip(0, w - 1)]


def valley(profile: NDArray) -> tuple[int, float]:
    """Return where a profile across a line, (m,), is lowest near its middle, and the level of half its depth.

    Half way up to the less high of its sides.
    """
    middle = len(profile) // 2
    low = middle - 2 + int(np.argmin(profile[middle - 2 : middle + 3]))
    rim = min(profile[:low].max(), profile[low + 1 :].max())
    return low, profile[low] + (rim - profile[low]) / 2


def width_at_half(profile: NDArray) -> float:
    """Return the width at half depth of the valley in a profile, px, interpolated; 1 where there is no valley."""
    low, half = valley(profile)
    if half <= profile[low]:
        return 1.0
    return _crossing(profile[low::-1], half) + _crossing(profile[low:], half)


def px_below_half(profile: NDArray) -> float:
    """Return how many px in a row of the valley in a profile lie below half of its depth; 0 where it has one side."""
    low, half = valley(profile)
    above = np.flatnonzero(profile >= half)
    left, right = above[above < low], above[above > low]
    if not len(left) or not len(right):
        return 0.0
    return float(right[0] - left[-1] - 1)


def _crossing(rising: NDArray, level: float) -> float:
    """Distance in px at which a profile going up first passes the level."""
    above = np.flatnonzero(rising >= level)
    if len(above) == 0:
        return float(len(rising) - 1)
    i = int(above[0])
    return i - float((rising[i] - level) / max(rising[i] - rising[i - 1], 1e-6)) if i else 0.0
