"""How many templates can be sawn out of a face, and where: a plan of most pieces, and one of the best scenes first.

A template is an oval. Two of them keep the sawing margin between each other, and each keeps it from the outline and
from every line that may part; none lies on glare, since what is under it was not seen; specks
are left out.

An oval is the union of the discs around the points of its long axis, so a distance field tells exactly (to a
hundredth of its short side) whether it fits; and two ovals lie apart where their shadows on some line do. Places are
first sought on a grid where templates may still overlap a little, by a walk that swaps one for another as long as none
can be added; then they are pushed apart to true size. What cannot be pushed apart is not claimed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.measurements import Line

#: Scores, 0 to 100, of n templates placed at (n, 3): x, y in working px and the direction of the picture's right-hand
#: side, 0 <= d < 360, counter-clockwise as seen on the upright photo.
Scorer = Callable[[NDArray], NDArray]

#: The field's cells in a template's short side, where the face is photographed as finely.
CELLS = 120
#: Discs along a template's long axis; directions over half a turn on which two templates cast their shadows.
DISCS, SHADOWS = 11, 48
#: Places to choose from, at most; the least step of their grid as a share of the short side; turns tried.
PLACES, LEAST_STEP, TURN_STEP_DEG = 1000, 0.07, 15
#: Templates on the grid may overlap by this share of the short side.
SLACK = 0.12
#: Swaps of the walk, sets that are pushed apart, templates pushed into what is best, and steps of each push.
SWAPS, PUSHES, SQUEEZES, PUSH_STEPS = 600, 8, 12, 25
#: A scene is taken first where it scores at least this share of the best one.
GOOD_SCENE = 0.75
#: Places of which the scene is scored, at most.
SCORED = 200


@dataclass(frozen=True)
class Oval:
    """A template: long and short side in working px; a round one has both alike."""

    long_px: float
    short_px: float

    @property
    def area_px(self) -> float:
        return np.pi / 4 * self.long_px * self.short_px


@dataclass(frozen=True)
class PlacedTemplate:
    """One template on the face.

    x_px, y_px : its centre in working px.   turn_deg : of its long side, 0 level, counter-clockwise as seen on the
    upright photo; below 180, and with a score the direction of the picture's right-hand side, below 360.
    score : of its scene, 0 to 100, ``None`` without a scorer.
    """

    x_px: float
    y_px: float
    turn_deg: float
    score: float | None = None


@dataclass(frozen=True)
class CutPlan:
    """Templates with no line seen in them.

    yield_share : their area / area of the face, 0 to 1.
    """

    templates: tuple[PlacedTemplate, ...]
    yield_share: float


@dataclass(frozen=True)
class CutPlans:
    """Both ways in which cutters work: as many pieces as fit, and the best scenes first, then filled up.

    best_scenes is ``None`` without a scorer.
    """

    most_pieces: CutPlan
    best_scenes: CutPlan | None


@dataclass(frozen=True)
class Room:
    """How far each point of the face is from what a template must keep clear of.

    field : ndarray of shape (h, w), float32, working px; below 0 where nothing may lie. Cell (0, 0) spans 0 to
    ``cell_px`` less ``pad`` cells.   face_area_px : of the whole face.
    """

    field: NDArray[np.float32]
    cell_px: float
    pad: int
    face_area_px: float

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Return the room in working px around points of the working image, interpolated; any shape."""
        h, w = self.field.shape
        col = np.clip(x / self.cell_px + (self.pad - 0.5), 0, w - 1.001)
        row = np.clip(y / self.cell_px + (self.pad - 0.5), 0, h - 1.001)
        left, top = col.astype(np.intp), row.astype(np.intp)
        across, down = col - left, row - top
        flat, at = self.field.ravel(), top * w + left
        upper = flat[at] * (1 - across) + flat[at + 1] * across
        lower = flat[at + w] * (1 - across) + flat[at + w + 1] * across
        return upper * (1 - down) + lower * down


def room_of(
    mask: NDArray[np.bool_],
    lines: Sequence[Line],
    glare: NDArray[np.bool_] | None,
    oval: Oval,
    margin_px: float,
) -> Room:
    """Return the room on a face for templates of one size.

    Parameters
    ----------
    mask, glare : ndarrays of shape (h, w), the face and its unreadable px.
    lines : all that were seen; those that may part are kept clear of. A pattern line is healed or a seam: it is told,
        not avoided.
    margin_px : kept from the outline and from the lines; from glare none is, and specks narrower than it are left out.
    """
    cell_px = max(1.0, oval.short_px / CELLS)
    h, w = mask.shape
    size = max(1, round(w / cell_px)), max(1, round(h / cell_px))
    # Cells are square where the size is whole; the half px that rounding leaves is less than the grain.
    pad = 4
    inside = _shrunk(mask, size, pad) >= 0.5
    field = _signed(inside) - margin_px / cell_px
    if glare is not None and glare.any():
        hidden = _shrunk(glare & mask, size, pad) >= 0.5
        # What a speck narrower than the saw's margin hides would go on beside it and be seen there.
        disc = cv2.getStructuringElement(
            cv2.MORPH_ELLIPSE, (2 * round(margin_px / cell_px / 2) + 1,) * 2
        )
        hidden = cv2.morphologyEx(hidden.astype(np.uint8), cv2.MORPH_OPEN, disc) > 0
        if hidden.any():
            field = np.minimum(field, -_signed(hidden))
    for line in lines:
        if line.may_part and len(line.points) > 1:
            field = np.minimum(field, _from_line(line, field.shape, cell_px, pad, margin_px))
    return Room((field * cell_px).astype(np.float32), cell_px, pad, float(np.count_nonzero(mask)))


def _shrunk(mask: NDArray, size: tuple[int, int], pad: int) -> NDArray[np.float32]:
    small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.pad(small, pad)


def _signed(inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Distance to the border of a region in px, below 0 outside it."""
    if inside.all() or not inside.any():
        return np.full(inside.shape, 1e6 if inside.all() else -1e6, np.float32)
    within, beyond = (
        cv2.distanceTransform(part.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        for part in (inside, ~inside)
    )
    # From px centre to px centre: the border lies half a px nearer.
    return np.where(inside, within - 0.5, 0.5 - beyond)


def _from_line(line: Line, shape, cell_px: float, pad: int, margin_px: float) -> NDArray:
    drawn = np.ones(shape, np.uint8)
    points = np.rint((line.points / cell_px + (pad - 0.5)) * 16).astype(np.int32)
    cv2.polylines(drawn, [points.reshape(-1, 1, 2)], False, 0, 1, shift=4)
    away = cv2.distanceTransform(drawn, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return away - (line.width_px / 2 + margin_px) / cell_px


def plan_cuts(
    room: Room,
    oval: Oval,
    margin_px: float,
    rng: np.random.Generator,
    scorer: Scorer | None = None,
) -> CutPlans:
    """Return both plans for templates of one size.

    Parameters
    ----------
    room : of :func:`room_of`, made for the same oval and margin.
    margin_px : between two templates: what the saw takes.
    rng : of the walk; the same generator gives the same plans.
    scorer : of the scene within a placed template. Without it only the most pieces are sought.
    """
    shape = _Shape.of(oval, margin_px)
    places = _places(room, shape)
    most = _search(room, shape, places, np.zeros((0, 3)), rng)
    if scorer is None:
        return CutPlans(_plan(most, 0, None, oval, room), None)
    fitting = places.poses[places.fits]
    fitting = fitting[:: -(-len(fitting) // SCORED) or 1]
    first = _best_scenes(shape, np.vstack([most, fitting]), scorer)
    scenes = _search(room, shape, places, first, rng)
    return CutPlans(
        _plan(most, 0, scorer, oval, room), _plan(scenes, len(first), scorer, oval, room)
    )


def template_outline(placed: PlacedTemplate, oval: Oval, points: int = 72) -> NDArray:
    """Return (points, 2) x, y in working px around a placed oval."""
    along = np.arange(points) * 2 * np.pi / points
    turn = -np.radians(placed.turn_deg)
    a, b = oval.long_px / 2 * np.cos(along), oval.short_px / 2 * np.sin(along)
    x, y = a * np.cos(turn) - b * np.sin(turn), a * np.sin(turn) + b * np.cos(turn)
    return np.stack([placed.x_px + x, placed.y_px + y], axis=1)


def lines_within(placed: PlacedTemplate, oval: Oval, lines: Sequence[Line]) -> tuple[Line, ...]:
    """Return the lines of any kind that enter a placed oval."""
    turn = -np.radians(placed.turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    met = []
    for line in lines:
        at = (_every_px(line.points) - (placed.x_px, placed.y_px)) @ axes.T
        reach = (2 * at[:, 0] / oval.long_px) ** 2 + (2 * at[:, 1] / oval.short_px) ** 2
        if (reach < 1).any():
            met.append(line)
    return tuple(met)


def _every_px(points: NDArray) -> NDArray[np.float64]:
    """A polyline as points at most a px apart."""
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    stops = np.linspace(0, along[-1], int(np.ceil(along[-1])) + 2)
    return np.stack([np.interp(stops, along, points[:, axis]) for axis in (0, 1)], axis=1)


@dataclass(frozen=True)
class _Shape:
    """A template as what its tests need. Poses are (n, 3): x, y in working px, turn in rad clockwise on the picture.

    axis, radius : places along the long axis, and the discs around them.
    """

    long: float
    short: float
    margin: float
    axis: NDArray
    radius: NDArray

    @classmethod
    def of(cls, oval: Oval, margin_px: float) -> "_Shape":
        a, b = oval.long_px / 2, oval.short_px / 2
        if a - b < 1e-3 * b:
            return cls(2 * a, 2 * b, margin_px, np.zeros(1), np.array([b]))
        axis = (a * a - b * b) / a * np.linspace(-1, 1, DISCS)
        return cls(2 * a, 2 * b, margin_px, axis, b * np.sqrt(1 - axis**2 / (a * a - b * b)))

    @property
    def turns(self) -> NDArray:
        if len(self.axis) == 1:
            return np.zeros(1)
        return np.radians(np.arange(0, 180, TURN_STEP_DEG))

    def spare(self, room: Room, poses: NDArray) -> NDArray:
        """Room that each disc of each pose has left, (n, discs); below 0 it does not fit."""
        x = poses[:, :1] + self.axis * np.cos(poses[:, 2:])
        y = poses[:, 1:2] + self.axis * np.sin(poses[:, 2:])
        return room.at(x, y) - self.radius

    def half_shadows(self, turns: NDArray) -> NDArray:
        """Half widths of turned ovals as seen along each direction, (n, directions)."""
        off = _DIRECTIONS - turns[:, None]
        return np.sqrt((self.short**2 + (self.long**2 - self.short**2) * np.cos(off) ** 2) / 4)

    def gaps(self, poses: NDArray, first: NDArray, second: NDArray) -> tuple[NDArray, NDArray]:
        """Distance of pairs of poses less the margin, below 0 where too near, and the direction that tells it, as a
        place among the directions.

        Never more than the true distance.
        """
        apart = np.abs((poses[second, :2] - poses[first, :2]) @ _UNITS)
        shadows = self.half_shadows(poses[:, 2])
        apart = apart - shadows[first] - shadows[second]
        best = apart.argmax(axis=1)
        return apart[np.arange(len(best)), best] - self.margin, best


_DIRECTIONS = np.arange(SHADOWS) * np.pi / SHADOWS
_UNITS = np.stack([np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)])


@dataclass(frozen=True)
class _Places:
    """Poses on a grid where a template nearly fits, and which pairs of them cannot both be taken."""

    poses: NDArray
    fits: NDArray[np.bool_]
    clash: NDArray[np.int8]


def _places(room: Room, shape: _Shape) -> _Places:
    """Poses on the finest grid that leaves no more than ``PLACES`` of them."""
    slack = 0.5 * SLACK * shape.short
    turns = shape.turns
    # A coarse grid tells how many there would be on a finer one.
    step = 0.5 * shape.short
    coarse = len(_grid(room, shape, turns, step, slack)[1])
    step = max(step * (coarse / PLACES) ** 0.5, LEAST_STEP * shape.short)
    while len((found := _grid(room, shape, turns, step, slack))[1]) > PLACES:
        step *= 1.05
    grid, poses, turn, spare = found
    return _Places(poses, spare >= 0, _clashes(shape, grid, turn, turns, step))


def _grid(room: Room, shape: _Shape, turns: NDArray, step: float, slack: float):
    h, w = room.field.shape
    span = np.array([w, h]) * room.cell_px
    counts = np.maximum((span // step).astype(int), 1)
    start = (span - (counts - 1) * step) / 2 - room.pad * room.cell_px
    row, col = (v.ravel() for v in np.indices(counts[::-1]))
    x, y = start[0] + col * step, start[1] + row * step
    # Its middle disc first: most of the grid is left out by it.
    near = room.at(x, y) >= shape.short / 2 - slack
    row, col, x, y = (v[near] for v in (row, col, x, y))
    poses = np.stack([np.tile(v, len(turns)) for v in (x, y)] + [np.repeat(turns, len(x))], axis=1)
    spare = shape.spare(room, poses).min(axis=1) if len(poses) else np.zeros(0)
    kept = spare >= -slack
    grid = np.stack([np.tile(row, len(turns)), np.tile(col, len(turns))], axis=1)[kept]
    turn = np.repeat(np.arange(len(turns)), len(x))[kept]
    return grid, poses[kept], turn, spare[kept]


def _clashes(
    shape: _Shape, grid: NDArray, turn: NDArray, turns: NDArray, step: float
) -> NDArray[np.int8]:
    """Which pairs overlap by more than the slack; looked up by their offset on the grid and their turns."""
    if len(grid) == 0:
        return np.zeros((0, 0), np.int8)
    reach = np.minimum(
        grid.max(axis=0) - grid.min(axis=0), int((shape.long + shape.margin) // step) + 1
    )
    rows, cols = (np.arange(-r, r + 1) for r in reach)
    dy, dx = (v.ravel() * step for v in np.meshgrid(rows, cols, indexing="ij"))
    shadows = shape.half_shadows(turns)
    limit = shadows[:, None] + shadows[None] + (shape.margin - SLACK * shape.short)
    across = np.abs(np.stack([dx, dy], axis=1) @ _UNITS)
    table = np.zeros((len(turns), len(turns), len(rows), len(cols)), np.int8)
    for i in range(len(turns)):
        for j in range(i, len(turns)):
            # The same both ways, since an oval is its own mirror through its centre.
            table[i, j] = (across < limit[i, j]).all(axis=1).reshape(table.shape[2:])
            table[j, i] = table[i, j]
    # A rim that clashes with nothing takes all that lies farther.
    table = np.pad(table, ((0, 0), (0, 0), (1, 1), (1, 1)))
    high, wide = table.shape[2:]
    down = np.clip(grid[None, :, 0] - grid[:, None, 0] + reach[0] + 1, 0, high - 1)
    right = np.clip(grid[None, :, 1] - grid[:, None, 1] + reach[1] + 1, 0, wide - 1)
    pair = turn[:, None] * len(turns) + turn[None, :]
    return table.ravel()[(pair * high + down) * wide + right]


def _search(
    room: Room, shape: _Shape, places: _Places, fixed: NDArray, rng: np.random.Generator
) -> NDArray:
    """Return the poses of the most templates found; the fixed ones come first and stay.

    From rows that fit as they are (where nothing is fixed), from the walk, and from what is best so far with one more
    pushed into it.
    """
    free = _nearest_gap(shape, places.poses, fixed)
    best = _filled_up(shape, fixed if len(fixed) else _rows(room, shape), places)
    open_ = np.flatnonzero(free > -SLACK * shape.short)
    pushes = PUSHES
    for chosen in _walk(places.clash[np.ix_(open_, open_)], rng):
        taken = np.vstack([fixed, places.poses[open_[chosen]]])
        # Pushing apart costs far more than a step of the walk: only what promises more.
        while len(taken) > len(best) and pushes:
            taken, worst = _pushed_apart(room, shape, taken, len(fixed))
            pushes -= 1
            if worst is None:
                best = _filled_up(shape, taken, places)
                break
            taken = np.delete(taken, worst, axis=0)
    tries = SQUEEZES
    while tries:
        gap = _nearest_gap(shape, places.poses, best)
        for place in _apart(places.poses, gap, shape.short / 2)[:tries]:
            tries -= 1
            taken, worst = _pushed_apart(
                room, shape, np.vstack([best, places.poses[place]]), len(fixed)
            )
            if worst is None:
                best = _filled_up(shape, taken, places)
                break
        else:
            break
    return best


def _nearest_gap(shape: _Shape, poses: NDArray, taken: NDArray) -> NDArray:
    """Return how far each pose is from the nearest of those taken, less the margin; below 0 where too near."""
    nearest = np.full(len(poses), np.inf)
    for pose in taken:
        # By their circles first: most lie far off, and how far does not matter.
        gap = np.hypot(*(poses[:, :2] - pose[:2]).T) - shape.long - shape.margin
        close = np.flatnonzero(gap < 0)
        both = np.vstack([pose[None], poses[close]])
        gap[close], _ = shape.gaps(both, np.zeros(len(close), int), np.arange(1, len(both)))
        nearest = np.minimum(nearest, gap)
    return nearest


def _filled_up(shape: _Shape, taken: NDArray, places: _Places) -> NDArray:
    """Return the poses taken and, as long as there are any, places that fit beside them, the tightest first."""
    gap = np.where(places.fits, _nearest_gap(shape, places.poses, taken), -1.0)
    while (gap >= 0).any():
        new = places.poses[int(np.where(gap >= 0, gap, np.inf).argmin())]
        taken = np.vstack([taken, new])
        gap = np.minimum(gap, _nearest_gap(shape, places.poses, new[None]))
    return taken


def _apart(poses: NDArray, gap: NDArray, distance: float) -> list[int]:
    """Places by falling gap, none within ``distance`` of one before it."""
    found: list[int] = []
    gap = gap.copy()
    while len(found) < SQUEEZES and len(gap) and gap.max() > -np.inf:
        best = int(gap.argmax())
        found.append(best)
        gap[np.hypot(*(poses[:, :2] - poses[best, :2]).T) < distance] = -np.inf
    return found


def _rows(room: Room, shape: _Shape) -> NDArray:
    """Return the most poses in close rows of parallel ovals, at some turn and place."""
    h, w = room.field.shape
    best = _deepest(room, shape)
    middle = np.array([w / 2 - room.pad, h / 2 - room.pad]) * room.cell_px
    reach = np.hypot(w, h) / 2 * room.cell_px
    for along, beside, over in _row_steps(shape):
        n, m = int(reach // along) + 2, int(reach // over) + 2
        i, j = (v.ravel() for v in np.meshgrid(np.arange(-n, n + 1), np.arange(-m, m + 1)))
        lattice = np.stack([i * along + (j % 2) * beside, j * over], axis=1)
        for turn in shape.turns if len(shape.turns) > 1 else np.radians(np.arange(0, 60, 15)):
            cos, sin = np.cos(turn), np.sin(turn)
            for shift in _SHIFTS * (along, over):
                at = (lattice + shift) @ np.array([[cos, sin], [-sin, cos]]) + middle
                at = at[room.at(at[:, 0], at[:, 1]) >= shape.short / 2]
                poses = np.column_stack([at, np.full(len(at), turn)])
                poses = poses[(shape.spare(room, poses) >= 0).all(axis=1)]
                best = poses if len(poses) > len(best) else best
    return best


def _deepest(room: Room, shape: _Shape) -> NDArray:
    """Return one pose in the deepest place of the room, or none where it does not fit there."""
    row, col = np.unravel_index(room.field.argmax(), room.field.shape)
    x, y = ((at - room.pad + 0.5) * room.cell_px for at in (col, row))
    poses = np.column_stack([np.full((len(shape.turns), 2), (x, y)), shape.turns])
    spare = shape.spare(room, poses).min(axis=1)
    return poses[spare.argmax()][None] if spare.max() >= 0 else np.zeros((0, 3))


#: Places of the rows within one step, as shares of it.
_SHIFTS = np.stack(np.meshgrid([0, 1 / 3, 2 / 3], [0, 1 / 3, 2 / 3]), axis=-1).reshape(-1, 2)


def _row_steps(shape: _Shape) -> list[tuple[float, float, float]]:
    """Steps along a row, from row to row beside, and across: ovals end to end, shifted by half or straight."""
    along = (shape.long + shape.margin) * (1 + 1e-4)
    straight = (shape.short + shape.margin) * (1 + 1e-4)
    low, high = 0.5 * straight, straight
    for _ in range(20):
        over = (low + high) / 2
        pair = np.array([[0.0, 0.0, 0.0], [along / 2, over, 0.0]])
        apart = shape.gaps(pair, np.array([0]), np.array([1]))[0][0] >= 0
        low, high = (low, over) if apart else (over, high)
    return [(along, along / 2, high), (along, 0.0, straight)]


def _walk(clash: NDArray[np.int8], rng: np.random.Generator):
    """Yield sets of places that do not clash and to which none can be added, each larger than those yielded before or
    as large.

    One place is swapped for another that clashes with it alone; now and then one for two.
    """
    n = len(clash)
    if n == 0:
        return
    tight = np.zeros(n, np.int16)
    taken: list[int] = []
    rested = np.zeros(n, np.int32)
    most = 0
    for swap in range(SWAPS):
        grown = False
        while len(free := np.flatnonzero(tight == 0)):
            new = int(free[rng.integers(len(free))])
            taken.append(new)
            tight += clash[new]
            grown = True
        if grown and len(taken) >= most:
            most = len(taken)
            yield list(taken)
        ready = rested <= swap
        once = np.flatnonzero((tight == 1) & ready)
        if len(once) == 0 or rng.random() < 0.02:
            once = np.flatnonzero((tight == 2) & ready)
        if len(once) == 0:
            continue
        new = int(once[rng.integers(len(once))])
        at = np.array(taken)
        for old in at[clash[new, at] > 0].tolist():
            taken.remove(old)
            tight -= clash[old]
            rested[old] = swap + 7
        if tight[new] == 0:
            taken.append(new)
            tight += clash[new]


def _pushed_apart(
    room: Room, shape: _Shape, poses: NDArray, n_fixed: int
) -> tuple[NDArray, int | None]:
    """Return the poses moved until none overlaps, and ``None``; or as far as it went, and which of them is worst off.

    Damped Gauss-Newton steps on what is violated.
    """
    poses = poses.copy()
    n = len(poses)
    first, second = np.triu_indices(n, 1)
    goal = 0.004 * shape.short
    arm = shape.long / 4
    least = np.inf
    for step in range(PUSH_STEPS):
        spare = shape.spare(room, poses)
        near = (
            np.hypot(*(poses[first, :2] - poses[second, :2]).T) < shape.long + shape.margin + goal
        )
        i, j = first[near], second[near]
        gaps, along = shape.gaps(poses, i, j)
        # Measured once more where it is claimed: no violation at all.
        violated = max(-spare.min(), -gaps.min(initial=0.0), 0.0)
        if violated == 0.0:
            return poses, None
        if step >= 8 and violated > 0.9 * least and step % 4 == 0:
            break
        least = min(least, violated)
        rows, short = _jacobian(room, shape, poses, spare, (i, j, gaps, along), goal, arm)
        rows[:, : 3 * n_fixed] = 0
        square = rows.T @ rows
        square[np.diag_indices(3 * n)] += 1e-2
        move = np.linalg.solve(square, rows.T @ short).reshape(n, 3)
        move *= min(1.0, 0.25 * shape.short / max(np.abs(move).max(), 1e-12))
        poses += move / (1, 1, arm)
    lack = np.maximum(0, -spare).max(axis=1)
    np.add.at(lack, i, np.maximum(0, -gaps))
    np.add.at(lack, j, np.maximum(0, -gaps))
    return poses, n_fixed + int(lack[n_fixed:].argmax())


def _jacobian(
    room: Room, shape: _Shape, poses: NDArray, spare: NDArray, pairs, goal: float, arm: float
):
    """Rows of how what is short of the goal grows with x, y and arm times turn of each pose, and by how much."""
    n = len(poses)
    # Discs at the rim of the room.
    pose, disc = np.nonzero(spare < goal)
    cos, sin = np.cos(poses[pose, 2]), np.sin(poses[pose, 2])
    x, y = poses[pose, 0] + shape.axis[disc] * cos, poses[pose, 1] + shape.axis[disc] * sin
    reach = room.cell_px
    slope_x = (room.at(x + reach, y) - room.at(x - reach, y)) / (2 * reach)
    slope_y = (room.at(x, y + reach) - room.at(x, y - reach)) / (2 * reach)
    at_rim = np.zeros((len(pose), n, 3))
    k = np.arange(len(pose))
    at_rim[k, pose, 0], at_rim[k, pose, 1] = slope_x, slope_y
    at_rim[k, pose, 2] = shape.axis[disc] * (slope_y * cos - slope_x * sin) / arm
    # Pairs, along the direction in which they lie farthest apart.
    i, j, gaps, along = (v[pairs[2] < goal] for v in pairs)
    unit = _UNITS[:, along]
    side = np.sign(((poses[j, :2] - poses[i, :2]).T * unit).sum(axis=0))
    side[side == 0] = 1.0
    at_pair = np.zeros((len(i), n, 3))
    k = np.arange(len(i))
    for which, sign in ((i, -1.0), (j, 1.0)):
        at_pair[k, which, 0], at_pair[k, which, 1] = sign * side * unit
        off = _DIRECTIONS[along] - poses[which, 2]
        half = np.hypot(shape.long / 2 * np.cos(off), shape.short / 2 * np.sin(off))
        swing = (shape.long**2 - shape.short**2) / 4 * np.sin(off) * np.cos(off) / half
        at_pair[k, which, 2] = -swing / arm
    rows = np.concatenate([at_rim.reshape(-1, 3 * n), at_pair.reshape(-1, 3 * n)])
    return rows, goal - np.concatenate([spare[pose, disc], gaps])


def _best_scenes(shape: _Shape, poses: NDArray, scorer: Scorer) -> NDArray:
    """Return the poses of the best scenes, best first, that keep apart; all that score nearly as well as the best."""
    if len(poses) == 0:
        return np.zeros((0, 3))
    _, scores = _upright(_told(poses), scorer)
    left = scores >= GOOD_SCENE * scores.max()
    taken: list[int] = []
    while left.any():
        best = int(np.where(left, scores, -np.inf).argmax())
        taken.append(best)
        gaps, _ = shape.gaps(poses, np.full(len(poses), best), np.arange(len(poses)))
        left &= gaps >= 0
    return poses[taken]


def _told(poses: NDArray) -> NDArray:
    """Poses with the turn as it is told: degrees, counter-clockwise, 0 to 180."""
    return np.column_stack([poses[:, :2], np.degrees(-poses[:, 2]) % 180])


def _upright(told: NDArray, scorer: Scorer) -> tuple[NDArray, NDArray]:
    """Return the poses with the better of the two ways up, and its score."""
    other = told + np.array([0, 0, 180])
    scores, overturned = scorer(told), scorer(other)
    better = overturned > scores
    return np.where(better[:, None], other, told), np.where(better, overturned, scores)


def _plan(poses: NDArray, ranked: int, scorer: Scorer | None, oval: Oval, room: Room) -> CutPlan:
    """Number the templates: the first ``ranked`` as they are, the others row by row."""
    told = _told(poses)
    row = np.round(told[:, 1] / oval.short_px)
    order = np.lexsort((told[:, 0], row))
    told = np.concatenate([told[:ranked], told[order[order >= ranked]]])
    scores: list[float | None] = [None] * len(told)
    if scorer is not None and len(told):
        told, found = _upright(told, scorer)
        scores = found.tolist()
    placed = tuple(
        PlacedTemplate(*pose, score) for pose, score in zip(told.tolist(), scores, strict=True)
    )
    return CutPlan(placed, len(placed) * oval.area_px / max(room.face_area_px, 1.0))
