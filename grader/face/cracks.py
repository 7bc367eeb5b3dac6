"""Lines on the face: thin dark valleys as polylines, with how likely each of them is a crack."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.line_look import LEAST_TEXTURE, LineLook, crack_probability, line_looks
from grader.face.measurements import Line, Regions
from grader.face.skeleton import length_px, paths, resample, smooth, thin
from grader.measures import UNREADABLE

#: Widths at which valleys are looked for: standard deviation in working px, for lines of about 2, 4
#: and 7 px.
SIGMAS_PX = (1.0, 1.8, 3.2)
#: A valley begins at the first and goes on down to the second; steps of L* over the texture around.
STRONG, WEAK = 3.5, 1.8
#: The lower side of a valley rises at least this share of the higher one, and this many L*.
LEAST_SIDE, LEAST_DEPTH = 0.3, 1.2
#: Lines are joined over gaps of at most this share of the width.
GAP_SHARE = 0.04
#: Lines that are linked and judged, at most.
MOST_LINES = 250
#: Least length of a line, of the face's width and in working px.
LEAST_LENGTH_SHARE, LEAST_LENGTH_PX = 0.035, 12
#: A crack from the first, uncertain from the second, else a pattern line.
CRACK, UNCERTAIN = 0.5, 0.25


def find_cracks(face: Face, regions: Regions) -> tuple[Line, ...]:
    """Return the thin dark lines of the face, longest first, each with the probability that it is a
    crack.

    A border between two colours is a step and not a valley: a line must be darker than both of its
    sides. Pale healed seams are lighter than their sides. Round holes are no lines, and straight
    parallel sets are marks of a tool.
    """
    readable = face.mask & (regions.codes != UNREADABLE)
    width = 2 * float(np.sqrt(face.mask.sum() / np.pi))
    inside = _inside(face.mask, readable, width)
    if np.count_nonzero(inside) < 100:
        return ()
    lightness = _filled(face.lab[..., 0], readable)
    valley, gxx, gyy, gxy = _valley(lightness)
    clear = np.where(inside, valley / _texture(valley, inside, width), 0)
    middle = _middle(lightness, clear, valley, gxx, gyy, gxy)
    lines = _traced(middle, clear, width)
    if not lines:
        return ()
    looks = line_looks(lines, face.lab, lightness, readable, width)
    found = [_line(points, look) for points, look in zip(lines, looks, strict=True)]
    return tuple(sorted(found, key=lambda line: -line.length_px))


def _line(points: NDArray, look: LineLook) -> Line:
    probability = crack_probability(look)
    limits = ((CRACK, "crack"), (UNCERTAIN, "uncertain"), (0.0, "pattern line"))
    kind = next(kind for limit, kind in limits if probability >= limit)
    bent = cv2.approxPolyDP(points.astype(np.float32)[:, None], 1.0, False)[:, 0]
    # Up to here a point is the number of its px; from here on a px spans from there to the next.
    bent = bent + np.float32(0.5)
    return Line(bent, length_px(smooth(points, 9)), look.width_px, kind, probability)


def _inside(mask: NDArray, readable: NDArray, width: float) -> NDArray[np.bool_]:
    """The face without its rim and without the edges of glare, where every surface turns dark or
    light.
    """
    framed = np.pad(mask.astype(np.uint8), 1)
    rim = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1] > max(0.012 * width, 4)
    near_glare = cv2.dilate((mask & ~readable).astype(np.uint8), np.ones((5, 5), np.uint8)).astype(
        bool
    )
    return rim & ~near_glare


def _filled(values: NDArray, known: NDArray) -> NDArray[np.float32]:
    """Return the values with the unknown px at the mean of what is known around them, so that
    filters see no step.
    """
    if known.all():
        return values
    weight = cv2.blur(known.astype(np.float32), (31, 31))
    around = cv2.blur(np.where(known, values, 0).astype(np.float32), (31, 31)) / np.maximum(
        weight, 1e-6
    )
    return np.where(known, values, around).astype(np.float32)


def _valley(lightness: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Return how deep a valley each px lies in (0 or more), and the second derivatives where it is
    deepest.

    The larger eigenvalue of the Hessian, times sigma squared so that widths compare, less the
    smaller one where that is a dent too: a round dark spot is no valley.
    """
    best = None
    for sigma in SIGMAS_PX:
        soft = cv2.GaussianBlur(lightness, (0, 0), sigma)
        xx = cv2.filter2D(soft, cv2.CV_32F, np.float32([[1, -2, 1]]))
        yy = cv2.filter2D(soft, cv2.CV_32F, np.float32([[1], [-2], [1]]))
        xy = cv2.filter2D(soft, cv2.CV_32F, np.float32([[1, 0, -1], [0, 0, 0], [-1, 0, 1]]) / 4)
        half = (xx + yy) * 0.5
        spread = cv2.magnitude((xx - yy) * 0.5, xy)
        depth = (half + spread - np.maximum(half - spread, 0)) * np.float32(sigma**2)
        if best is None:
            best = [depth, xx, yy, xy]
        else:
            deeper = depth > best[0]
            for kept, new in zip(best, (depth, xx, yy, xy), strict=True):
                np.copyto(kept, new, where=deeper)
    best[0] = np.maximum(best[0], 0)
    return tuple(best)


def _texture(valley: NDArray, inside: NDArray, width: float) -> NDArray[np.float32]:
    """Return how deep the valleys of the mere texture around each px are; a few strong lines count
    little.
    """
    usual = float(np.median(valley[::3, ::3][inside[::3, ::3]]))
    small = np.where(inside, np.minimum(valley, 4 * usual), 0).astype(np.float32)
    side = int(0.08 * width) | 1
    mean = cv2.blur(small, (side, side)) / np.maximum(
        cv2.blur(inside.astype(np.float32), (side, side)), 1e-3
    )
    return np.maximum(mean, LEAST_TEXTURE)


def _middle(lightness, clear, valley, gxx, gyy, gxy) -> NDArray[np.bool_]:
    """Return the px in the middle of a valley that is darker than both of its sides."""
    y, x = np.nonzero(clear > WEAK)
    xx, yy, xy = gxx[y, x], gyy[y, x], gxy[y, x]
    across = 0.5 * np.arctan2(2 * xy, xx - yy)
    step_x, step_y = np.cos(across), np.sin(across)

    def at(values: NDArray, distance: float) -> NDArray:
        return values[
            np.clip(np.rint(y + distance * step_y).astype(np.intp), 0, values.shape[0] - 1),
            np.clip(np.rint(x + distance * step_x).astype(np.intp), 0, values.shape[1] - 1),
        ]

    here = valley[y, x]
    top = (here >= at(valley, 1)) & (here >= at(valley, -1))
    y, x, step_x, step_y = y[top], x[top], step_x[top], step_y[top]
    soft = cv2.GaussianBlur(lightness, (0, 0), 0.8)
    floor = soft[y, x]
    # The lighter of a near and a far place on each side: thin lines have their shoulder near, wide
    # ones far.
    left = np.maximum(at(soft, -3), at(soft, -6)) - floor
    right = np.maximum(at(soft, 3), at(soft, 6)) - floor
    both = np.minimum(left, right) >= np.maximum(LEAST_SIDE * np.maximum(left, right), LEAST_DEPTH)
    middle = np.zeros(clear.shape, bool)
    middle[y[both], x[both]] = True
    return middle


def _traced(middle: NDArray, clear: NDArray, width: float) -> list[NDArray]:
    """Return the valleys as paths: joined over small gaps, strong somewhere, and long enough."""
    joined = thin(cv2.dilate(middle.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        joined.astype(np.uint8), connectivity=8
    )
    strong = np.bincount(labels[joined & (clear > STRONG)], minlength=count)
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    keep = (strong >= 3) & (extent >= 0.4 * LEAST_LENGTH_SHARE * width)
    keep[0] = False
    lines = [path.points for path in paths(keep[labels], 5, 8, 50)]
    # In a rough host there may be thousands: the clearest are enough to link and to judge.
    lines = sorted(
        (points for points in lines if len(points) >= 6), key=lambda p: -_summed(clear, p)
    )[:MOST_LINES]
    lines = _linked(lines, GAP_SHARE * width)
    return [
        resample(smooth(points, 5))
        for points in lines
        if len(points) >= max(LEAST_LENGTH_SHARE * width, LEAST_LENGTH_PX)
    ]


def _summed(values: NDArray, points: NDArray) -> float:
    at = np.rint(points).astype(np.intp)
    return float(values[at[:, 1], at[:, 0]].sum())


def _linked(lines: list[NDArray], reach_px: float) -> list[NDArray]:
    """Join lines that go on straight after a gap of at most ``reach_px``, nearest first."""
    if len(lines) < 2:
        return lines
    place = np.array([points[end] for points in lines for end in (0, -1)])
    back = np.array(
        [points[i] for points in lines for i in (min(8, len(points) - 1), max(-9, -len(points)))]
    )
    out = place - back
    out /= np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    to = place[None] - place[:, None]
    distance = np.hypot(to[..., 0], to[..., 1])
    ahead = np.einsum("ijk,ik->ij", to, out)
    straight = (
        (ahead >= 0.8 * distance - 1) & (0.8 * distance - 1 <= ahead.T) & (out @ out.T < -0.6)
    )
    number = np.arange(len(place)) // 2
    first, second = np.nonzero(straight & (distance <= reach_px) & (number[:, None] < number))
    partner: dict[int, int] = {}
    for k in np.argsort(distance[first, second]):
        a, b = int(first[k]), int(second[k])
        if a not in partner and b not in partner:
            partner[a], partner[b] = b, a
    return _followed(lines, partner)


def _followed(lines: list[NDArray], partner: dict[int, int]) -> list[NDArray]:
    """Chain lines end to end; ends are numbered 2 i and 2 i + 1."""
    used: set[int] = set()
    chains = []
    starts = [end for end in range(2 * len(lines)) if end not in partner]
    for start in [*starts, *range(0, 2 * len(lines), 2)]:
        parts, end = [], start
        while end is not None and end // 2 not in used:
            used.add(end // 2)
            parts.append(lines[end // 2] if end % 2 == 0 else lines[end // 2][::-1])
            end = partner.get(end ^ 1)
        if parts:
            chains.append(np.vstack(parts))
    return chains
