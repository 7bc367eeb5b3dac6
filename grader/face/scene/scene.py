"""The scene in a face: where on it, how turned and how large a cut shows the best picture.

Templates are laid all over the face, each turned about the way that the pattern under it points, coarse first, then in
finer moves around the best; each is scored by its part scores. The start targets are those of cutters' practice and of
studies of landscape photographs; all weights are settings.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.bands import reading_lab
from grader.face.face import Face
from grader.face.measurements import Line, Placement, Regions, Scene
from grader.face.scene.parts import (
    OFF,
    SHORE,
    SKY,
    WATER,
    Contrasts,
    landscape_parts,
    stream_parts,
    unread_share,
)
from grader.face.scene.templates import Template, room, templates_for
from grader.measures import UNREADABLE
from grader.photo.colour import delta_e_2000
from grader.profile import SCENE_PARTS, Profile

#: Sides of the maps on which templates are laid, for a face as large as such a square; the one with
#: px nearest to half a cell is read. Counted from the area, they stay as they are when the photo is
#: turned; and so that no grain of the map counts, each px shows what most around it is (sigma, px).
MAPS_PX = (36, 72, 144, 288)
CELL_PX, AROUND_PX = 2.0, 0.9
#: Side of the table for a face as large as a square, px: finer than any map. A face is round where its
#: second moments along and across differ by less than this share of their sum.
TABLE_PX, ROUND = 640, 0.08
#: Cells of a picture, about: while looking for candidates, and for the score that counts.
COARSE_CELLS, FINE_CELLS = 240, 700
#: Turns tried first; places are this share of the short side apart.
TURN_STEP_DEG, PLACE_STEP = 8.0, 0.14
#: The way up in a place is told from the pattern as seen with half closed eyes (sigma, share of the template's
#: height); turns further from it are not tried. A seam bends the brightness across it by this much at least, steps
#: of a reading per height squared.
EYE, WAY_DEG, BENT = 0.3, {"landscape": 66.0, "stream": 38.0}, 1.5
#: The way up where nothing tells it, on the table.
UP = (0.0, -1e-3)
#: How many candidates of each kind are followed, and how far behind the first they may be.
FOLLOWED, WORTH_FOLLOWING = {"landscape": 120, "stream": 24}, 40.0


class _Move(NamedTuple):
    """One move of the places that are followed.

    share, degrees : of the short side and of turn, to the neighbours.   cells : of a picture.   slips : whether they
    count.   goes_on : what share of a template's places goes on to the next move.   behind : how far behind the best
    of their kind those may be, points.
    """

    share: float
    degrees: float
    cells: int
    slips: bool
    goes_on: float
    behind: float


MOVES = (
    _Move(0.07, 6.0, 300, False, 0.6, 100.0),
    _Move(0.05, 4.0, 400, True, 0.5, 25.0),
    _Move(0.04, 2.0, FINE_CELLS, True, 0.5, 15.0),
    _Move(0.03, 2.0, FINE_CELLS, True, 0.6, 10.0),
    _Move(0.02, 1.5, FINE_CELLS, True, 0.6, 8.0),
    _Move(0.015, 1.0, FINE_CELLS, True, 0.8, 6.0),
    _Move(0.015, 1.5, FINE_CELLS, True, 0.8, 4.0),
    _Move(0.01, 0.5, FINE_CELLS, True, 1.0, 100.0),
)
#: At least so many of a template's are kept, where they are not too far behind.
LEAST_KEPT = 3
#: A picture with more glare than this is not judged.
MOST_UNREAD = 0.4
#: In the order in which they lie in a landscape, from above.
ORDER = ("sky", "water", "shore")
KINDS = ("landscape", "stream")
#: A part of 0 holds the score down to this, however good the rest is; a part of 1 does not.
LIMITS = {"focal": 40.0, "size": 20.0, "water": 75.0, "horizon": 45.0, "zones": 20.0}
#: The runner-up shares less than this with the best, or lies turned by more, or is of another kind.
OTHER_OVERLAP, OTHER_TURN_DEG = 0.3, 30.0
#: What the hand that draws round a template is off by: share of its width, degrees. The parts of a
#: place are means over these slips (across, down, turned), so that no place scores by a hair.
SLIP, SLIP_DEG = 0.02, 3.0
SLIPS = ((0, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
#: Given places are looked at so many at a time, in so many cells each.
PLACES_AT_ONCE, CELLS_OF_PLACES = 1024, 400


@dataclass(frozen=True)
class _Table:
    """How a face is laid for the search: turned by its own shape, so that the search goes the same
    way however it lies in the photo.

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
class _Map:
    """The face on the table made small: ``readings`` (h, w) of SKY, WATER, SHORE, UNREADABLE, OFF
    outside; px of it for one px of the face, and how the table lies.
    """

    readings: NDArray[np.uint8]
    scale: float
    table: _Table

    def laid(self, points: NDArray) -> NDArray[np.float64]:
        """Return points x, y of the face, (n, 2), in px of this map."""
        return self.table.laid(points) * self.scale / self.table.scale

    def in_face(self, points: NDArray) -> NDArray[np.float64]:
        """Return points of this map, (n, 2), in the face."""
        return self.table.in_face(points * self.table.scale / self.scale)


@dataclass(frozen=True)
class _Board:
    """What templates are laid on. All lengths in px of the largest map.

    maps : from small to large.   outside : how far each px of the largest lies outside the face.
    spots, weights : (n, 2) places along the lines that count, and the length that each stands for.
    isles, isle_areas : (n, 2) middles of the host patches within water, and their areas.
    """

    maps: tuple[_Map, ...]
    outside: NDArray[np.float32]
    spots: NDArray
    weights: NDArray
    isles: NDArray
    isle_areas: NDArray
    contrasts: Contrasts
    part_weights: dict[str, float]


@dataclass(frozen=True)
class _Laid:
    """Templates of one kind laid in n places: centre (n, 2) x, y and turn (n,), counter-clockwise."""

    template: Template
    centre: NDArray
    turn_deg: NDArray

    def __getitem__(self, which) -> "_Laid":
        return _Laid(self.template, self.centre[which], self.turn_deg[which])

    def axes(self) -> tuple[NDArray, NDArray]:
        """Unit vectors to the right and down in the picture, (n, 2) each."""
        angle = np.radians(self.turn_deg)
        c, s = np.cos(angle), np.sin(angle)
        return np.stack([c, -s], axis=1), np.stack([s, c], axis=1)

    def within(self, points: NDArray) -> tuple[NDArray, NDArray]:
        """Return where points (m, 2) lie in each picture, (n, m): -1 to 1 across it and down."""
        right, down = self.axes()
        away = points[None] - self.centre[:, None]
        w, h = self.template.size_px
        x = (away * right[:, None]).sum(axis=2) / (w / 2)
        return x, (away * down[:, None]).sum(axis=2) / (h / 2)

    def reach(self, points: NDArray) -> NDArray:
        """Return how far out points (m, 2) lie in each picture, (n, m): 1 is its rim."""
        x, y = self.within(points)
        return np.hypot(x, y) if self.template.shape == "oval" else np.maximum(abs(x), abs(y))


def scene_score(parts: dict[str, float | None], weights: dict[str, float]) -> float:
    """Return the weighted mean of the part scores (0 to 1) as 0 to 100; parts that are ``None`` are
    left out.

    Parts without which there is no picture to sell (``LIMITS``) also limit the score, where they
    have a weight: a line through the middle, no water, no horizon, a single zone, too small to cut.
    Two such faults limit it twice.
    """
    arrays = {part: np.array([np.nan if v is None else v], float) for part, v in parts.items()}
    return float(_scores(arrays, weights)[0])


def measure_scene(face: Face, regions: Regions, lines: Sequence[Line], profile: Profile) -> Scene:
    """Return the best place for a template on the face, its part scores, and the runner-up.

    The face may lie in the photo at any turn: its pattern tells which way up it is looked at. Templates
    are the profile's, or shares of the face without a scale. A line more never makes a place better.
    """
    maps = _maps(regions.codes, face.mask, profile)
    if not (maps[-1].readings % UNREADABLE).any():
        return Scene(dict.fromkeys(SCENE_PARTS))
    board = _board(maps, regions, lines, profile)
    scale = maps[-1].scale
    mm_per_px = None if face.mm_per_px is None else face.mm_per_px / scale
    templates = templates_for(maps[-1].readings > 0, mm_per_px, profile)
    placed = _follow(board, _candidates(board, templates))
    if not placed:
        return Scene(dict.fromkeys(SCENE_PARTS))
    best = max(placed, key=lambda p: p[0])
    others = [p for p in placed if _differs(p, best, board)]
    runner_up = max(others, key=lambda p: p[0], default=None)
    first = _placement(board, best, mm_per_px)
    second = runner_up and _placement(board, runner_up, mm_per_px)
    return Scene(first.parts, first, second)


def place_scores(
    face: Face, regions: Regions, profile: Profile, size_px: tuple[float, float], poses: NDArray
) -> NDArray[np.float64]:
    """Return the scene of ovals laid in given places, lines left out, 0 to 100; the better kind counts.

    Parameters
    ----------
    size_px : width and height of the oval, working px; the width is level in the picture.
    poses : ndarray of shape (n, 3): x, y in working px and the direction of the width, counter-clockwise.
    """
    maps = _maps(regions.codes, face.mask, profile)
    scores = np.zeros(len(poses))
    if not len(poses) or not (maps[-1].readings % UNREADABLE).any():
        return scores
    board, scale = _board(maps, regions, (), profile), maps[-1].scale
    width, height = (side * scale for side in size_px)
    # All have one size here, so it does not count.
    oval = Template("oval", "oval", (width, height), None, 1.0)
    poses = np.asarray(poses, float)
    centre, turn = maps[-1].laid(poses[:, :2]), poses[:, 2] - maps[-1].table.turn_deg
    told = [_score(board, some, CELLS_OF_PLACES) for some in _in_turn(_Laid(oval, centre, turn))]
    scores = np.concatenate([np.max([s[0] for s in by_kind.values()], axis=0) for by_kind in told])
    return np.maximum(scores, 0.0)


def _maps(codes: NDArray, mask: NDArray[np.bool_], profile: Profile) -> tuple[_Map, ...]:
    """Return the maps of a face, from small to large."""
    if not mask.any():
        empty = _Table(np.eye(2, 3), 0.0, 1.0)
        return tuple(_Map(np.zeros((1, 1), np.uint8), 1.0, empty) for _ in MAPS_PX)
    plane_of = np.full(256, 4, np.uint8)
    for code, colour in enumerate(profile.colours, start=1):
        if colour.reads_as in ORDER:
            plane_of[code] = ORDER.index(colour.reads_as) + 1
    planes = np.where(mask, plane_of[codes], OFF).astype(np.uint8)
    table, size = _table(planes)
    # The nearest px will do: the table's px are finer than those of any map.
    planes = cv2.warpAffine(planes, _of_corners(table.matrix), size, flags=cv2.INTER_NEAREST)
    return tuple(_small(planes, table, side) for side in MAPS_PX)


def _table(planes: NDArray[np.uint8]) -> tuple[_Table, tuple[int, int]]:
    """Return how a face is laid, and width and height of the table.

    Its long axis lies level; of a round face the way from its middle to that of its pattern does.
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
    return _Table(matrix, float(-np.degrees(angle)), scale), (int(size[0]), int(size[1]))


def _of_corners(matrix: NDArray) -> NDArray:
    """The matrix as OpenCV takes it: px counted from their middles, not from their corners."""
    half = np.full(2, 0.5)
    return np.hstack([matrix[:, :2], (matrix[:, 2] + matrix[:, :2] @ half - half)[:, None]])


def _small(planes: NDArray[np.uint8], table: _Table, side_px: int) -> _Map:
    """Return the map of a face as large as a square of that side; each px holds what most of it and
    around it shows.

    planes : what the table shows, 1 to 3 in the order of ``ORDER``, 4 unread, ``OFF`` outside.
    """
    factor = side_px / float(np.sqrt(np.count_nonzero(planes)))
    # Every few px are enough here, and the rest is averaged.
    every = max(int(1 / (4 * factor)), 1)
    h, w = planes.shape
    size = (max(round(w * factor), 1), max(round(h * factor), 1))
    seen = planes[::every, ::every]
    shown = np.dstack([(seen == plane).astype(np.float32) for plane in range(1, 5)])
    way = cv2.INTER_AREA if seen.shape[1] >= size[0] else cv2.INTER_LINEAR
    shown = cv2.resize(shown, size, interpolation=way)
    inside = shown.sum(axis=2) > 0.5
    shown = cv2.GaussianBlur(shown, (0, 0), AROUND_PX, borderType=cv2.BORDER_CONSTANT)
    small = np.where(inside, shown.argmax(axis=2) + 1, 0)
    readings = np.where(small == 4, UNREADABLE, small).astype(np.uint8)
    return _Map(readings, factor * table.scale, table)


def _board(maps, regions: Regions, lines: Sequence[Line], profile: Profile) -> _Board:
    readings = maps[-1].readings
    inside = np.pad(readings > 0, 1).astype(np.uint8)
    outside = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
    spots, weights = _spots(lines, maps[-1])
    isles, areas = _isles(readings)
    return _Board(
        maps, outside, spots, weights, isles, areas, _contrasts(regions, profile),
        profile.scene_weights,
    )  # fmt: skip


def _contrasts(regions: Regions, profile: Profile) -> Contrasts:
    sky, water, shore = (reading_lab(regions, profile, name) for name in ORDER)

    def between(a, b):
        return 0.0 if a is None or b is None else float(delta_e_2000(a, b))

    return Contrasts(between(sky, water), between(water, shore), between(sky, shore))


def _spots(lines: Sequence[Line], small: _Map) -> tuple[NDArray, NDArray]:
    """Return places at most 3 px apart along the cracks, and the length each stands for; uncertain
    lines count half.
    """
    spots, weights = [np.zeros((0, 2))], [np.zeros(0)]
    for line in lines:
        weight = {"crack": 1.0, "uncertain": 0.5}.get(line.kind, 0.0)
        if weight and len(line.points) > 1:
            points = small.laid(line.points)
            steps = np.diff(points, axis=0)
            for start, step in zip(points[:-1], steps, strict=True):
                n = max(int(np.ceil(np.hypot(*step) / 3)), 1)
                spots.append(start + (np.arange(n)[:, None] + 0.5) / n * step)
                weights.append(np.full(n, weight * float(np.hypot(*step)) / n))
    return np.vstack(spots), np.concatenate(weights)


def _isles(readings: NDArray[np.uint8]) -> tuple[NDArray, NDArray]:
    """Return middles (n, 2) and areas of the host patches that lie in water, px of the map."""
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


def _candidates(board: _Board, templates: Sequence[Template]) -> list[tuple[str, float, _Laid]]:
    """Return the best rough places of each kind: all over the face, at the turns that are likely there."""
    found = []
    rooms = _rooms(board, templates)
    for template in templates:
        laid = _everywhere(template, rooms[template.shape, template.ratio])
        if laid is None:
            continue
        for kind in KINDS:
            likely = laid[_likely(board, laid, kind)]
            if len(likely.turn_deg):
                scores = np.concatenate(
                    [
                        _score(board, some, COARSE_CELLS, (kind,))[kind][0]
                        for some in _in_turn(likely)
                    ]
                )
                found += [(kind, scores[k], likely[k : k + 1]) for k in _apart(scores, likely)]
    chosen = []
    for kind in KINDS:
        mine = sorted((f for f in found if f[0] == kind), key=lambda f: -f[1])[: FOLLOWED[kind]]
        chosen += [f for f in mine if f[1] >= mine[0][1] - WORTH_FOLLOWING]
    return chosen


def _rooms(board: _Board, templates: Sequence[Template]) -> dict:
    """Return by shape and ratio the room at each turn of half a circle, on the middle map."""
    small = board.maps[1]
    inside, factor = np.pad(small.readings > 0, 1), board.maps[-1].scale / small.scale
    rooms = {}
    for shape, ratio in {(t.shape, t.ratio) for t in templates}:
        turns = np.arange(0, 180, TURN_STEP_DEG)
        rooms[shape, ratio] = [(t, *room(inside, ratio, shape, t), factor) for t in turns]
    return rooms


def _everywhere(template: Template, rooms) -> _Laid | None:
    """Return a template in every place that takes it, the places some way apart; ``None`` if none
    does.
    """
    centres, turns = [], []
    for turn, half_width, back, factor in rooms:
        need = template.size_px[0] / 2 / factor
        # Fine moves find the room that is lacking by a hair.
        takes = half_width >= 0.94 * need - 0.5
        if not takes.any():
            continue
        step = PLACE_STEP * template.size_px[1] / factor
        step_y, step_x = max(round(step * template.ratio), 1), max(round(step), 1)
        # The net hangs on the roomiest place, which turns with the face.
        y0, x0 = np.unravel_index(half_width.argmax(), half_width.shape)
        grid = takes[y0 % step_y :: step_y, x0 % step_x :: step_x]
        y, x = np.nonzero(grid)
        points = np.stack([x * step_x + x0 % step_x, y * step_y + y0 % step_y], axis=1)
        # Px are counted from their middles there, and the map has a rim of one px.
        points = (points @ back[:, :2].T + back[:, 2] - 0.5) * factor
        for way in (turn, turn + 180):
            centres.append(points)
            turns.append(np.full(len(points), way))
    return _Laid(template, np.vstack(centres), np.concatenate(turns)) if centres else None


def _likely(board: _Board, laid: _Laid, kind: str) -> NDArray[np.bool_]:
    """Return which places lie about the way that the pattern under them does: a landscape's sky towards where there
    is more of it (the gradient), a stream along its seam (the Hessian's lesser curvature).
    """
    small = board.maps[1]
    factor = small.scale / board.maps[-1].scale
    high = laid.template.size_px[1] * factor
    # Even steps from sky down to shore; what is bright beside what is host.
    value = np.zeros(256, np.float32)
    value[[SKY, WATER, SHORE]] = (1, 0, -1) if kind == "landscape" else (1, 1, -1)
    read = (small.readings % UNREADABLE > 0).astype(np.float32)
    shown, there = (
        cv2.GaussianBlur(a, (0, 0), max(EYE * high, 1.0), borderType=cv2.BORDER_CONSTANT)
        for a in (value[small.readings], read)
    )
    by_y, by_x = np.gradient(shown / np.maximum(there, 1e-3))
    h, w = shown.shape
    x, y = np.clip(np.floor(laid.centre * factor).astype(int), 0, (w - 1, h - 1)).T
    _, down = laid.axes()
    if kind == "landscape":
        up = np.stack([by_x[y, x], by_y[y, x]], axis=1) + UP
        return -(down * up).sum(axis=1) >= np.cos(np.radians(WAY_DEG[kind])) * np.hypot(*up.T)
    (yy, xy), xx = np.gradient(by_y), np.gradient(by_x, axis=1)
    yy, xy, xx = (a[y, x] for a in (yy, xy, xx))
    # Of the two curvatures, the middle and how far each is from it; and, of twice the angles, which way they lie.
    middle, away = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    level = (yy - xx) / 2 * (down[:, 1] ** 2 - down[:, 0] ** 2) + 2 * xy * down[:, 0] * down[:, 1]
    # Down the picture the brightness bends most, and down from the middle to both sides.
    across = -level >= np.cos(np.radians(2 * WAY_DEG[kind])) * away
    return across & ((middle - away) * high**2 <= -BENT)


def _in_turn(laid: _Laid) -> Iterator[_Laid]:
    """The places some at a time, so that their pictures stay in the processor's cache."""
    for at in range(0, len(laid.turn_deg), PLACES_AT_ONCE):
        yield laid[at : at + PLACES_AT_ONCE]


def _apart(scores: NDArray, laid: _Laid, most: int = 20) -> list[int]:
    """Return the best few places that are no neighbours of each other."""
    kept: list[int] = []
    near = 0.2 * laid.template.size_px[1]
    left = scores.copy()
    while len(kept) < most and left.max() >= 0:
        k = int(left.argmax())
        kept.append(k)
        away = np.hypot(*(laid.centre - laid.centre[k]).T)
        left[(away < near) & (_turned_by(laid.turn_deg, laid.turn_deg[k]) < 12)] = -1
    return kept


def _turned_by(a, b):
    return np.abs((a - b + 180) % 360 - 180)


def _follow(board: _Board, candidates) -> list[tuple[float, str, _Laid]]:
    """Return the candidates after small moves; of each template the better ones go on from move to move,
    since rough scores of small templates stand too high beside those of large ones.
    """
    placed = []
    for kind in KINDS:
        left: dict[Template, list[_Laid]] = {}
        for _, _, laid in (c for c in candidates if c[0] == kind):
            left.setdefault(laid.template, []).append(laid)
        for move in MOVES:
            scored = {t: _step(board, some, kind, move) for t, some in left.items()}
            most = max((some[0][0] for some in scored.values()), default=0.0)
            kept = {
                t: [p for p in some[: _number(move, some)] if p[0] >= most - move.behind]
                for t, some in scored.items()
            }
            left = {t: [laid for _, laid in some] for t, some in kept.items() if some}
        placed += [(score, kind, laid) for t in left for score, laid in kept[t] if score >= 0]
    return placed


def _number(move: _Move, scored: list) -> int:
    return max(int(np.ceil(move.goes_on * len(scored))), LEAST_KEPT)


def _step(
    board: _Board,
    places: list[_Laid],
    kind: str,
    move: _Move,
) -> list[tuple[float, _Laid]]:
    """Return places of one template, each moved to the best of its neighbours, and the scores, best first."""
    template = places[0].template
    laid = _Laid(
        template,
        np.vstack([p.centre for p in places]),
        np.concatenate([p.turn_deg for p in places]),
    )
    near = _moved(laid, move.share * template.size_px[1], move.degrees)
    # What does not fit yet is led to where it does.
    values = -1.0 - _overhang(board, near)
    fits = values == -1
    if fits.any():
        values[fits] = _score(board, near[fits], move.cells, (kind,), move.slips)[kind][0]
    values = values.reshape(len(places), -1)
    k = values.argmax(axis=1)
    at = np.arange(len(places)) * values.shape[1] + k
    found = [(float(values.ravel()[i]), near[i : i + 1]) for i in at]
    return sorted(found, key=lambda p: -p[0])


def _moved(laid: _Laid, step_px: float, degrees: float) -> _Laid:
    """Return each place with its 26 neighbours, itself first."""
    return _shifted(laid, [(x, y, t) for x in (0, -1, 1) for y in (0, -1, 1) for t in (0, -1, 1)],
                    step_px, degrees)  # fmt: skip


def _shifted(laid: _Laid, moves: Sequence[tuple], step_px: float, degrees: float) -> _Laid:
    """Return each place after each of the moves: steps across, down, turned."""
    moves = np.array(moves, float)
    right, down = laid.axes()
    shift = moves[None, :, :1] * right[:, None] + moves[None, :, 1:2] * down[:, None]
    centre = laid.centre[:, None] + shift * step_px
    turn = laid.turn_deg[:, None] + moves[None, :, 2] * degrees
    return _Laid(laid.template, centre.reshape(-1, 2), turn.ravel() % 360)


def _fits(board: _Board, laid: _Laid) -> NDArray[np.bool_]:
    """Whether no point of the rim lies outside the face, but for the outline's own grain."""
    return _overhang(board, laid) == 0


def _overhang(board: _Board, laid: _Laid) -> NDArray[np.float64]:
    """Return how far the rim leaves the face beyond the outline's own grain, px of the map."""
    rim = outline_of(laid.template.shape, laid.template.size_px, 48)
    right, down = laid.axes()
    points = (
        laid.centre[:, None] + rim[None, :, :1] * right[:, None] + rim[None, :, 1:] * down[:, None]
    )
    h, w = board.outside.shape
    at = np.floor(points).astype(int)
    # Beyond the map's edge it is as far as to the edge, and on.
    inner = np.clip(at, 0, (w - 1, h - 1))
    off = board.outside[inner[..., 1], inner[..., 0]] + np.abs(at - inner).max(axis=2)
    slack = 1.0 + 0.01 * laid.template.size_px[0]
    return np.maximum(off - slack, 0).max(axis=1)


def outline_of(shape: str, size: tuple[float, float], points: int = 64) -> NDArray[np.float64]:
    """Return (points, 2) x, y along the rim of a template around (0, 0), not turned."""
    angle = np.arange(points) * 2 * np.pi / points
    rim = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    if shape != "oval":
        rim /= np.abs(rim).max(axis=1, keepdims=True)
    return rim * np.array(size) / 2


def _score(
    board: _Board, laid: _Laid, cells: int, kinds: Sequence[str] = KINDS, slipped: bool = False
) -> dict[str, tuple]:
    """Return by kind: scores (n,), -1 where glare hides too much; part scores; thickness and
    evenness of the shore.

    slipped : parts are means over ``SLIPS``.
    """
    n = len(laid.turn_deg)
    if slipped:
        laid = _shifted(laid, SLIPS, SLIP * laid.template.size_px[0], SLIP_DEG)
    pictures = _pictures(board, laid, cells)
    hidden = _mean_of(unread_share(pictures), n) > MOST_UNREAD
    focal = _focal(board, laid)
    size = np.full(len(focal), laid.template.worth)
    answers = {}
    for kind in kinds:
        told = (landscape_parts if kind == "landscape" else stream_parts)(pictures, board.contrasts)
        parts = told.values | {"focal": focal, "size": size}
        isles = _islands(board, laid) if kind == "landscape" else np.full(len(focal), np.nan)
        parts["islands"] = np.where(parts["water"] < 0.4, np.nan, isles)
        parts = {name: _mean_of(values, n) for name, values in parts.items()}
        scores = np.where(hidden, -1.0, _scores(parts, board.part_weights))
        shore = (_mean_of(values, n) for values in (told.shore_share, told.shore_evenness))
        answers[kind] = scores, parts, *shore
    return answers


def _mean_of(values: NDArray, n: int) -> NDArray[np.float64]:
    """Means of n places over their slips, nan where no slip tells."""
    values = np.asarray(values, float).reshape(n, -1)
    told = ~np.isnan(values)
    number = told.sum(axis=1)
    means = np.where(told, values, 0).sum(axis=1) / np.maximum(number, 1)
    return np.where(number > 0, means, np.nan)


def _scores(parts: dict[str, NDArray], weights: dict[str, float]) -> NDArray[np.float64]:
    """Scores of n pictures from part scores, (n,) each, nan where not known."""
    total = known = 0.0
    limit = 100.0
    for part, values in parts.items():
        weight = weights.get(part, 0.0)
        if weight > 0:
            there = ~np.isnan(values)
            value = np.where(there, values, 0.0)
            total, known = total + weight * value, known + weight * there
            if part in LIMITS:
                low = LIMITS[part]
                limit = limit * np.where(there, low + (100 - low) * value, 100.0) / 100
    mean = 100 * total / np.maximum(known, 1e-9)
    some = next(iter(parts.values()))
    return np.minimum(mean, limit) * np.ones(len(some))


def _pictures(board: _Board, laid: _Laid, cells: int) -> NDArray[np.uint8]:
    """Return what each template shows, upright: (n, rows, columns) of OFF to SHORE, UNREADABLE."""
    template = laid.template
    rows = max(round(np.sqrt(cells / template.ratio)), 4)
    cols = max(round(rows * template.ratio), 4)
    # Px about half as large as cells: finer ones would show grain, coarser ones steps.
    largest = board.maps[-1].scale
    cell_px = template.size_px[1] / rows
    small = min(board.maps, key=lambda m: abs(np.log(cell_px * m.scale / largest / CELL_PX)))
    factor = small.scale / largest
    y, x = np.meshgrid((np.arange(rows) + 0.5) / rows - 0.5, (np.arange(cols) + 0.5) / cols - 0.5,
                       indexing="ij")  # fmt: skip
    on = (2 * x) ** 2 + (2 * y) ** 2 <= 1 if template.shape == "oval" else np.ones_like(x, bool)
    x, y = (np.float32(factor) * a.ravel() * side
            for a, side in zip((x, y), template.size_px, strict=True))  # fmt: skip
    right, down = (a.astype(np.float32) for a in laid.axes())
    centre = (laid.centre * factor).astype(np.float32)
    h, w = small.readings.shape
    columns = centre[:, :1] + right[:, :1] * x + down[:, :1] * y
    lines = centre[:, 1:] + right[:, 1:] * x + down[:, 1:] * y
    at = np.clip(lines.astype(np.int32), 0, h - 1) * w + np.clip(columns.astype(np.int32), 0, w - 1)
    read = np.where(small.readings == OFF, UNREADABLE, small.readings).astype(np.uint8)
    shown = np.take(read.ravel(), at)
    shown[:, ~on.ravel()] = OFF
    return shown.reshape(-1, rows, cols)


def _focal(board: _Board, laid: _Laid) -> NDArray[np.float64]:
    """1 without a crack in the middle 60 % of the picture, falling with the length there."""
    if not len(board.spots):
        return np.ones(len(laid.turn_deg))
    length = (laid.reach(board.spots) <= 0.6) @ board.weights
    return np.interp(length / laid.template.size_px[0], (0, 0.05, 0.4), (1, 0.6, 0))


def _islands(board: _Board, laid: _Laid) -> NDArray[np.float64]:
    """Host patches of 0.2 to 5 % in the water: one to three are a bonus, more than eight are
    clutter.
    """
    number = np.zeros(len(laid.turn_deg))
    if len(board.isles):
        w, h = laid.template.size_px
        area = w * h * (np.pi / 4 if laid.template.shape == "oval" else 1)
        counts = (board.isle_areas >= 0.002 * area) & (board.isle_areas <= 0.05 * area)
        number = ((laid.reach(board.isles) <= 0.92) & counts).sum(axis=1)
    return np.interp(number, (0, 1, 3, 8, 9), (0.4, 1, 1, 0.4, 0))


def _differs(a: tuple, b: tuple, board: _Board) -> bool:
    """Whether a place shows another picture than the best: elsewhere, turned, or of another kind."""
    if a[1] != b[1] or _turned_by(a[2].turn_deg[0], b[2].turn_deg[0]) > OTHER_TURN_DEG:
        return True
    h, w = board.outside.shape
    y, x = np.mgrid[:h:2, :w:2]
    points = np.stack([x.ravel(), y.ravel()], axis=1) + 0.5
    first, second = (p[2].reach(points)[0] <= 1 for p in (a, b))
    return bool((first & second).sum() < OTHER_OVERLAP * max((first | second).sum(), 1))


def _placement(board: _Board, placed: tuple, mm_per_map_px: float | None) -> Placement:
    score, kind, laid = placed
    _, parts, share, evenness = _score(board, laid, FINE_CELLS, (kind,), slipped=True)[kind]
    near = _moved(laid, SLIP * laid.template.size_px[0], SLIP_DEG)
    near = near[_fits(board, near)]
    slipped = _score(board, near, FINE_CELLS, (kind,))[kind][0] if len(near.turn_deg) else [score]
    small, template = board.maps[-1], laid.template
    centre = small.in_face(laid.centre)[0]
    told = {part: float(parts[part][0]) for part in SCENE_PARTS}
    size_px = tuple(side / small.scale for side in template.size_px)
    return Placement(
        template=template.name,
        shape=template.shape,
        kind=kind,
        centre_px=(float(centre[0]), float(centre[1])),
        turn_deg=float((laid.turn_deg[0] + small.table.turn_deg) % 360),
        size_px=size_px,
        size_mm=template.size_mm,
        score=score,
        low=float(max(min(*slipped, score), 0)),
        high=float(max(*slipped, score)),
        parts={part: None if np.isnan(value) else value for part, value in told.items()},
        shore_share=float(share[0]),
        shore_mm=mm_per_map_px and float(share[0] * template.size_px[1] * mm_per_map_px),
        shore_evenness=float(evenness[0]),
    )
