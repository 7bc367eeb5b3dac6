"""What is told of a line beside its class: its widths, how it ends, and whether it is a contact.

A contact runs along the border between pattern and host. Most are sound, but a setting may part there.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.lines.cracks import rim_px
from grader.face.lines.polyline import (
    across,
    at_px,
    length_px,
    px_below_half,
    resample,
    smooth,
    tangents,
)
from grader.face.measurements import WIDTH_FROM_PX, Line, Regions
from grader.profile import Profile

#: A line that stops within the rim, where none is looked for, and this share of the face's width is
#: taken to go on to the outline. Set on rendered cracks that do.
REACH_SHARE = 0.02
#: A contact lies with this share of its points
CONTACT_SHARE = 0.6
#: within so many px of the border,
NEAR_PX = 5
#: and along it within so many degrees.
ALONG_DEG = 30.0
#: The border's direction is taken from a picture blurred by this sigma, in px.
BORDER_SIGMA_PX = 3.0
#: Chance of a contact to part a setting, at most. Our setting, no source.
CONTACT_MOST = 0.6
#: A contact as long as this share of the face's width counts as long. Our setting, no source.
CONTACT_LONG_SHARE = 0.5
#: Darker than both sides by so much L* it counts as open. Our setting, no source.
DARKER_L = 4.0
#: Both sides of a line are looked at so far from it, in px.
BESIDE_PX = 5
#: Widths are taken over stretches of this length, in px.
STRETCH_PX = 9


def p21(lengths, area: float) -> float | None:
    """Return the length of lines per area, in the unit of both; ``None`` where there is no area.

    Dershowitz & Herda 1992, from memory: 20, 30 and 50 mm on 5000 mm² are 0.02 mm/mm².
    """
    return float(sum(lengths)) / area if area > 0 else None


def line_facts(
    lines: tuple[Line, ...], face: Face, regions: Regions, profile: Profile
) -> tuple[Line, ...]:
    """Return the lines, in their order, with their widths and ends, and contacts named.

    A line that the seller has spoken of and a line of class crack keep their class.
    """
    outline_px = distance_to_outline(face.mask)
    width = face_width_px(face.mask)
    border = _Border.of(face, regions, profile)
    described = []
    for line in lines:
        points = resample(line.points - 0.5)
        line = replace(
            line,
            ends=_ends(line.points, outline_px, reach_px(width)),
            greatest_width_px=_greatest_width(line, points, face.lab[..., 0]),
        )
        if line.kind != "crack" and line.source != "seller" and border.carries(points):
            chance = _contact_chance(points, face.lab[..., 0], width)
            line = replace(line, kind="contact", contact_chance=chance)
        described.append(line)
    return tuple(described)


def face_width_px(mask: NDArray[np.bool_]) -> float:
    """Return the width of a disc of the face's area."""
    return 2 * float(np.sqrt(mask.sum() / np.pi))


def reach_px(width: float) -> float:
    """Return how near the outline a line must stop to reach it, on a face that wide."""
    return rim_px(width) + REACH_SHARE * width


def distance_to_outline(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return each px's distance in px to what lies off the face, 0 there."""
    framed = np.pad(mask.astype(np.uint8), 1)
    return cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]


def _ends(points: NDArray, outline_px: NDArray, reach: float) -> str:
    ends = points[[0, -1]]
    if np.hypot(*(ends[0] - ends[1])) < 2:  # A ring has no ends.
        return "inside"
    at = np.floor(ends).astype(int)
    h, w = outline_px.shape
    near = outline_px[at[:, 1].clip(0, h - 1), at[:, 0].clip(0, w - 1)] <= reach
    return ("inside", "reaches the outline", "crosses the face")[int(near.sum())]


def _greatest_width(line: Line, points: NDArray, lightness: NDArray) -> float | None:
    """Width at half depth where the line is widest, over stretches; ``None`` where it is too narrow."""
    if line.width_px < WIDTH_FROM_PX:
        return None
    reach = max(BESIDE_PX, round(2.5 * line.width_px))
    profiles = _profiles(points, lightness, reach)
    starts = range(0, max(1, len(points) - STRETCH_PX + 1), STRETCH_PX)
    widths = [px_below_half(np.median(profiles[i : i + STRETCH_PX], axis=0)) for i in starts]
    return max(line.width_px, *widths)


def _profiles(points: NDArray, lightness: NDArray, reach: int) -> NDArray[np.float32]:
    """L* square to the line, one row for each point, from ``reach`` px on one side to the other."""
    out = np.arange(-reach, reach + 1)
    return at_px(lightness, *across(points, tangents(smooth(points, 9)), out))


def _contact_chance(points: NDArray, lightness: NDArray, width: float) -> float:
    """Chance of a contact to part a setting: straight x long x dark without a break.

    Chord over length, length over half of the face's width (1 at most), and the share of points that
    are darker than both sides; times ``CONTACT_MOST``. Our setting, no source.
    """
    length = max(length_px(points), 1e-6)
    straight = min(1.0, float(np.hypot(*(points[-1] - points[0]))) / length)
    long = min(1.0, length / (CONTACT_LONG_SHARE * width))
    profiles = _profiles(points, lightness, BESIDE_PX)
    line = profiles[:, BESIDE_PX - 1 : BESIDE_PX + 2].min(axis=1)
    sides = np.minimum(profiles[:, :2].mean(axis=1), profiles[:, -2:].mean(axis=1))
    dark = float((sides - line >= DARKER_L).mean())
    return CONTACT_MOST * straight * long * dark


class _Border:
    """Where pattern and host meet: how near each px is, and in which direction the border runs."""

    def __init__(self, near: NDArray[np.bool_], along: NDArray[np.float32]) -> None:
        self._near, self._along = near, along

    @classmethod
    def of(cls, face: Face, regions: Regions, profile: Profile) -> "_Border":
        bright = np.isin(regions.codes, profile.codes("water") + profile.codes("sky"))
        host = np.isin(regions.codes, profile.codes("shore") + profile.codes("none")) & face.mask
        square = np.ones((2 * NEAR_PX + 1, 2 * NEAR_PX + 1), np.uint8)
        near = cv2.dilate(bright.view(np.uint8), square) & cv2.dilate(host.view(np.uint8), square)
        soft = cv2.GaussianBlur(
            bright.astype(np.float32) - host.astype(np.float32), (0, 0), BORDER_SIGMA_PX
        )
        x = cv2.Sobel(soft, cv2.CV_32F, 1, 0)
        y = cv2.Sobel(soft, cv2.CV_32F, 0, 1)
        # The border runs square to the steepest change.
        along = np.dstack([-y, x]) / np.maximum(np.hypot(x, y), 1e-6)[..., None]
        return cls(near > 0, along)

    def carries(self, points: NDArray) -> bool:
        """Whether a line, points one px apart counted from px centres, runs along the border."""
        along, near = (at_px(values, *points.T) for values in (self._along, self._near))
        agreement = np.abs((tangents(smooth(points, 9)) * along).sum(axis=1))
        along_it = agreement >= np.cos(np.radians(ALONG_DEG))
        return bool((near & along_it).mean() >= CONTACT_SHARE)
