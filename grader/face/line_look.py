"""What a line looks like, and how likely that look is a crack's."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.skeleton import length_px, smooth
from grader.face.structure import structure_tensor

#: How far to both sides of a line its profile is taken.
PROFILE_PX = 10
#: Below this wander_share a line begins to look ruled: print, pencil, a shadow's edge.
RULED_SHARE = 0.005
#: Texture in L* below which no face is taken to be smoother: about the noise of a phone photo.
LEAST_TEXTURE = 0.35


@dataclass(frozen=True)
class LineLook:
    """What tells a crack from other lines.

    depth : L* below the darker of its two sides.   clarity : depth over the texture around.
    tint : CIE76 distance in a*, b* from the nearest colour between that of its sides and grey.
    steadiness : lower quartile of the depth along the line over its median, at most 1.
    width_px : at half depth.   length_share : of the face's width.
    straightness : chord / length.   along_bands : 0 to 1, how well it follows the pattern around.
    parallel_share : of its length that has a line of nearly its direction beside it.
    crowding : length of other lines around, per radius of 12 % of the width.
    wander_share : rms distance from its straight fit / length; 0 where it is ruled.
    """

    depth: float
    clarity: float
    tint: float
    steadiness: float
    width_px: float
    length_share: float
    straightness: float
    along_bands: float
    parallel_share: float
    crowding: float
    wander_share: float


def crack_probability(look: LineLook) -> float:
    """Return how likely the line is a crack, 0 to 1.

    Cracks are deep and clear, only fade the colour that they cross, are long and steady, and go
    their own way: neither along the bands, nor in parallel sets, nor in a crowd, nor ruled. The
    weights were found on rendered faces with drawn cracks, rounded, and looked at on photographs
    of cracked walls.
    """
    logit = (
        -2.9
        + 0.3 * np.log(max(look.clarity, 0.1) / 3)
        + 2.4 * np.log(max(look.depth, 0.5) / 5)
        - 0.6 * min(look.tint, 8.0)
        + 1.6 * np.log(look.length_share / 0.1)
        - 0.5 * max(look.width_px - 5, 0)
        - 1.0 * look.along_bands
        - 2.2 * look.parallel_share
        - 0.7 * np.log1p(look.crowding)
        + 2.5 * (look.straightness - 0.8)
        + 1.7 * (look.steadiness - 0.6)
        - 1.2 * max(1 - look.wander_share / RULED_SHARE, 0)
    )
    return float(1 / (1 + np.exp(-logit)))


def line_looks(
    lines: list[NDArray],
    lab: NDArray,
    lightness: NDArray,
    readable: NDArray,
    width: float,
) -> list[LineLook]:
    """Return what each line looks like, from profiles square to it."""
    points = np.vstack(lines)
    tangent = np.vstack([_tangents(line) for line in lines])
    reach = np.arange(-PROFILE_PX, PROFILE_PX + 1)
    map_x = (points[:, :1] - tangent[:, 1:] * reach).astype(np.float32)
    map_y = (points[:, 1:] + tangent[:, :1] * reach).astype(np.float32)
    light = _remap(lightness, map_x, map_y)
    colour = np.dstack([_remap(lab[..., k], map_x, map_y) for k in (1, 2)])
    along = _along_bands(lab, readable, points, tangent, width)
    borders = np.cumsum([len(line) for line in lines])[:-1]
    per_line = [np.split(values, borders) for values in (light, colour, along)]
    return [
        _look(line, line_light, line_colour, line_along, beside, width)
        for line, line_light, line_colour, line_along, beside in zip(
            lines, *per_line, zip(*_company(lines, width), strict=True), strict=True
        )
    ]


def _look(line, light, colour, along, company, width: float) -> LineLook:
    """Return the look of one line of n points: ``light`` (n, across), ``colour`` (n, across, 2)."""
    depth, width_px = _profile(np.median(light, axis=0))
    clear_of = min(int(np.ceil(width_px)) + 1, PROFILE_PX - 3)
    middle = slice(PROFILE_PX - 1, PROFILE_PX + 2)
    left = slice(PROFILE_PX - clear_of - 2, PROFILE_PX - clear_of + 1)
    right = slice(PROFILE_PX + clear_of, PROFILE_PX + clear_of + 3)
    depths = np.minimum(light[:, left].max(axis=1), light[:, right].max(axis=1))
    depths -= light[:, middle].min(axis=1)
    lower_quartile = np.percentile(cv2.blur(depths[:, None], (1, 5)), 25)
    texture = float(np.median(np.abs(np.diff(light[:, [0, 1, -2, -1]], axis=0))))
    length = length_px(smooth(line, 9))
    sides = np.r_[left, right]
    return LineLook(
        depth=depth,
        clarity=depth / max(texture, LEAST_TEXTURE),
        tint=_tint(colour[:, middle], colour[:, sides]),
        steadiness=float(np.clip(lower_quartile / max(float(np.median(depths)), 1e-3), 0, 1)),
        width_px=width_px,
        length_share=length / width,
        straightness=float(np.hypot(*(line[-1] - line[0]))) / max(length, 1e-9),
        along_bands=float(along.mean()),
        parallel_share=float(company[0]),
        crowding=float(company[1]),
        wander_share=_wander_px(line) / max(length, 1e-9),
    )


def _wander_px(line: NDArray) -> float:
    """Return the rms distance of the points from the straight line that fits them best."""
    return float(np.linalg.svd(line - line.mean(axis=0), compute_uv=False)[-1] / np.sqrt(len(line)))


def _tint(own: NDArray, sides: NDArray) -> float:
    """Return how far the line's a*, b* lie from those of its sides faded towards grey.

    A shadow only fades what it falls on; a vein or a band has a colour of its own.
    """
    own, sides = np.median(own, axis=(0, 1)), np.median(sides, axis=(0, 1))
    fade = np.clip(own @ sides / max(float(sides @ sides), 1e-6), 0, 1)
    return float(np.hypot(*(own - fade * sides)))


def _remap(values: NDArray, map_x: NDArray, map_y: NDArray) -> NDArray[np.float32]:
    """Values between px; OpenCV takes maps of fewer than 32768 rows, so long lists go in lots."""
    values = np.ascontiguousarray(values)
    lots = range(0, len(map_x), 30_000)
    return np.vstack(
        [
            cv2.remap(
                values,
                map_x[i : i + 30_000],
                map_y[i : i + 30_000],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            for i in lots
        ]
    )


def _tangents(line: NDArray) -> NDArray[np.float64]:
    soft = smooth(line, 9)
    step = np.gradient(soft, axis=0)
    return step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]


def _profile(light: NDArray) -> tuple[float, float]:
    """Return depth (to the less high side) and width at half of it, of a profile of L*."""
    centre = len(light) // 2
    low = centre - 2 + int(np.argmin(light[centre - 2 : centre + 3]))
    depth = float(min(light[:low].max(), light[low + 1 :].max()) - light[low])
    if depth <= 0:
        return 0.0, 1.0
    half = light[low] + depth / 2
    return depth, _crossing(light[low::-1], half) + _crossing(light[low:], half)


def _crossing(light: NDArray, level: float) -> float:
    """Distance in px at which a profile going up first passes the level."""
    above = np.flatnonzero(light >= level)
    if len(above) == 0:
        return float(len(light) - 1)
    i = int(above[0])
    return i - float((light[i] - level) / max(light[i] - light[i - 1], 1e-6)) if i else 0.0


def _along_bands(
    lab: NDArray, readable: NDArray, points: NDArray, tangent: NDArray, width: float
) -> NDArray[np.float64]:
    """Return at each point how well the line follows the pattern around it, 0 to 1, thin lines left
    out of the pattern.
    """
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


def _company(lines: list[NDArray], width: float) -> tuple[NDArray, NDArray]:
    """Return by line the share with a like line beside it, and the other lines around it.

    Beside is within 6 % of the width and 12 degrees; around is within 12 % of the width, as length
    per such a radius.
    """
    every = max(sum(len(line) for line in lines) // 700, 4)
    place = [line[every // 2 :: every] for line in lines]
    heading = [_tangents(line)[every // 2 :: every] for line in lines]
    number = np.repeat(np.arange(len(lines)), [len(p) for p in place])
    at, to = np.vstack(place), np.vstack(heading)
    offset = at[None] - at[:, None]
    aside = np.abs(offset[..., 0] * to[:, None, 1] - offset[..., 1] * to[:, None, 0])
    ahead = np.abs(np.einsum("ijk,ik->ij", offset, to))
    beside = (
        (aside > 3)
        & (aside < 0.06 * width)
        & (ahead < 2 * every)
        & (np.abs(to @ to.T) > np.cos(np.radians(12)))
    )
    beside &= number[:, None] != number
    near = (np.hypot(offset[..., 0], offset[..., 1]) < 0.12 * width) & (number[:, None] != number)
    around = near.sum(axis=1) * every / (0.12 * width)
    count = np.bincount(number, minlength=len(lines))
    shares = [
        np.bincount(number, values, len(lines)) / np.maximum(count, 1)
        for values in (beside.any(axis=1), around)
    ]
    return shares[0], shares[1]
