"""What the face has room for: templates with no line seen in them that show pattern, or hold strong colour.

Averages of a face say little: a good half beside host is worth its own. So a round as wide as the smallest oval is high
is laid everywhere, and what it shows is read there.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.lines.polyline import resample
from grader.face.measurements import Line, Regions, Room
from grader.face.regions.regions import reading_lab
from grader.measures import UNREADABLE
from grader.photo.colour import delta_e_2000
from grader.profile import Profile

#: Longer side of the grid on which rounds are laid.
GRID_PX = 200
#: Width of the round without a scale, of the side of a square as large as the face.
ROUND_SHARE = 0.2
#: A line counts from this chance to part the stone.
DOUBTFUL = 0.25
#: A round shows pattern where host and glare take no more of it, and each of two zones at least so much.
MOST_ELSE, LEAST_ZONE = 0.5, 0.1
#: A round holds colour where blue takes so much.
LEAST_BLUE = 0.75
#: Blue and white are two zones of a face from here on; from half of it on they are so in part.
ZONE_SHARE = 0.05
#: Tones within the blue: grain below the first and light and shade above the second are left out, as shares of the
#: face's side; tones that make no tenth of the blue are none.
TONE_FROM, TONE_TO, TONE_QUANTILES = 0.02, 0.25, (0.1, 0.9)
#: Tones of one blue that lie further apart are a pattern, CIEDE2000: plain lumps stay under it.
SEEN_TONES = 12.0


def measure_room(face: Face, regions: Regions, lines: Sequence[Line], profile: Profile) -> Room:
    """Return what templates with no line seen in them find on a face, and how strong its pattern is.

    lines : those that may part the stone count.
    """
    if not face.mask.any():
        return Room(0.0, 0.0, 0.0)
    of_zones, (of_tones, lighter) = (
        _zones_apart(regions, profile),
        _tones(face, regions, profile),
    )
    # Froth within one blue is a pattern too: its lighter tones then stand beside the white.
    if of_tones <= max(of_zones, SEEN_TONES):
        lighter = np.zeros_like(lighter)
    grid, pattern, factor = _grids(regions, face.mask, lighter, profile)
    inside = grid > 0
    free = inside.astype(np.uint8)
    top, left = _corner(face.mask)
    for line in lines:
        if line.parting_chance >= DOUBTFUL:
            points = resample((line.points - (left, top)) * factor)
            cv2.polylines(free, [np.int32(np.floor(points)).reshape(-1, 1, 2)], False, 0)
    side_px = np.sqrt(np.count_nonzero(inside))
    width_px = ROUND_SHARE * side_px
    if face.mm_per_px is not None:
        width_px = min(profile.ovals_mm[0]) / face.mm_per_px * factor
    depth = cv2.distanceTransform(np.pad(free, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    centres = depth >= width_px / 2 - 0.5
    reach = max(int(width_px / 2), 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    dark, light = (_within(pattern == code, disc) for code in (1, 2))
    shows = centres & (1 - dark - light <= MOST_ELSE) & (np.minimum(dark, light) >= LEAST_ZONE)
    holds = centres & (_within(grid == 1, disc) >= LEAST_BLUE)
    shares = (_covered(part, disc, inside) for part in (shows, holds))
    return Room(*shares, max(of_zones, of_tones))


def _zones_apart(regions: Regions, profile: Profile) -> float:
    """How far apart blue and white lie, CIEDE2000; less where the face has next to none of one."""
    blue, white = (reading_lab(regions, profile, reading) for reading in ("water", "sky"))
    if blue is None or white is None:
        return 0.0
    least = min(_share(regions, profile, reading) for reading in ("water", "sky"))
    there = np.interp(least, (ZONE_SHARE / 2, ZONE_SHARE), (0, 1))
    return float(there * delta_e_2000(blue, white))


def _share(regions: Regions, profile: Profile, reading: str) -> float:
    names = [profile.colours[code - 1].name for code in profile.codes(reading)]
    return sum(regions.shares[name].value for name in names)


def _tones(face: Face, regions: Regions, profile: Profile) -> tuple[float, NDArray[np.bool_]]:
    """How far apart the lighter and the darker blue lie, CIEDE2000, without grain, light and shade; and the lighter
    blue, (h, w)."""
    mask = np.isin(regions.codes, profile.codes("water"))
    none = np.zeros(mask.shape, bool)
    if _share(regions, profile, "water") < ZONE_SHARE:
        return 0.0, none
    side = np.sqrt(np.count_nonzero(face.mask))
    step = max(int(side / 150), 1)
    lab, inside = face.lab[::step, ::step], np.float32(mask[::step, ::step])
    side = side / step

    def smooth(share: float) -> NDArray:
        weight = cv2.GaussianBlur(inside, (0, 0), share * side)
        blurred = cv2.GaussianBlur(lab * inside[..., None], (0, 0), share * side)
        return blurred / np.maximum(weight, 1e-3)[..., None]

    deep = cv2.erode(inside, np.ones((3, 3))) > 0.5
    if np.count_nonzero(deep) < 50:
        return 0.0, none
    apart = smooth(TONE_FROM) - smooth(TONE_TO)
    tones = apart[deep]
    low, high = np.quantile(tones[:, 0], TONE_QUANTILES)
    middle = np.median(lab[deep], axis=0)
    ends = [middle + tones[end].mean(axis=0) for end in (tones[:, 0] <= low, tones[:, 0] >= high)]
    lighter = np.uint8((apart[..., 0] > (low + high) / 2) & (inside > 0))
    size = mask.shape[::-1]
    lighter = cv2.resize(lighter, size, interpolation=cv2.INTER_NEAREST) > 0
    return float(delta_e_2000(*ends)), lighter & mask


def _corner(mask: NDArray[np.bool_]) -> tuple[int, int]:
    return int(np.flatnonzero(mask.any(axis=1))[0]), int(np.flatnonzero(mask.any(axis=0))[0])


def _grids(
    regions: Regions, mask: NDArray[np.bool_], lighter: NDArray[np.bool_], profile: Profile
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], float]:
    """The face on a small grid: 0 off it, 1 blue, 2 white, 3 all else; the same with the lighter blue as white; and px
    of the grid for one of the face."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    part = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    reads = np.full(256, 3, np.uint8)
    reads[list(profile.codes("water"))], reads[list(profile.codes("sky"))] = 1, 2
    reads[[0, UNREADABLE]] = 3
    read = np.where(mask[part], reads[regions.codes[part]], 0).astype(np.uint8)
    factor = min(1.0, GRID_PX / max(read.shape))
    size = tuple(max(round(n * factor), 1) for n in read.shape[::-1])
    small, toned = (
        cv2.resize(codes, size, interpolation=cv2.INTER_NEAREST)
        for codes in (read, np.where(lighter[part], np.uint8(2), read))
    )
    return small, toned, factor


def _within(part: NDArray[np.bool_], disc: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Share of a round around each place that a part takes."""
    kernel = disc / disc.sum()
    return cv2.filter2D(np.float32(part), -1, kernel, borderType=cv2.BORDER_CONSTANT)


def _covered(
    centres: NDArray[np.bool_], disc: NDArray[np.uint8], inside: NDArray[np.bool_]
) -> float:
    """Share of the face that rounds with these middles cover."""
    return float(cv2.dilate(np.uint8(centres), disc)[inside].mean())
