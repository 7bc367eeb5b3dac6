"""Borders between blue and white as traced lines, and the faults that throw them.

Where a fault crosses bands, pieces of the borders run across them, one behind the other on one line.
How far the bands are thrown there is read from both sides of that line at once: the throw that lays
one side on the other. A single border across is froth, or the end of a band.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.stripes import SKY, WATER
from grader.face.face import Face
from grader.face.lines.polyline import across, at_px, resample, smooth, tangents

#: The scale is evened over this share of half a band.
FIELD_SHARE = 0.15
#: A border is evened over this share of the band thickness,
EVENED = 0.25
#: and goes across the bands where it leaves their direction by more than this
ACROSS_DEG = 35.0
#: over at least this many thicknesses.
LEAST_ACROSS = 0.3
#: Pieces lie on one fault at most so many thicknesses apart,
APART = 2.5
#: turned from its line by less than this
OFF_LINE_DEG = 18.0
#: and so many thicknesses beside it.
NEAR_LINE = 0.3
#: A fault is followed so many thicknesses beyond its last pieces.
BEYOND = 2.0
#: How far from the fault its two sides are read, in thicknesses,
BESIDE = 0.3
#: and the largest throw looked for.
MOST_THROW = 2.5
#: How well the thrown sides must agree (-1 to 1),
LEAST_AGREEMENT = 0.4
#: and how much better than without a throw.
LEAST_GAIN = 0.2
#: A border's sharpness is read at about so many places.
MOST_PROFILES = 600
#: A band is offset from this throw on, in its own thicknesses.
OFFSET_SHARE = 0.35


@dataclass(frozen=True)
class Offset:
    """A band thrown by a fault; all px.

    place : x, y in its middle.   throw_px, thickness_px : square to the band.   across : (n, 2), the bit of the fault
    within it.
    """

    place: NDArray
    throw_px: float
    thickness_px: float
    across: NDArray


def blue_white_field(stripes: NDArray[np.uint8], half_px: float) -> NDArray[np.float32]:
    """Return the scale from blue, -1, to white, 1, evened a little, (h, w); 0 where neither is."""
    signs = (stripes == SKY).astype(np.float32) - (stripes == WATER)
    field = cv2.GaussianBlur(signs, (0, 0), max(FIELD_SHARE * half_px, 0.8))
    return np.where(signs == 0, 0, field).astype(np.float32)


def trace_borders(field: NDArray, stripes: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
    """Return the lines, (n, 2) x, y, px apart, on which the blue-white scale is 0.

    They go as far as blue and white meet there; places between px, pixel (0, 0) at (0, 0).
    """
    banded = (stripes == WATER) | (stripes == SKY)
    contours, _ = cv2.findContours(
        ((field > 0) & banded).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
    )
    gx, gy = (cv2.Sobel(field, cv2.CV_32F, *d, ksize=3, scale=1 / 8) for d in ((1, 0), (0, 1)))
    # Blue and white meet where nothing else is near.
    met = cv2.erode(banded.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    borders = []
    for contour in contours:
        points = contour[:, 0, :].astype(np.float64)
        x, y = contour[:, 0, 0], contour[:, 0, 1]
        slope = np.stack([gx[y, x], gy[y, x]], axis=1).astype(np.float64)
        steep = (slope**2).sum(axis=1)
        move = -field[y, x][:, None] * slope / np.maximum(steep, 1e-6)[:, None]
        distance = np.hypot(*move.T)
        points = points + move * np.minimum(1, 1.0 / np.maximum(distance, 1e-9))[:, None]
        on = met[y, x]
        if on.all():
            borders.append(np.vstack([points, points[:1]]))
            continue
        # A ring is opened where it leaves the border.
        start = int(np.argmin(on))
        points, on = np.roll(points, -start, axis=0), np.roll(on, -start)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(np.int8), [0]])))
        borders += [points[a:b] for a, b in edges.reshape(-1, 2) if b - a >= 4]
    return [resample(points) for points in borders if len(points) >= 4]


def find_offsets(
    borders: list[NDArray],
    field: NDArray[np.float32],
    orientation_deg: NDArray,
    thickness_px: float,
) -> list[Offset]:
    """Return the bands that faults offset by 35 % of their thickness or more.

    field : ndarray of shape (h, w), the blue-white scale, 0 where neither is.
    """
    pieces = [p for border in borders for p in _across(border, orientation_deg, thickness_px)]
    offsets = []
    for group in _groups(pieces, thickness_px):
        line = _line([pieces[k] for k in group], thickness_px)
        offsets += _thrown(line, field, orientation_deg, thickness_px)
    return offsets


def _along(orientation_deg: NDArray, points: NDArray) -> NDArray:
    """Unit vectors along the bands at points x, y, (n, 2)."""
    angle = np.radians(at_px(orientation_deg, *points.T))
    return np.stack([np.cos(angle), -np.sin(angle)], axis=1)


def _across(border: NDArray, orientation_deg: NDArray, thickness_px: float) -> list[NDArray]:
    """Return the two ends (2, 2) of each piece of a border that goes across the bands."""
    points = smooth(border, max(int(EVENED * thickness_px), 3))
    if len(points) < 4:
        return []
    level = np.abs((tangents(points) * _along(orientation_deg, points)).sum(axis=1))
    steep = level < np.cos(np.radians(ACROSS_DEG))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], steep.astype(np.int8), [0]])))
    ends = [points[[a, b - 1]] for a, b in edges.reshape(-1, 2)]
    least = max(LEAST_ACROSS * thickness_px, 3.0)
    return [pair for pair in ends if np.hypot(*(pair[1] - pair[0])) >= least]


def _groups(pieces: list[NDArray], thickness_px: float) -> list[list[int]]:
    """Return which pieces, (2, 2) ends each, two or more, lie behind each other on one line."""
    if len(pieces) < 2:
        return []
    ends = np.array(pieces)
    middle, step = ends.mean(axis=1), ends[:, 1] - ends[:, 0]
    length = np.hypot(*step.T)
    step /= length[:, None]
    between = middle[None] - middle[:, None]
    far = np.hypot(between[..., 0], between[..., 1])
    between /= np.maximum(far, 1e-9)[..., None]
    on_line = np.abs((between * step[:, None]).sum(axis=2)) >= np.cos(np.radians(OFF_LINE_DEG))
    free = far - (length[:, None] + length[None]) / 2
    i, j = np.nonzero(np.triu(on_line & on_line.T & (free <= APART * thickness_px), 1))
    if not len(i):
        return []
    # Each two that follow each other say where a line may run; those that most of it lies on count.
    through, ahead = (middle[i] + middle[j]) / 2, between[i, j]
    offset = middle[None] - through[:, None]
    beside = np.abs(offset[..., 0] * ahead[:, None, 1] - offset[..., 1] * ahead[:, None, 0])
    member = (beside <= NEAR_LINE * thickness_px) & (
        np.abs(ahead @ step.T) >= np.cos(np.radians(OFF_LINE_DEG))
    )
    groups = []
    while member.any():
        best = int((member @ length).argmax())
        on = np.flatnonzero(member[best])
        on = on[np.argsort(middle[on] @ ahead[best])]
        gaps = free[on[:-1], on[1:]] > APART * thickness_px
        parts = np.split(on, np.flatnonzero(gaps) + 1)
        part = max(parts, key=lambda p: length[p].sum())
        if len(part) > 1:
            groups.append(part.tolist())
            member[:, part] = False
        else:
            member[best] = False
    return groups


def _line(pieces: list[NDArray], thickness_px: float) -> NDArray[np.float64]:
    """Return the fault through the pieces, px apart, led on beyond both ends."""
    middle = np.array([p.mean(axis=0) for p in pieces])
    _, _, axes = np.linalg.svd(np.vstack(pieces) - middle.mean(axis=0))
    axis = axes[0]
    middle = middle[np.argsort(middle @ axis)]
    ends = np.vstack(pieces) @ axis
    first, last = ends.min() - BEYOND * thickness_px, ends.max() + BEYOND * thickness_px
    lead = middle[0] + (first - middle[0] @ axis) * axis
    tail = middle[-1] + (last - middle[-1] @ axis) * axis
    return resample(np.vstack([lead, middle, tail]))


def _thrown(
    line: NDArray, field: NDArray, orientation_deg: NDArray, thickness_px: float
) -> list[Offset]:
    """Return the bands that the fault offsets, by the throw at which its two sides agree best."""
    along = _beside_fault(line, orientation_deg, thickness_px)
    beside = max(BESIDE * thickness_px, 2.0)
    left, right = (_read(field, line + side * beside * along) for side in (-1, 1))
    lags = np.arange(-int(MOST_THROW * thickness_px), int(MOST_THROW * thickness_px) + 1)
    agreement = np.array([_agreement(left, right, lag) for lag in lags])
    best = int(agreement.argmax())
    lag = int(lags[best])
    still = _agreement(left, right, 0)
    if agreement[best] < LEAST_AGREEMENT or agreement[best] < still + LEAST_GAIN:
        return []
    fault = tangents(line)
    square = np.abs(fault[:, 0] * along[:, 1] - fault[:, 1] * along[:, 0])
    sign = np.sign(left) * (np.abs(left) > 0.15)
    edges = np.flatnonzero(np.diff(np.concatenate([[2], sign, [2]])) != 0)
    found = []
    for a, b in pairwise(edges):
        middle = (a + b) // 2
        if sign[a] == 0 or b - a < 3 or not 0 <= middle + lag < len(line):
            continue
        if right[middle + lag] * sign[a] <= 0:
            continue
        thickness, throw = (b - a) * square[middle], abs(lag) * square[middle]
        if throw >= OFFSET_SHARE * thickness:
            low, high = max(min(a, a + lag), 0), min(max(b, b + lag), len(line))
            at = int(np.clip(middle + lag // 2, 0, len(line) - 1))
            found.append(Offset(line[at], float(throw), float(thickness), line[low:high]))
    return found


def _beside_fault(line: NDArray, orientation_deg: NDArray, thickness_px: float) -> NDArray:
    """Unit vectors, (n, 2), along the bands at the points of a fault, all to one side of it.

    Taken as the bands run a thickness beside it: on the fault itself the steps bend the direction.
    """
    on = _along(orientation_deg, line)
    both = [_along(orientation_deg, line + side * thickness_px * on) for side in (-1, 1)]
    first = both[0][len(line) // 2]
    along = sum(axes * np.where(axes @ first < 0, -1, 1)[:, None] for axes in both)
    return along / np.maximum(np.hypot(*along.T), 1e-9)[:, None]


def _read(field: NDArray, points: NDArray) -> NDArray[np.float64]:
    """The scale at points x, y; 0 off the map."""
    at = np.rint(points)
    on = ((at >= 0) & (at < (field.shape[1], field.shape[0]))).all(axis=1)
    return np.clip(np.where(on, at_px(field, *points.T), 0), -1, 1).astype(float)


def _agreement(left: NDArray, right: NDArray, lag: int) -> float:
    """How well the right side, moved by the lag, agrees with the left one, -1 to 1; (n,) each.

    sum(l r) / sqrt(sum(l^2) sum(r^2)) over the places that both show.
    """
    n = len(left)
    if abs(lag) >= n:
        return -1.0
    a, b = (left[: n - lag], right[lag:]) if lag >= 0 else (left[-lag:], right[: n + lag])
    known = (a != 0) & (b != 0)
    # What is thrown out of sight may be a third of the fault, not more.
    if known.sum() < 0.5 * np.count_nonzero(left):
        return -1.0
    size = np.sqrt((a[known] ** 2).sum() * (b[known] ** 2).sum())
    return float((a * b)[known].sum() / size) if size else -1.0


def on_face(points: NDArray, scale: float, corner: NDArray) -> NDArray[np.float64]:
    """Return places (n, 2) of the map, px middles at whole numbers, in working px: the map has a rim of two px."""
    return (points - 2 + 0.5) / scale + corner


def waviness(borders: list[NDArray], thickness_px: float) -> float | None:
    """Return how far the borders depart from their own course, in band thicknesses.

    Root mean square of the distance to the border evened over four thicknesses, sqrt(mean(d^2)) / thickness, as the
    roughness Rq of a profile is (ISO 4287, from memory); ``None`` where none is long enough.
    """
    distances = []
    for border in borders:
        window = max(round(4 * thickness_px), 5)
        if len(border) > window:
            # Near its ends a border is evened over less.
            end = window // 4
            distances.append(np.hypot(*(border - smooth(border, window)).T)[end:-end])
    if not distances:
        return None
    return float(np.sqrt((np.concatenate(distances) ** 2).mean()) / thickness_px)


def border_width(
    face: Face,
    borders: list[NDArray],
    scale: float,
    corner: NDArray,
    ends: list[NDArray | None],
    thickness_px: float,
) -> float | None:
    """Return over which width, working px, the colour goes from 10 to 90 % of the way from blue to white.

    The 10 to 90 % rise distance of an edge, as optics has it (ISO 12233, from memory).

    Read square to the borders from the colours themselves, up to 40 % of a band on either side; the median
    over the borders. ``None`` where no border can be read.

    thickness_px : of a band, working px.   ends : L*, a*, b* of blue and white.
    """
    if ends[0] is None or ends[1] is None or not borders:
        return None
    axis = (ends[1] - ends[0]).astype(np.float32)
    reach = max(0.4 * thickness_px, 3.0)
    out = np.linspace(-reach, reach, 2 * int(4 * reach) + 1)
    rows = []
    every = max(sum(map(len, borders)) // MOST_PROFILES, 1)
    for border in borders:
        points = on_face(smooth(border, 5), scale, corner) - 0.5
        x, y = across(points[2:-2:every], tangents(points)[2:-2:every], out)
        if len(x):
            maps = x.astype(np.float32), y.astype(np.float32)
            rows.append(cv2.remap(face.lab, *maps, cv2.INTER_LINEAR) @ axis)
    if not rows:
        return None
    profiles = np.vstack(rows)
    fifth = max(len(out) // 5, 1)
    low, high = profiles[:, :fifth].mean(axis=1), profiles[:, -fifth:].mean(axis=1)
    clear = np.abs(high - low) > 0.3 * float(axis @ axis)
    if clear.sum() < 8:
        return None
    profiles = (profiles - low[:, None])[clear] / (high - low)[clear, None]
    # Each is laid with its own middle on the others', so that a wander of the line widens nothing.
    middle = np.abs(profiles - 0.5)[:, fifth:-fifth].argmin(axis=1) + fifth - len(out) // 2
    # None is moved by more than what is left out at the ends.
    near = np.abs(middle) <= fifth
    pairs = zip(profiles[near], middle[near], strict=True)
    laid = np.stack([np.roll(p, -m) for p, m in pairs]) if near.any() else profiles
    usual = np.maximum.accumulate(np.median(laid, axis=0)[fifth:-fifth])
    inner = out[fifth:-fifth]
    start, stop = (float(np.interp(level, usual, inner)) for level in (0.1, 0.9))
    return stop - start
