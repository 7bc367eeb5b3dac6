"""How much of a landscape the face holds: part scores within the best upright frame, and their
weighted sum.

The start targets are those of cutters' practice and of studies of landscape photographs; all
weights are settings.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands import reading_lab
from grader.face.face import Face
from grader.face.measurements import Banding, Line, Regions, Scene
from grader.measures import UNREADABLE
from grader.photo.colour import delta_e_2000
from grader.profile import SCENE_PARTS, Profile

#: The frame is looked for on a map of this size, at these turns, and at these shares of the largest
#: oval that fits.
MAP_PX = 80
TURNS_DEG = (0, -15, 15)
SIZES = (1.0, 0.8, 0.64)
#: A template's long side over its short side.
FRAME_RATIO = 4 / 3
#: Tilts at which a horizon still counts as level.
TILTS_DEG = (-10, -5, 0, 5, 10)
#: In the order in which they lie in a landscape, from above.
ORDER = ("sky", "water", "shore")
SKY, WATER, SHORE = 1, 2, 3
#: A line in the middle of the frame holds the score down to this, however good the rest is.
CAP = 55.0


@dataclass(frozen=True)
class _Frame:
    """An oval of half axes ``half`` (x, y) around ``centre`` (x, y) in a map turned by ``turn`` (2,
    3).
    """

    codes: NDArray
    centre: tuple[float, float]
    half: tuple[float, float]
    turn: NDArray


def scene_score(parts: dict[str, float | None], weights: dict[str, float]) -> float:
    """Return the weighted mean of the part scores (0 to 1) as 0 to 100; parts that are ``None`` are
    left out.

    A line through the middle caps the score: the ``focal`` part, where it has a weight, is also a
    limit.
    """
    known = {
        part: value
        for part, value in parts.items()
        if value is not None and weights.get(part, 0) > 0
    }
    total = sum(weights[part] for part in known)
    if total == 0:
        return 0.0
    score = 100 * sum(weights[part] * value for part, value in known.items()) / total
    return min(score, CAP + (100 - CAP) * known.get("focal", 1.0))


def measure_scene(
    face: Face, regions: Regions, lines: tuple[Line, ...], banding: Banding, profile: Profile
) -> Scene:
    """Return the part scores of the frame that makes the best landscape of the face as it lies in
    the photo.

    Sky (or foam) is looked for above water above shore, so an upside-down face scores less. The
    frame is chosen without regard to the lines: a line more can only lower the score.
    """
    readings, scale, corner = _readings(regions.codes, face.mask, profile)
    if not (readings % UNREADABLE).any():
        return Scene(dict.fromkeys(SCENE_PARTS))
    contrasts = _contrasts(regions, profile)
    best, best_parts, best_score = None, {}, -1.0
    for frame in _frames(readings):
        if not frame.codes.any():
            continue
        parts = _parts(frame.codes, contrasts)
        parts["continuity"] = _ramp(banding.continuity, (0.0, 0.7), (0.0, 1.0))
        score = scene_score(parts, profile.scene_weights)
        if score > best_score:
            best, best_parts, best_score = frame, parts, score
    best_parts["focal"] = _focal(best, lines, scale, corner)
    return Scene({part: best_parts[part] for part in SCENE_PARTS})


def _ramp(value: float | None, at: tuple[float, ...], to: tuple[float, ...]) -> float | None:
    return None if value is None else float(np.interp(value, at, to))


def _readings(
    codes: NDArray, mask: NDArray, profile: Profile
) -> tuple[NDArray[np.uint8], float, NDArray]:
    """Return the small map of SKY, WATER, SHORE (0 outside or unread), its scale and the px at its
    corner.
    """
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    if w == 0:
        return np.zeros((1, 1), np.uint8), 1.0, np.zeros(2)
    # Every few px are enough here, and the rest is averaged.
    every = max(int(max(w, h) / (4 * MAP_PX)), 1)
    codes, mask = (
        codes[y : y + h : every, x : x + w : every],
        mask[y : y + h : every, x : x + w : every],
    )
    scale = MAP_PX / max(w, h)
    size = (max(round(w * scale), 1), max(round(h * scale), 1))
    plane_of = np.full(256, 3, np.uint8)
    for code, colour in enumerate(profile.colours, start=1):
        if colour.reads_as in ORDER:
            plane_of[code] = ORDER.index(colour.reads_as)
    which = plane_of[codes]
    planes = np.dstack([((which == plane) & mask).astype(np.float32) for plane in range(4)])
    planes = cv2.resize(planes, size, interpolation=cv2.INTER_AREA)
    small = np.where(planes.sum(axis=2) > 0.5, planes.argmax(axis=2) + 1, 0)
    return np.where(small == 4, UNREADABLE, small).astype(np.uint8), scale, np.array([x, y], float)


def _frames(readings: NDArray):
    """Yield the whole face, then ovals of a few sizes and places at each turn."""
    h, w = readings.shape
    yield _Frame(readings % UNREADABLE, ((w - 1) / 2, (h - 1) / 2), (w / 2, h / 2), np.eye(2, 3))
    side = int(np.ceil(np.hypot(h, w))) + 4
    for degrees in TURNS_DEG:
        turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
        turn[:, 2] += (side - w) / 2, (side - h) / 2
        turned = cv2.warpAffine(readings, turn, (side, side), flags=cv2.INTER_NEAREST)
        yield from _ovals(turned, turn)


def _ovals(turned: NDArray, turn: NDArray):
    side = turned.shape[0]
    # Stretched by the frame's ratio an oval is a circle: the distance to the rim is the half length
    # that fits.
    stretched = cv2.resize(
        (turned > 0).astype(np.uint8),
        (side, round(side * FRAME_RATIO)),
        interpolation=cv2.INTER_NEAREST,
    )
    fits = cv2.distanceTransform(stretched, cv2.DIST_L2, 5)
    largest = float(fits.max())
    for size in SIZES:
        half = (size * largest, size * largest / FRAME_RATIO)
        if half[1] < 4:
            continue
        step = max(int(0.6 * half[1]), 2)
        places = np.argwhere(fits[::step, ::step] >= 0.97 * half[0]) * step
        if size == 1.0:
            places = np.array([np.unravel_index(fits.argmax(), fits.shape)])
        for row, x in places:
            y = row / FRAME_RATIO
            yield _Frame(_within(turned, x, y, half), (float(x), float(y)), half, turn)


def _within(turned: NDArray, x: float, y: float, half: tuple[float, float]) -> NDArray[np.uint8]:
    """Cut the oval out of the map; what is outside it or unread is 0."""
    left, right = max(round(x - half[0]), 0), round(x + half[0]) + 1
    top, bottom = max(round(y - half[1]), 0), round(y + half[1]) + 1
    cut = turned[top:bottom, left:right]
    rows, cols = np.arange(top, top + cut.shape[0])[:, None], np.arange(left, left + cut.shape[1])
    oval = ((cols - x) / half[0]) ** 2 + ((rows - y) / half[1]) ** 2 <= 1
    return np.where(oval, cut % UNREADABLE, 0)


def _parts(codes: NDArray, contrasts: dict[tuple[int, int], float]) -> dict[str, float | None]:
    """Return the part scores of one frame, but continuity and focal."""
    counts = np.array([np.count_nonzero(codes == reading) for reading in (SKY, WATER, SHORE)])
    area = int(counts.sum())
    border = _Border.of(codes)
    length, height = _horizon(border, codes)
    return {
        "horizon": float(np.interp(length, (0.15, 0.6), (0, 1))),
        "height": _height(height) * float(np.interp(length, (0.15, 0.4), (0, 1))),
        "zones": _zones(codes, area),
        "water": float(np.interp(counts[1] / area, (0, 0.125), (0, 1))),
        "contrast": _contrast(border, codes.shape[1], contrasts),
        "balance": _balance(codes) if length > 0.15 else None,
        "islands": _islands(codes, area) if counts[1] >= 0.05 * area else None,
    }


@dataclass(frozen=True)
class _Border:
    """Px x, y below which one zone follows another, and the two: both keep on for a while, else it
    is only a speck.
    """

    x: NDArray
    y: NDArray
    above: NDArray
    below: NDArray

    @classmethod
    def of(cls, codes: NDArray) -> "_Border":
        rows = codes.shape[0]
        reach = max(int(0.08 * rows), 4)
        y, x = np.nonzero((codes[:-1] != codes[1:]) & (codes[:-1] > 0) & (codes[1:] > 0))
        away = np.arange(1, reach + 1)[:, None]
        above, below = codes[y, x], codes[y + 1, x]
        same_above = (codes[np.maximum(y - away, 0), x] == above).mean(axis=0)
        same_below = (codes[np.minimum(y + 1 + away, rows - 1), x] == below).mean(axis=0)
        lasts = (same_above >= 0.75) & (same_below >= 0.75)
        return cls(x[lasts], y[lasts], above[lasts], below[lasts])


def _horizon(border: _Border, codes: NDArray) -> tuple[float, float]:
    """Return the longest near-level border (share of the frame's width there) and its height (0
    top, 1 bottom).

    Where the zones lie in landscape order it counts in full, upside down one half.
    """
    best, place = 0.0, 0.5
    rows, cols = codes.shape
    width = np.maximum((codes > 0).sum(axis=1), 0.35 * cols)
    gap = max(int(0.06 * cols), 1)
    for upright, worth in ((border.above < border.below, 1.0), (border.above > border.below, 0.5)):
        x, y = border.x[upright], border.y[upright]
        for tilt in TILTS_DEG:
            level = np.rint(y + np.tan(np.radians(tilt)) * (x - cols / 2)).astype(int)
            ok = (level >= 0) & (level < rows)
            grid = np.zeros((rows + 2, cols), bool)
            for shift in (0, 1, 2):
                grid[level[ok] + shift, x[ok]] = True
            filled = grid[1:-1].sum(axis=1) / width
            k = int(filled.argmax())
            if worth * filled[k] <= best:
                continue
            share = worth * _unbroken(np.flatnonzero(grid[k + 1]), gap) / width[k]
            if share > best:
                best, place = float(share), (k + 1) / rows
    return min(best, 1.0), place


def _unbroken(columns: NDArray, gap: int) -> int:
    """Return the most columns in a row, gaps of up to ``gap`` allowed but not counted."""
    if len(columns) == 0:
        return 0
    return max(
        len(run) for run in np.split(columns, np.flatnonzero(np.diff(columns) > gap + 1) + 1)
    )


def _height(place: float) -> float:
    """Full between a quarter and three quarters, best near the thirds, little above 15 or below 85
    %.
    """
    from_middle = abs(place - 0.5)
    near_third = abs(from_middle - 1 / 6)
    return float(np.interp(from_middle, (0.25, 0.35, 0.45), (1, 0.4, 0.1))) * (
        1.0 if near_third < 0.09 else 0.9
    )


def _zones(codes: NDArray, area: int) -> float:
    """Return how many zones lie above each other in landscape order: three 1, two 0.6, one or none
    0.
    """
    per_row = np.stack([(codes == reading).sum(axis=1) for reading in (SKY, WATER, SHORE)], axis=1)
    filled = per_row.sum(axis=1)
    ruling = np.where(
        per_row.max(axis=1) >= 0.6 * np.maximum(filled, 1), per_row.argmax(axis=1) + 1, 0
    )
    ruling = np.where(filled > 0, ruling, 0)
    starts = np.flatnonzero(np.diff(ruling, prepend=-1))
    runs = [
        (int(ruling[a]), int(filled[a:b].sum()))
        for a, b in zip(starts, [*starts[1:], len(ruling)], strict=True)
    ]
    sizes: dict[tuple[int, ...], int] = {(): 0}
    longest = 0
    for reading, size in runs:
        if reading and size >= 0.08 * area:
            for chain in list(sizes):
                if not chain or chain[-1] < reading:
                    sizes[(*chain, reading)] = max(sizes.get((*chain, reading), 0), size)
    share = [np.count_nonzero(codes == reading) / area for reading in (SKY, WATER, SHORE)]
    for chain in sizes:
        if all(share[reading - 1] >= 0.1 for reading in chain):
            longest = max(longest, len(chain))
    return {2: 0.6, 3: 1.0}.get(longest, 0.0)


def _contrasts(regions: Regions, profile: Profile) -> dict[tuple[int, int], float]:
    """CIEDE2000 between the usual colours of sky, water and shore, by pair of readings."""
    colours = {
        reading: reading_lab(regions, profile, name) for reading, name in enumerate(ORDER, start=1)
    }
    seen = [reading for reading, lab in colours.items() if lab is not None]
    return {
        (a, b): float(delta_e_2000(colours[a], colours[b])) for a in seen for b in seen if a < b
    }


def _contrast(border: _Border, cols: int, contrasts: dict[tuple[int, int], float]) -> float:
    """Score the colour difference of the zones with the longest border: from 10 seen, from 20
    strong, 40 is full.
    """
    pairs = np.bincount(
        np.minimum(border.above, border.below) * 4 + np.maximum(border.above, border.below)
    )
    if len(pairs) == 0 or pairs.max() < 0.15 * cols:
        return 0.0
    return float(
        np.interp(
            contrasts.get(divmod(int(pairs.argmax()), 4), 0), (0, 10, 20, 40), (0, 0.4, 0.8, 1)
        )
    )


def _balance(codes: NDArray) -> float:
    """Full where no zone lies to one side: the zones' centres within 15 % of the width from the
    middle.
    """
    x = np.arange(codes.shape[1])
    middle = float(((codes > 0).sum(axis=0) * x).sum() / np.count_nonzero(codes))
    offset = 0.0
    for reading in (SKY, WATER, SHORE):
        columns = (codes == reading).sum(axis=0)
        size = columns.sum()
        if size:
            share = size / np.count_nonzero(codes)
            offset += share * abs(float((columns * x).sum() / size) - middle)
    return float(np.interp(offset / codes.shape[1], (0.15, 0.35), (1, 0)))


def _islands(codes: NDArray, area: int) -> float:
    """Host patches of 0.2 to 5 % in the water: one to three are a bonus, more than eight are
    clutter.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (codes == SHORE).astype(np.uint8), connectivity=8
    )
    islands = 0
    for patch in range(1, count):
        if not 0.002 * area <= stats[patch, cv2.CC_STAT_AREA] <= 0.05 * area:
            continue
        left, top, w, h = stats[patch, :4]
        rows, cols = slice(max(top - 1, 0), top + h + 1), slice(max(left - 1, 0), left + w + 1)
        here = (labels[rows, cols] == patch).astype(np.uint8)
        around = codes[rows, cols][(cv2.dilate(here, np.ones((3, 3), np.uint8)) > 0) & (here == 0)]
        islands += np.count_nonzero(around == WATER) >= 0.7 * max(around.size, 1)
    return float(np.interp(islands, (0, 1, 3, 8, 9), (0.4, 1, 1, 0.4, 0)))


def _focal(frame: _Frame, lines: tuple[Line, ...], scale: float, corner: NDArray) -> float:
    """1 without a crack in the middle 60 % of the frame, falling with the length there; uncertain
    lines count half.
    """
    length = 0.0
    for line in lines:
        weight = {"crack": 1.0, "uncertain": 0.5}.get(line.kind, 0.0)
        if weight and len(line.points) > 1:
            # Lines are measured from the corner of a px, the map and its frame from the centre.
            points = (line.points - corner) * scale - 0.5
            points = points @ frame.turn[:, :2].T + frame.turn[:, 2]
            steps = np.diff(points, axis=0)
            # A short step of a map px each, so that long straight lines are cut at the oval.
            for start, step in zip(points[:-1], steps, strict=True):
                n = max(int(np.ceil(np.hypot(*step))), 1)
                at = start + (np.arange(n)[:, None] + 0.5) / n * step
                inside = (((at - frame.centre) / frame.half / 0.6) ** 2).sum(axis=1) <= 1
                length += weight * float(np.hypot(*step)) * inside.mean()
    return float(np.interp(length / (2 * frame.half[0]), (0, 0.05, 0.4), (1, 0.6, 0)))
