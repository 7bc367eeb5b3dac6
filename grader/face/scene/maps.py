"""What templates are laid on: the face made small, on a table that lies by the face's own shape."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.lines.polyline import pieces
from grader.face.measurements import Line, Regions
from grader.face.regions.regions import reading_lab
from grader.face.scene.flow import Flow, flow_of
from grader.face.scene.parts import OFF, SHORE, WATER, Contrasts
from grader.measures import UNREADABLE
from grader.photo.colour import delta_e_2000
from grader.profile import Profile

#: In the order in which they lie in a landscape, from above.
ORDER = ("sky", "water", "shore")
#: Sides of the maps on which templates are laid, for a face as large as such a square. Counted from the
#: area, they stay as they are when the photo is turned.
MAPS_PX = (36, 72, 144, 288)
#: The one on which borders are followed.
FLOW_MAP = 2
#: A broad seam takes this share of the side of a square as large as the face.
BROAD_SHARE = 0.1
#: So that no grain of the map counts, each px shows what most around it is (sigma, px).
AROUND_PX = 0.9
#: Side of the table for a face as large as a square, px: finer than any map.
TABLE_PX = 640
#: A face is round where its second moments along and across differ by less than this share of their sum.
ROUND = 0.08
#: Cracks are taken as places at most so far apart, px of the largest map.
CRACK_STEP_PX = 3


@dataclass(frozen=True)
class Table:
    """How a face is laid for the search: turned by its own shape.

    So the search goes the same way however the face lies in the photo.

    matrix : (2, 3), px of the face to px of the table.   turn_deg : of the table's level in the face,
    counter-clockwise.   scale : px of the table for one px of the face.
    """

    matrix: NDArray
    turn_deg: float
    scale: float

    def laid(self, points: NDArray) -> NDArray[np.float64]:
        """Return points x, y of the face, (n, 2), on the table."""
        return points @ self.matrix[:, :2].T + self.matrix[:, 2]

    def in_face(self, points: NDArray) -> NDArray[np.float64]:
        """Return points of the table, (n, 2), in the face."""
        return (points - self.matrix[:, 2]) @ np.linalg.inv(self.matrix[:, :2]).T


@dataclass(frozen=True)
class Map:
    """The face on the table made small.

    readings : ndarray of shape (h, w), SKY, WATER, SHORE, UNREADABLE; OFF outside.
    scale : px of the map for one px of the face.   table : how the face lies.
    """

    readings: NDArray[np.uint8]
    scale: float
    table: Table

    @property
    def shows_pattern(self) -> bool:
        """Whether anything of sky, water and shore is to be read."""
        return bool((self.readings % UNREADABLE).any())

    def laid(self, points: NDArray) -> NDArray[np.float64]:
        """Return points x, y of the face, (n, 2), in px of this map."""
        return self.table.laid(points) * self.scale / self.table.scale

    def in_face(self, points: NDArray) -> NDArray[np.float64]:
        """Return points of this map, (n, 2), in the face."""
        return self.table.in_face(points * self.table.scale / self.scale)


@dataclass(frozen=True)
class Board:
    """What templates are laid on. All lengths in px of the largest map.

    maps : from small to large.   outside : how far each px of the largest lies outside the face, (h, w).
    spots, weights : (n, 2) places along the lines that count, and the length that each stands for, (n,).
    isles, isle_areas : (n, 2) middles of the host patches within water, and their areas, (n,).
    flow : of the borders between sky and water, on ``flow_map``.   broad_px : thickness of a broad seam.
    """

    maps: tuple[Map, ...]
    outside: NDArray[np.float32]
    spots: NDArray
    weights: NDArray
    isles: NDArray
    isle_areas: NDArray
    contrasts: Contrasts
    part_weights: dict[str, float]
    flow: Flow
    broad_px: float

    @property
    def flow_map(self) -> Map:
        """The map that the flow is read on."""
        return self.maps[FLOW_MAP]


def maps_of(codes: NDArray, mask: NDArray[np.bool_], profile: Profile) -> tuple[Map, ...]:
    """Return the maps of a face, one for each of ``MAPS_PX``, from small to large.

    Parameters
    ----------
    codes : ndarray of shape (h, w), uint8, as in ``Regions``.
    mask : ndarray of shape (h, w), bool, the face.
    """
    if not mask.any():
        empty = Table(np.eye(2, 3), 0.0, 1.0)
        return tuple(Map(np.zeros((1, 1), np.uint8), 1.0, empty) for _ in MAPS_PX)
    plane_of = np.full(256, 4, np.uint8)
    for code, colour in enumerate(profile.colours, start=1):
        if colour.reads_as in ORDER:
            plane_of[code] = ORDER.index(colour.reads_as) + 1
    planes = np.where(mask, plane_of[codes], OFF).astype(np.uint8)
    table, size = _table(planes)
    # The nearest px will do: the table's px are finer than those of any map.
    planes = cv2.warpAffine(planes, _of_corners(table.matrix), size, flags=cv2.INTER_NEAREST)
    return tuple(_small(planes, table, side) for side in MAPS_PX)


def board_of(
    maps: tuple[Map, ...], regions: Regions, lines: Sequence[Line], profile: Profile
) -> Board:
    """Return the board of a face: its maps and all else that a picture on it is scored by."""
    readings = maps[-1].readings
    inside = np.pad(readings > 0, 1).astype(np.uint8)
    outside = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
    spots, weights = _spots(lines, maps[-1])
    isles, areas = _isles(readings)
    return Board(
        maps, outside, spots, weights, isles, areas, _contrasts(regions, profile),
        profile.scene_weights, flow_of(maps[FLOW_MAP].readings), BROAD_SHARE * MAPS_PX[-1],
    )  # fmt: skip


def _table(planes: NDArray[np.uint8]) -> tuple[Table, tuple[int, int]]:
    """Return how a face is laid, and width and height of the table, px.

    Its long axis lies level; of a round face the direction from its middle to that of its pattern does.

    planes : ndarray of shape (h, w), 1 to 3 in the order of ``ORDER``, 4 unread, ``OFF`` outside.
    """
    inside = (planes != OFF).astype(np.uint8)
    m = cv2.moments(inside, binaryImage=True)
    middle = np.array([m["m10"], m["m01"]]) / m["m00"] + 0.5
    pattern = cv2.moments(np.isin(planes, (1, 2)).astype(np.uint8), binaryImage=True)
    aside = np.zeros(2)
    if pattern["m00"]:
        aside = np.array([pattern["m10"], pattern["m01"]]) / pattern["m00"] + 0.5 - middle
    across = np.array([m["mu20"] - m["mu02"], 2 * m["mu11"]])
    longer = float(np.hypot(*across)) / (m["mu20"] + m["mu02"])
    # In radians and clockwise, as OpenCV turns, since rows count downwards.
    angle = np.arctan2(across[1], across[0]) / 2
    if longer < ROUND:
        angle = np.arctan2(aside[1], aside[0])
    elif aside @ (np.cos(angle), np.sin(angle)) < 0:
        angle += np.pi
    scale = TABLE_PX / float(np.sqrt(m["m00"]))
    right = scale * np.array([np.cos(angle), np.sin(angle)])
    matrix = np.array([[right[0], right[1], 0.0], [-right[1], right[0], 0.0]])
    contours, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    rim = (np.vstack([contour[:, 0] for contour in contours]) + 0.5) @ matrix[:, :2].T
    matrix[:, 2] = 0.75 * scale - rim.min(axis=0)
    size = np.ceil(np.ptp(rim, axis=0) + 1.5 * scale).astype(int)
    return Table(matrix, float(-np.degrees(angle)), scale), (int(size[0]), int(size[1]))


def _of_corners(matrix: NDArray) -> NDArray:
    """The matrix, (2, 3), as OpenCV takes it: px counted from their middles, not from their corners."""
    half = np.full(2, 0.5)
    return np.hstack([matrix[:, :2], (matrix[:, 2] + matrix[:, :2] @ half - half)[:, None]])


def _small(planes: NDArray[np.uint8], table: Table, side_px: int) -> Map:
    """Return the map of a face as large as a square of that side.

    Each px holds what most of it and around it shows.

    planes : ndarray of shape (h, w), what the table shows, as for ``_table``.
    """
    factor = side_px / float(np.sqrt(np.count_nonzero(planes)))
    # Every few px are enough here, and the rest is averaged.
    every = max(int(1 / (4 * factor)), 1)
    h, w = planes.shape
    size = (max(round(w * factor), 1), max(round(h * factor), 1))
    coarse = planes[::every, ::every]
    shares = np.take(np.eye(5, 4, -1, np.float32), coarse, axis=0)
    method = cv2.INTER_AREA if coarse.shape[1] >= size[0] else cv2.INTER_LINEAR
    shares = cv2.resize(shares, size, interpolation=method)
    inside = shares.sum(axis=2) > 0.5
    shares = cv2.GaussianBlur(shares, (0, 0), AROUND_PX, borderType=cv2.BORDER_CONSTANT)
    small = np.where(inside, shares.argmax(axis=2) + 1, 0)
    readings = np.where(small == 4, UNREADABLE, small).astype(np.uint8)
    return Map(readings, factor * table.scale, table)


def _contrasts(regions: Regions, profile: Profile) -> Contrasts:
    sky, water, shore = (reading_lab(regions, profile, name) for name in ORDER)

    def between(a, b):
        return 0.0 if a is None or b is None else float(delta_e_2000(a, b))

    return Contrasts(between(sky, water), between(water, shore), between(sky, shore))


def _spots(lines: Sequence[Line], small: Map) -> tuple[NDArray, NDArray]:
    """Return places (n, 2) along the cracks, px of the map, and the length each stands for, (n,).

    Uncertain lines count half.
    """
    spots, weights = [np.zeros((0, 2))], [np.zeros(0)]
    for line in lines:
        weight = {"crack": 1.0, "uncertain": 0.5}.get(line.kind, 0.0)
        if weight and len(line.points) > 1:
            middles, lengths = pieces(small.laid(line.points), CRACK_STEP_PX)
            spots.append(middles)
            weights.append(weight * lengths)
    return np.vstack(spots), np.concatenate(weights)


def _isles(readings: NDArray[np.uint8]) -> tuple[NDArray, NDArray]:
    """Return middles (n, 2) and areas (n,) of the host patches that lie in water, px of the map."""
    count, labels, stats, middles = cv2.connectedComponentsWithStats(
        (readings == SHORE).astype(np.uint8), connectivity=8
    )
    found, areas = [], []
    for patch in range(1, count):
        left, top, w, h, area = stats[patch]
        if area > 0.05 * readings.size or area < 2:
            continue
        rows, cols = slice(max(top - 1, 0), top + h + 1), slice(max(left - 1, 0), left + w + 1)
        here = (labels[rows, cols] == patch).astype(np.uint8)
        ring = readings[rows, cols][(cv2.dilate(here, np.ones((3, 3), np.uint8)) > 0) & (here == 0)]
        if np.count_nonzero(ring == WATER) >= 0.7 * max(ring.size, 1):
            found.append(middles[patch] + 0.5)
            areas.append(float(area))
    return np.array(found).reshape(-1, 2), np.array(areas)
