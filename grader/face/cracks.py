"""Lines on the face: thin dark valleys as polylines, with how likely each of them is a crack."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.measurements import Line, Regions
from grader.face.skeleton import length_px, paths, resample, smooth, thin
from grader.face.structure import structure_tensor
from grader.measures import UNREADABLE

#: Widths at which valleys are looked for: standard deviation in working px, for lines of about 2, 4 and 7 px.
SIGMAS_PX = (1.0, 1.8, 3.2)
#: A valley begins at the first and goes on down to the second; steps of L* over the texture around.
STRONG, WEAK = 3.5, 1.8
#: Texture in L* below which a smooth face is not taken to be smoother: about the noise of a phone photo.
LEAST_TEXTURE = 0.35
#: The lower side of a valley rises at least this share of the higher one, and this many L*.
LEAST_SIDE, LEAST_DEPTH = 0.3, 1.2
#: Lines are joined over gaps of at most this share of the width.
GAP_SHARE = 0.04
#: Lines that are linked and judged, at most.
MOST_LINES = 250
#: How far to both sides of a line its profile is taken.
PROFILE_PX = 10
#: Least length of a line, of the face's width.
LEAST_LENGTH_SHARE = 0.035
#: A crack from the first, uncertain from the second, else a pattern line.
CRACK, UNCERTAIN = 0.5, 0.25


@dataclass(frozen=True)
class LineLook:
    """What tells a crack from other lines.

    depth : L* below the darker of its two sides.   clarity : depth over the texture around.
    evenness : less deep / deeper side, 0 to 1.   chroma_excess : C*ab of the line over that of its sides in shadow.
    tint : CIE76 distance in a*, b* from the nearest colour between that of its sides and grey.
    steadiness : lower quartile of the depth along the line over its median, at most 1.
    width_px : at half depth.   length_share : of the face's width.   straightness : chord / length.
    along_bands : 0 to 1, how well it follows the pattern around it.   parallel_share : of its length with a like line beside.
    """

    depth: float
    clarity: float
    evenness: float
    tint: float
    steadiness: float
    width_px: float
    length_share: float
    straightness: float
    along_bands: float
    parallel_share: float


def find_cracks(face: Face, regions: Regions) -> tuple[Line, ...]:
    """Return the thin dark lines of the face, longest first, each with the probability that it is a crack.

    A border between two colours is a step and not a valley: a line must be darker than both of its sides. Pale healed
    seams are lighter than their sides. Round holes are no lines, and straight parallel sets are marks of a tool.
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
    looks = _looks(lines, face.lab, lightness, readable, width)
    found = []
    for points, look in zip(lines, looks, strict=True):
        probability = crack_probability(look)
        kind = "crack" if probability >= CRACK else "uncertain" if probability >= UNCERTAIN else "pattern line"
        bent = cv2.approxPolyDP(points.astype(np.float32)[:, None], 1.0, False)[:, 0]
        found.append(Line(bent, length_px(smooth(points, 9)), look.width_px, kind, probability))
    return tuple(sorted(found, key=lambda line: -line.length_px))


def _inside(mask: NDArray, readable: NDArray, width: float) -> NDArray[np.bool_]:
    """The face without its rim and without the edges of glare, where every surface turns dark or light."""
    framed = np.pad(mask.astype(np.uint8), 1)
    rim = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1] > max(0.012 * width, 4)
    near_glare = cv2.dilate((mask & ~readable).astype(np.uint8), np.ones((7, 7), np.uint8)).astype(bool)
    return rim & ~near_glare


def _filled(values: NDArray, known: NDArray) -> NDArray[np.float32]:
    """Return the values with the unknown px at the mean of what is known around them, so that filters see no step."""
    if known.all():
        return values
    weight = cv2.blur(known.astype(np.float32), (31, 31))
    around = cv2.blur(np.where(known, values, 0).astype(np.float32), (31, 31)) / np.maximum(weight, 1e-6)
    return np.where(known, values, around).astype(np.float32)


def _valley(lightness: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Return how deep a valley each px lies in (0 or more), and the second derivatives where it is deepest.

    The larger eigenvalue of the Hessian, times sigma squared so that widths compare, less the smaller one where that
    is a dent too: a round dark spot is no valley.
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
    """Return how deep the valleys of the mere texture around each px are; a few strong lines count little."""
    usual = float(np.median(valley[inside]))
    small = np.where(inside, np.minimum(valley, 4 * usual), 0).astype(np.float32)
    side = int(0.08 * width) | 1
    mean = cv2.blur(small, (side, side)) / np.maximum(cv2.blur(inside.astype(np.float32), (side, side)), 1e-3)
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
    # The lighter of a near and a far place on each side: thin lines have their shoulder near, wide ones far.
    left = np.maximum(at(soft, -3), at(soft, -6)) - floor
    right = np.maximum(at(soft, 3), at(soft, 6)) - floor
    both = np.minimum(left, right) >= np.maximum(LEAST_SIDE * np.maximum(left, right), LEAST_DEPTH)
    middle = np.zeros(clear.shape, bool)
    middle[y[both], x[both]] = True
    return middle


def _traced(middle: NDArray, clear: NDArray, width: float) -> list[NDArray]:
    """Return the valleys as paths: joined over small gaps, strong somewhere, and long enough."""
    joined = thin(cv2.dilate(middle.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined.astype(np.uint8), connectivity=8)
    strong = np.bincount(labels[joined & (clear > STRONG)], minlength=count)
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    keep = (strong >= 3) & (extent >= 0.4 * LEAST_LENGTH_SHARE * width)
    keep[0] = False
    lines = [path.points for path in paths(keep[labels], 5, 8, 50)]
    # In a rough host there may be thousands: the clearest are enough to link and to judge.
    lines = sorted((points for points in lines if len(points) >= 6), key=lambda p: -_summed(clear, p))[:MOST_LINES]
    lines = _linked(lines, GAP_SHARE * width)
    return [resample(smooth(points, 5)) for points in lines if len(points) >= LEAST_LENGTH_SHARE * width]


def _summed(values: NDArray, points: NDArray) -> float:
    at = np.rint(points).astype(np.intp)
    return float(values[at[:, 1], at[:, 0]].sum())


def _linked(lines: list[NDArray], reach_px: float) -> list[NDArray]:
    """Join lines that go on straight after a gap of at most ``reach_px``, nearest first."""
    if len(lines) < 2:
        return lines
    place = np.array([points[end] for points in lines for end in (0, -1)])
    back = np.array([points[i] for points in lines for i in (min(8, len(points) - 1), max(-9, -len(points)))])
    out = place - back
    out /= np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    to = place[None] - place[:, None]
    distance = np.hypot(to[..., 0], to[..., 1])
    ahead = np.einsum("ijk,ik->ij", to, out)
    straight = (ahead >= 0.8 * distance - 1) & (ahead.T >= 0.8 * distance - 1) & (out @ out.T < -0.6)
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


def _looks(lines: list[NDArray], lab: NDArray, lightness: NDArray, readable: NDArray, width: float) -> list[LineLook]:
    """Return what each line looks like, from profiles square to it."""
    points = np.vstack(lines)
    tangent = np.vstack([_tangents(line) for line in lines])
    reach = np.arange(-PROFILE_PX, PROFILE_PX + 1)
    map_x = (points[:, :1] - tangent[:, 1:] * reach).astype(np.float32)
    map_y = (points[:, 1:] + tangent[:, :1] * reach).astype(np.float32)
    light = _remap(lightness, map_x, map_y)
    colour = np.dstack([_remap(lab[..., k], map_x, map_y) for k in (1, 2)])
    along = _along_bands(lab, readable, points, tangent, width)
    parallel = _parallel(lines, width)
    borders = np.cumsum([len(line) for line in lines])[:-1]
    looks = []
    for line, line_light, line_colour, line_along, beside in zip(
        lines, np.split(light, borders), np.split(colour, borders), np.split(along, borders), parallel, strict=True
    ):
        depth, evenness, half_width = _profile(np.median(line_light, axis=0))
        clear_of = min(int(np.ceil(half_width)) + 1, PROFILE_PX - 3)
        middle = slice(PROFILE_PX - 1, PROFILE_PX + 2)
        sides = np.r_[PROFILE_PX - clear_of - 2 : PROFILE_PX - clear_of + 1, PROFILE_PX + clear_of : PROFILE_PX + clear_of + 3]
        # A shadow only fades the colour of what it falls on; a vein or a band has a colour of its own.
        own, beside_it = (np.median(line_colour[:, part], axis=(0, 1)) for part in (middle, sides))
        fade = np.clip(own @ beside_it / max(beside_it @ beside_it, 1e-6), 0, 1)
        depths = np.minimum(
            line_light[:, sides[:3]].max(axis=1), line_light[:, sides[3:]].max(axis=1)
        ) - line_light[:, middle].min(axis=1)
        steadiness = float(np.clip(np.percentile(cv2.blur(depths[:, None], (1, 5)), 25) / max(np.median(depths), 1e-3), 0, 1))
        noise = float(np.median(np.abs(np.diff(line_light[:, [0, 1, -2, -1]], axis=0)))) if len(line) > 2 else 0.0
        length = length_px(smooth(line, 9))
        looks.append(
            LineLook(
                depth=depth,
                clarity=depth / max(noise, LEAST_TEXTURE),
                evenness=evenness,
                tint=float(np.hypot(*(own - fade * beside_it))),
                steadiness=steadiness,
                width_px=half_width,
                length_share=length / width,
                straightness=float(np.hypot(*(line[-1] - line[0]))) / max(length, 1e-9),
                along_bands=float(line_along.mean()),
                parallel_share=beside,
            )
        )
    return looks


def _remap(values: NDArray, map_x: NDArray, map_y: NDArray) -> NDArray[np.float32]:
    """Values between px; OpenCV takes maps of fewer than 32768 rows, so long lists go in lots."""
    values = np.ascontiguousarray(values)
    lots = range(0, len(map_x), 30_000)
    return np.vstack(
        [cv2.remap(values, map_x[i : i + 30_000], map_y[i : i + 30_000], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for i in lots]
    )


def _tangents(line: NDArray) -> NDArray[np.float64]:
    soft = smooth(line, 9)
    step = np.gradient(soft, axis=0)
    return step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]


def _profile(light: NDArray) -> tuple[float, float, float]:
    """Return depth (to the less high side), less high / higher side, and width at half that depth, of a profile of L*."""
    centre = len(light) // 2
    low = centre - 2 + int(np.argmin(light[centre - 2 : centre + 3]))
    left, right = light[:low].max(), light[low + 1 :].max()
    rise = np.array([left, right]) - light[low]
    depth, higher = float(rise.min()), float(rise.max())
    if depth <= 0:
        return 0.0, 0.0, 1.0
    half = light[low] + depth / 2
    return depth, depth / higher, _crossing(light[low::-1], half) + _crossing(light[low:], half)


def _crossing(light: NDArray, level: float) -> float:
    """Distance in px at which a profile going up first passes the level."""
    above = np.flatnonzero(light >= level)
    if len(above) == 0:
        return float(len(light) - 1)
    i = int(above[0])
    return i - float((light[i] - level) / max(light[i] - light[i - 1], 1e-6)) if i else 0.0


def _along_bands(lab: NDArray, readable: NDArray, points: NDArray, tangent: NDArray, width: float) -> NDArray[np.float64]:
    """Return at each point how well the line follows the pattern around it, 0 to 1, thin lines left out of the pattern."""
    shrink = min(1.0, 160 / width)
    size = (max(int(lab.shape[1] * shrink), 8), max(int(lab.shape[0] * shrink), 8))
    small = cv2.GaussianBlur(cv2.resize(lab, size, interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    inside = cv2.resize(readable.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.99
    inside = cv2.erode(inside.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    orientation_deg, coherence = structure_tensor(small, inside, 6.0)
    x = np.clip((points[:, 0] * shrink).astype(int), 0, size[0] - 1)
    y = np.clip((points[:, 1] * shrink).astype(int), 0, size[1] - 1)
    line_deg = np.degrees(np.arctan2(-tangent[:, 1], tangent[:, 0]))
    return np.maximum(np.cos(2 * np.radians(line_deg - orientation_deg[y, x])), 0) * coherence[y, x]


def _parallel(lines: list[NDArray], width: float) -> list[float]:
    """Return the share of each line that has a line of nearly its direction beside it, within 6 % of the width."""
    every = max(sum(len(line) for line in lines) // 700, 4)
    place = [line[every // 2 :: every] for line in lines]
    heading = [_tangents(line)[every // 2 :: every] for line in lines]
    number = np.repeat(np.arange(len(lines)), [len(p) for p in place])
    at, to = np.vstack(place), np.vstack(heading)
    offset = at[None] - at[:, None]
    aside = np.abs(offset[..., 0] * to[:, None, 1] - offset[..., 1] * to[:, None, 0])
    ahead = np.abs(np.einsum("ijk,ik->ij", offset, to))
    beside = (aside > 3) & (aside < 0.06 * width) & (ahead < 2 * every) & (np.abs(to @ to.T) > np.cos(np.radians(12)))
    beside &= number[:, None] != number
    has = beside.any(axis=1)
    return [float(has[number == i].mean()) if (number == i).any() else 0.0 for i in range(len(lines))]


def crack_probability(look: LineLook) -> float:
    """Return how likely the line is a crack, 0 to 1: a logistic sum with weights set by hand on lines seen.

    Cracks are deep and clear for their width, as dark on both sides, less coloured than what they cross, long, and go
    their own way: neither along the bands, nor ruled straight, nor in parallel sets.
    """
    logit = (
        -3.2
        + 0.3 * np.log(max(look.clarity, 0.1) / 3)
        + 2.2 * np.log(max(look.depth, 0.5) / 5)
        - 0.3 * min(look.tint, 20.0)
        + 1.5 * np.log(look.length_share / 0.1)
        - 0.4 * max(look.width_px - 5, 0)
        - 0.4 * look.along_bands
        - 2.8 * look.parallel_share
        + 2.0 * (look.straightness - 0.8)
        + 1.8 * (look.steadiness - 0.6)
    )
    return float(1 / (1 + np.exp(-logit)))
