"""Unbroken runs of bands: pieces of their middle lines between gaps, offsets and the face's edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.bands.stripes import OUTSIDE, depth_px
from grader.face.lines.polyline import at_px, length_px, resample, smooth
from grader.face.lines.skeleton import paths, thin

#: A run ends at an offset of this share of the band's thickness,
OFFSET_SHARE = 0.35
#: where the band is narrowed to this share.
NECK_SHARE = 0.75


@dataclass(frozen=True)
class Run:
    """One unbroken run, px of the map.

    stripe : WATER or SKY.   points : (n, 2) x, y one px apart.   thickness_px : of the band.
    at_gap : whether its two ends lie at a gap, not at an edge or an offset.   along_px : (n,) thickness at each point.
    """

    stripe: int
    points: NDArray
    thickness_px: float
    at_gap: tuple[bool, bool]
    along_px: NDArray


def runs_of(stripes: NDArray, stripe: int) -> list[Run]:
    """Return the unbroken runs of the middle lines of one class, ``stripe``, of a map (h, w)."""
    mask = stripes == stripe
    if not mask.any():
        return []
    depth = depth_px(mask)
    face_depth = depth_px(stripes != OUTSIDE)
    usual = 2 * 2 * float(depth[mask].mean())
    runs = []
    for path in paths(thin(mask), 1.6 * depth + 2, max(usual, 4.0)):
        if len(path.points) < 3:
            continue
        points = resample(path.points)
        half = float(np.median(at_px(depth, *points.T)))
        points = smooth(points, max(int(half), 3))
        points = _lengthened(points, path.free, mask, 2 * half)
        pieces = np.split(points, _offsets(points, depth, 2 * half))
        for i, piece in enumerate(pieces):
            if len(piece) < 2:
                continue
            ends = (path.free[0] and i == 0, path.free[1] and i == len(pieces) - 1)
            at_gap = tuple(
                free and float(at_px(face_depth, *end[None].T)[0]) > 3
                for free, end in zip(ends, piece[[0, -1]], strict=True)
            )
            runs.append(Run(stripe, piece, 2 * half, at_gap, 2 * at_px(depth, *piece.T)))
    return runs


def _lengthened(
    points: NDArray, free: tuple[bool, bool], mask: NDArray, thickness_px: float
) -> NDArray:
    """Return the path, (n, 2), with its free ends led on to where the band ends.

    Thinning stops half a thickness before.   mask : ndarray of shape (h, w), bool, the band.
    """
    for side in (0, 1):
        if free[side]:
            lead = points if side else points[::-1]
            # The last bit before the end leans to a corner: the direction is taken from before that.
            cut = min(int(0.5 * thickness_px), (len(lead) - 1) // 3)
            lead = lead[: len(lead) - cut]
            step = lead[-1] - lead[-1 - min(len(lead) - 1, max(int(thickness_px), 6))]
            step = step / max(float(np.hypot(*step)), 1e-9)
            ahead = lead[-1] + np.arange(1, int(1.6 * thickness_px) + cut + 3)[:, None] * step
            outside = np.flatnonzero(~at_px(mask, *ahead.T))
            ahead = ahead[: outside[0] if len(outside) else 0]
            points = np.vstack([lead, ahead])
            points = points if side else points[::-1]
    return points


def _offsets(points: NDArray, depth: NDArray, thickness_px: float) -> list[int]:
    """Return at which points of the path, (n, 2), the band is offset by at least 35 % of its thickness.

    Both sides are led on straight to the place and their distance is taken; a bend leaves both on
    the same side and cancels. At a true offset the band is also narrowed to what the two sides
    share.
    """
    near, far = max(int(thickness_px), 3), max(int(2.2 * thickness_px), 8)
    n = len(points)
    if n < 2 * far + 1:
        return []
    i = np.arange(far, n - far)
    left, right = points[i - near], points[i + near]
    slope_left = (left - points[i - far]) / (far - near)
    slope_right = (points[i + far] - right) / (far - near)
    gap = (right - slope_right * near) - (left + slope_left * near)
    along = slope_left + slope_right
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    offset = np.abs(gap[:, 0] * along[:, 1] - gap[:, 1] * along[:, 0])
    half = at_px(depth, *points.T)
    neck = np.lib.stride_tricks.sliding_window_view(half, 2 * near + 1).min(axis=1)[
        far - near : n - far - near
    ]
    hit = (offset >= OFFSET_SHARE * thickness_px) & (
        neck <= NECK_SHARE * np.minimum(half[i - near], half[i + near])
    )
    cuts = []
    while hit.any():
        k = int(np.argmax(np.where(hit, offset, -1)))
        cuts.append(int(i[k]))
        hit[max(k - far, 0) : k + far + 1] = False
    return sorted(cuts)


def follows(run: Run, orientation_deg: NDArray) -> bool:
    """Return whether the run is longer than thick and goes with the pattern: legs across a ragged band do neither.

    orientation_deg : ndarray of shape (h, w), local direction of the pattern, counter-clockwise.
    """
    steps = np.diff(run.points, axis=0)
    line_deg = np.degrees(np.arctan2(-steps[:, 1], steps[:, 0]))
    agreement = np.cos(2 * np.radians(line_deg - at_px(orientation_deg, *run.points[1:].T)))
    return length_px(run.points) > run.thickness_px and float(agreement.mean()) > 0
