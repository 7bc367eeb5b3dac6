"""Where most templates fit: a grid of poses, a walk that swaps one for another, and pushes to true size."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.push import pushed_apart
from grader.face.cutplan.room import Room
from grader.face.cutplan.shape import UNITS, Shape

#: Poses to choose from, at most.
POSES = 1000
#: The least step of their grid, share of the short side.
LEAST_STEP = 0.07
#: Templates on the grid may overlap by this share of the short side.
SLACK = 0.12
#: Swaps of the walk.
SWAPS = 600
#: Sets that are pushed apart.
PUSHES = 8
#: Templates pushed into what is best.
SQUEEZES = 12
#: Places of the rows within one step, as shares of it.
SHIFTS = np.stack(np.meshgrid([0, 1 / 3, 2 / 3], [0, 1 / 3, 2 / 3]), axis=-1).reshape(-1, 2)


@dataclass(frozen=True)
class Grid:
    """Poses on a grid where a template nearly fits, and which pairs of them cannot both be taken.

    poses : (n, 3) as in ``shape``.   fits : (n,) whether it fits wholly.   clash : (n, n), 1 where not both.
    """

    poses: NDArray
    fits: NDArray[np.bool_]
    clash: NDArray[np.int8]


def grid_of(room: Room, shape: Shape) -> Grid:
    """Return the finest grid that leaves no more than ``POSES`` of them."""
    slack = 0.5 * SLACK * shape.short
    turns = shape.turns
    # A coarse grid shows how many there would be on a finer one.
    step = 0.5 * shape.short
    coarse = len(_nearly_fitting(room, shape, turns, step, slack)[1])
    step = max(step * (coarse / POSES) ** 0.5, LEAST_STEP * shape.short)
    while len((found := _nearly_fitting(room, shape, turns, step, slack))[1]) > POSES:
        step *= 1.05
    at, poses, turn, spare = found
    return Grid(poses, spare >= 0, _clashes(shape, at, turn, turns, step))


def _nearly_fitting(
    room: Room, shape: Shape, turns: NDArray, step: float, slack: float
) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Return the poses on a grid that find room but for the slack, and three facts of each.

    Row and column (n, 2), the pose (n, 3), the number of its turn (n,), the least room left to a disc (n,), px.
    """
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
    at = np.stack([np.tile(row, len(turns)), np.tile(col, len(turns))], axis=1)[kept]
    turn = np.repeat(np.arange(len(turns)), len(x))[kept]
    return at, poses[kept], turn, spare[kept]


def _clashes(
    shape: Shape, at: NDArray, turn: NDArray, turns: NDArray, step: float
) -> NDArray[np.int8]:
    """Which pairs overlap by more than the slack, (n, n); looked up by their offset on the grid and their turns.

    at : (n, 2) row and column on the grid.   turn : (n,) number of the turn among ``turns``, radians.
    """
    if len(at) == 0:
        return np.zeros((0, 0), np.int8)
    reach = np.minimum(
        at.max(axis=0) - at.min(axis=0), int((shape.long + shape.margin) // step) + 1
    )
    rows, cols = (np.arange(-r, r + 1) for r in reach)
    dy, dx = (v.ravel() * step for v in np.meshgrid(rows, cols, indexing="ij"))
    shadows = shape.half_shadows(turns)
    limit = shadows[:, None] + shadows[None] + (shape.margin - SLACK * shape.short)
    across = np.abs(np.stack([dx, dy], axis=1) @ UNITS)
    table = np.zeros((len(turns), len(turns), len(rows), len(cols)), np.int8)
    for i in range(len(turns)):
        for j in range(i, len(turns)):
            # The same both ways, since an oval is its own mirror through its centre.
            table[i, j] = (across < limit[i, j]).all(axis=1).reshape(table.shape[2:])
            table[j, i] = table[i, j]
    # A rim that clashes with nothing takes all that lies farther.
    table = np.pad(table, ((0, 0), (0, 0), (1, 1), (1, 1)))
    high, wide = table.shape[2:]
    down = np.clip(at[None, :, 0] - at[:, None, 0] + reach[0] + 1, 0, high - 1)
    right = np.clip(at[None, :, 1] - at[:, None, 1] + reach[1] + 1, 0, wide - 1)
    pair = turn[:, None] * len(turns) + turn[None, :]
    return table.ravel()[(pair * high + down) * wide + right]


def search(
    room: Room, shape: Shape, grid: Grid, fixed: NDArray, rng: np.random.Generator
) -> NDArray:
    """Return the poses of the most templates found; the fixed ones come first and stay.

    From rows that fit as they are (where nothing is fixed), from the walk, and from what is best so far with one more
    pushed into it.
    """
    free = _nearest_gap(shape, grid.poses, fixed)
    best = _filled_up(shape, fixed if len(fixed) else _rows(room, shape), grid)
    open_ = np.flatnonzero(free > -SLACK * shape.short)
    pushes = PUSHES
    for chosen in _walk(grid.clash[np.ix_(open_, open_)], rng):
        taken = np.vstack([fixed, grid.poses[open_[chosen]]])
        # Pushing apart costs far more than a step of the walk: only what promises more.
        while len(taken) > len(best) and pushes:
            taken, worst = pushed_apart(room, shape, taken, len(fixed))
            pushes -= 1
            if worst is None:
                best = _filled_up(shape, taken, grid)
                break
            taken = np.delete(taken, worst, axis=0)
    tries = SQUEEZES
    while tries:
        gap = _nearest_gap(shape, grid.poses, best)
        for place in _apart(grid.poses, gap, shape.short / 2)[:tries]:
            tries -= 1
            taken, worst = pushed_apart(
                room, shape, np.vstack([best, grid.poses[place]]), len(fixed)
            )
            if worst is None:
                best = _filled_up(shape, taken, grid)
                break
        else:
            break
    return best


def _nearest_gap(shape: Shape, poses: NDArray, taken: NDArray) -> NDArray:
    """Return how far each of n poses is from the nearest of those taken, less the margin, (n,).

    Below 0 it is too near.
    """
    nearest = np.full(len(poses), np.inf)
    for pose in taken:
        # By their circles first: most lie far off, and how far does not matter.
        gap = np.hypot(*(poses[:, :2] - pose[:2]).T) - shape.long - shape.margin
        close = np.flatnonzero(gap < 0)
        both = np.vstack([pose[None], poses[close]])
        gap[close], _ = shape.gaps(both, np.zeros(len(close), int), np.arange(1, len(both)))
        nearest = np.minimum(nearest, gap)
    return nearest


def _filled_up(shape: Shape, taken: NDArray, grid: Grid) -> NDArray:
    """Return the poses taken and, as long as there are any, places that fit beside them, the tightest first."""
    gap = np.where(grid.fits, _nearest_gap(shape, grid.poses, taken), -1.0)
    while (gap >= 0).any():
        new = grid.poses[int(np.where(gap >= 0, gap, np.inf).argmin())]
        taken = np.vstack([taken, new])
        gap = np.minimum(gap, _nearest_gap(shape, grid.poses, new[None]))
    return taken


def _apart(poses: NDArray, gap: NDArray, distance: float) -> list[int]:
    """Numbers of poses by falling gap, none within ``distance`` of one before it."""
    found: list[int] = []
    gap = gap.copy()
    while len(found) < SQUEEZES and len(gap) and gap.max() > -np.inf:
        best = int(gap.argmax())
        found.append(best)
        gap[np.hypot(*(poses[:, :2] - poses[best, :2]).T) < distance] = -np.inf
    return found


def _rows(room: Room, shape: Shape) -> NDArray:
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
            for shift in SHIFTS * (along, over):
                at = (lattice + shift) @ np.array([[cos, sin], [-sin, cos]]) + middle
                at = at[room.at(at[:, 0], at[:, 1]) >= shape.short / 2]
                poses = np.column_stack([at, np.full(len(at), turn)])
                poses = poses[(shape.spare(room, poses) >= 0).all(axis=1)]
                best = poses if len(poses) > len(best) else best
    return best


def _deepest(room: Room, shape: Shape) -> NDArray:
    """Return one pose in the deepest place of the room, or none where it does not fit there."""
    row, col = np.unravel_index(room.field.argmax(), room.field.shape)
    x, y = ((at - room.pad + 0.5) * room.cell_px for at in (col, row))
    poses = np.column_stack([np.full((len(shape.turns), 2), (x, y)), shape.turns])
    spare = shape.spare(room, poses).min(axis=1)
    return poses[spare.argmax()][None] if spare.max() >= 0 else np.zeros((0, 3))


def _row_steps(shape: Shape) -> list[tuple[float, float, float]]:
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


def _walk(clash: NDArray[np.int8], rng: np.random.Generator) -> Iterator[list[int]]:
    """Yield sets of places, (n,) numbers, that do not clash and to which none can be added.

    Each is larger than those before, or as large.

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
