"""What speaks for a line being a crack, a pattern line or none at all, read along its whole length."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.structure import direction, tensor
from grader.face.lines.polyline import across, at_px, length_px, smooth, tangents
from grader.measures import UNREADABLE

#: A profile across a line reaches so far to both sides, in working px.
REACH_PX = 12
#: Its sides are read from and to so many px; of a wide line farther out.
SIDES_PX = ((4, 7), (8, 11))
#: An eye sees a line that differs from both sides by this much L*: our setting, common practice, no source.
SEEN_L = 3.0
#: Profiles are averaged along the line over so many points.
WINDOW_PX = 11
#: The direction of bands is taken from a picture blurred by this sigma, in working px.
BANDS_SIGMA_PX = 6.0
#: A line runs along the rim of the face where it lies within this share of its width,
RIM_SHARE = 0.07
#: or so many px,
RIM_PX = 9
#: and the way to the rim changes across it by this share of the way across (cosine of about 25 degrees).
ALONG_RIM = 0.9
#: Another line runs beside this one from so many px on to so many.
BESIDE_PX = (5, 22)
#: Chances are kept off 0 and 1 by this before they become log-odds.
LEAST_CHANCE = 0.005

#: What is read of a line, in order; the functions ``_by_...`` say what each means.
NAMES = (
    "crack", "pattern", "border", "stray", "least_line", "crack_share", "crack_spread", "coarse_crack",
    "coarse_pattern", "dark", "pale", "contrast", "seen", "one_sided", "tint_change", "straightness", "wobble",
    "length", "along_bands", "on_border", "by_glare", "ends_at_rim", "along_rim", "beside", "crowd",
)  # fmt: skip


@dataclass(frozen=True)
class FaceSurround:
    """What lines are held against: one face, ready to be read.

    chances : (h, w, 5), of the network.   coarse : the same at half the size.
    lab : (h, w, 3).   bands : xx, yy and xy of the structure tensor, (h, w) each.
    border, glare : (h, w) bool, within 2 px of where two classes meet, within 4 px of glare.
    to_rim : (h, w), px.   width : of the face, px.
    """

    chances: NDArray[np.float32]
    coarse: NDArray[np.float32]
    lab: NDArray[np.float32]
    bands: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]
    border: NDArray[np.bool_]
    glare: NDArray[np.bool_]
    to_rim: NDArray[np.float32]
    width: float


def face_surround(
    lab: NDArray[np.float32],
    mask: NDArray[np.bool_],
    codes: NDArray[np.uint8],
    chances: NDArray[np.float32],
    coarse: NDArray[np.float32],
) -> FaceSurround:
    """Return what the lines of a face are held against.

    Parameters
    ----------
    lab : (h, w, 3) CIELAB.   mask : (h, w), the face.   codes : (h, w), its regions.
    chances, coarse : (h, w, 5), the network's, at full and at half the size.
    """
    lightness = np.ascontiguousarray(lab[..., 0])
    named = [
        cv2.dilate((codes == k).view(np.uint8), np.ones((5, 5), np.uint8))
        for k in np.unique(codes)
        if k not in (0, UNREADABLE)
    ]
    border = sum(named, np.zeros(mask.shape, np.uint8)) >= 2
    return FaceSurround(
        chances=chances,
        coarse=coarse,
        lab=np.ascontiguousarray(lab),
        bands=tensor(lightness, mask, BANDS_SIGMA_PX),
        border=border,
        glare=cv2.dilate((codes == UNREADABLE).view(np.uint8), np.ones((9, 9), np.uint8)) > 0,
        to_rim=cv2.distanceTransform(np.pad(mask.view(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1],
        width=2 * float(np.sqrt(mask.sum() / np.pi)),
    )


def evidence(lines: list[NDArray], face: FaceSurround) -> NDArray[np.float64]:
    """Return what is read of each line, (n, len(NAMES)); lines are points (m, 2) one px apart, from px centres."""
    numbers = np.zeros(face.to_rim.shape, np.int32)
    for k, points in enumerate(lines):
        cv2.polylines(numbers, [np.rint(points).astype(np.int32)], False, k + 1)
    crowd = sum(length_px(points) for points in lines) / max(face.width, 1.0)
    rows = [
        _row(k, points, read, face, numbers)
        for k, (points, read) in enumerate(zip(lines, _read(lines, face), strict=True))
    ]
    table = np.array(rows, float).reshape(-1, len(NAMES) - 1)
    return np.column_stack([table, np.full(len(lines), np.log1p(crowd))])


@dataclass(frozen=True)
class _Read:
    """What is read at the m points of a line.

    chances : (m, 5), of the network, the greatest of 3 x 3 px.   coarse : at half the size, of 5 x 5 px.
    along : (m, 2), unit vector along the bands.   coherence : (m,), 0 to 1.
    """

    chances: NDArray[np.float32]
    coarse: NDArray[np.float32]
    along: NDArray[np.float32]
    coherence: NDArray[np.float64]


def _read(lines: list[NDArray], face: FaceSurround) -> list[_Read]:
    """What is read along each line: of all points at once, for a face has few of them beside its px."""
    if not lines:
        return []
    points = np.concatenate(lines)
    orientation_deg, coherence = direction(*(at_px(field, *points.T) for field in face.bands))
    angle = np.radians(orientation_deg)
    along = np.column_stack([np.cos(angle), -np.sin(angle)]).astype(np.float32)
    columns = (
        _greatest_around(face.chances, points, 1), _greatest_around(face.coarse, points, 2),
        along, coherence,
    )  # fmt: skip
    ends = np.cumsum([len(line) for line in lines])[:-1]
    return [_Read(*of_line) for of_line in zip(*(np.split(c, ends) for c in columns), strict=True)]


def _greatest_around(values: NDArray, points: NDArray, reach: int) -> NDArray[np.float32]:
    """The greatest values, (m, n), of an array (h, w, n) within so many px of points (m, 2), channel by channel."""
    h, w, channels = values.shape
    x, y = np.rint(points).astype(int).T
    # Beyond the edge the edge is read again, which lies within reach too.
    rows, columns = (
        (at + np.arange(-reach, reach + 1)[:, None]).clip(0, side - 1)
        for at, side in ((y.clip(0, h - 1), h), (x.clip(0, w - 1), w))
    )
    places = (rows[:, None] * w + columns).reshape(-1, len(points))
    greatest = np.empty((len(points), channels), np.float32)
    for channel in range(channels):
        np.max(values[..., channel].ravel()[places], axis=0, out=greatest[:, channel])
    return greatest


def _row(
    k: int, points: NDArray, read: _Read, face: FaceSurround, numbers: NDArray[np.int32]
) -> tuple[float, ...]:
    line = smooth(points, 9)
    along = tangents(line)
    return (
        *_by_network(read),
        *_by_profile(points, along, face),
        *_by_course(points, line, face),
        *_by_bands(points, along, read, face),
        *_by_others(k, points, along, face, numbers),
    )


def _by_network(read: _Read) -> tuple[float, ...]:
    """Log-odds of its mean chances, of the weakest quarter, its share of crack, how that spreads; at half the size."""
    told, coarse = read.chances, read.coarse
    _, crack, pattern, border, stray = told.mean(0)
    line = told[:, 1] + told[:, 2]
    share = told[:, 1] / np.maximum(line, 1e-3)
    return (
        _odds(crack), _odds(pattern), _odds(border), _odds(stray), _odds(np.quantile(line, 0.25)),
        _odds(crack / max(crack + pattern, 1e-3)), float(share.std()),
        _odds(coarse[:, 1].mean()), _odds(coarse[:, 2].mean()),
    )  # fmt: skip


def _by_profile(points: NDArray, along: NDArray, face: FaceSurround) -> tuple[float, ...]:
    """How dark, how pale, how it stands out, on what share an eye sees it, how one-sided, its change of colour."""
    out = np.arange(-REACH_PX, REACH_PX + 1)
    # OpenCV takes maps of fewer than 32768 rows.
    every = slice(None, None, 1 + len(points) // 30_000)
    x, y = (v.astype(np.float32) for v in across(points[every], along[every], out))
    lab = cv2.remap(face.lab, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab = cv2.blur(lab, (1, min(WINDOW_PX, len(lab))), borderType=cv2.BORDER_REPLICATE)
    light, middle = lab[..., 0], REACH_PX
    core = light[:, middle - 2 : middle + 3]
    # A wide line fills the nearer sides: then the farther ones tell.
    sides = [_sides(light, near, far) for near, far in SIDES_PX]
    valley, ridge = np.max([_stand_out(core, *side) for side in sides], axis=0)
    step = np.abs(sides[0][0] - sides[0][1])
    depth = np.maximum(valley, ridge)
    near, far = SIDES_PX[0]
    apart = np.r_[middle - far : middle - near + 1, middle + near : middle + far + 1]
    change = lab[:, middle - 1 : middle + 2, 1:].mean((0, 1)) - lab[:, apart, 1:].mean((0, 1))
    return (
        float(np.clip(valley, -10, 60).mean()), float(np.clip(ridge, -10, 60).mean()),
        float(np.median(depth)), float((depth >= SEEN_L).mean()),
        float((step / (step + np.maximum(depth, 0) + 1)).mean()), float(np.hypot(*change)),
    )  # fmt: skip


def _sides(light: NDArray, near: int, far: int) -> tuple[NDArray, NDArray]:
    """L* on both sides of each place, mean from ``near`` to ``far`` px out, (m,) each."""
    left, right = REACH_PX - far, REACH_PX + near
    span = far - near + 1
    return light[:, left : left + span].mean(1), light[:, right : right + span].mean(1)


def _stand_out(core: NDArray, left: NDArray, right: NDArray) -> tuple[NDArray, NDArray]:
    """By how much L* the line is darker, and paler, than its less different side at each place."""
    return np.minimum(left, right) - core.min(1), core.max(1) - np.maximum(left, right)


def _by_course(points: NDArray, line: NDArray, face: FaceSurround) -> tuple[float, ...]:
    """How straight it runs, how much its heading wobbles from place to place, and its length in face widths."""
    length = max(length_px(line), 1.0)
    chord = float(np.hypot(*(line[-1] - line[0])))
    step = 6
    heading = (
        np.unwrap(np.arctan2(*np.diff(line[::step], axis=0).T[::-1]))
        if len(line) > 2 * step
        else np.zeros(1)
    )
    bends = np.diff(heading)
    wobble = float(np.std(bends - bends.mean())) if len(bends) > 2 else 0.15
    return chord / length, wobble, float(np.log(length / max(face.width, 1.0)))


def _by_bands(
    points: NDArray, along: NDArray, read: _Read, face: FaceSurround
) -> tuple[float, ...]:
    """Whether it follows the bands (1) or crosses them (-1), and how much of it lies on a border and beside glare."""
    agree = 2 * (read.along * along).sum(1) ** 2 - 1
    on_border = float(at_px(face.border, *points.T).mean())
    follows = float((agree * read.coherence).sum() / max(float(read.coherence.sum()), 1e-3))
    by_glare = float(at_px(face.glare, *points.T).mean())
    return follows, on_border, by_glare


def _by_others(
    k: int, points: NDArray, along: NDArray, face: FaceSurround, numbers: NDArray
) -> tuple[float, ...]:
    """Ends at the rim, and how much of it runs along the rim and has another line beside it."""
    x, y = across(points, along, np.array([-2, 2]))
    to_rim = at_px(face.to_rim, *points.T)
    # Along the rim one side lies nearer to it by the whole distance between them.
    level = np.abs(np.diff(at_px(face.to_rim, x, y), axis=1)[:, 0]) >= ALONG_RIM * 4
    along_rim = float((level & (to_rim <= max(RIM_SHARE * face.width, RIM_PX))).mean())
    at_rim = at_px(face.to_rim, *points[[0, -1]].T) <= max(0.05 * face.width, 8)
    low, high = BESIDE_PX
    out = np.concatenate([-np.arange(low, high), np.arange(low, high)])
    there = at_px(numbers, *across(points, along, out))
    beside = float(((there > 0) & (there != k + 1)).any(1).mean())
    return float(at_rim.sum()), along_rim, beside


def _odds(chance: float) -> float:
    kept = min(max(float(chance), LEAST_CHANCE), 1 - LEAST_CHANCE)
    return float(np.log(kept / (1 - kept)))
