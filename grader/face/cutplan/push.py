"""Templates pushed apart to true size: damped Gauss-Newton steps on what is too near."""

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.room import Room
from grader.face.cutplan.shape import DIRECTIONS, UNITS, Shape

#: Steps of each push.
PUSH_STEPS = 25


def pushed_apart(
    room: Room, shape: Shape, poses: NDArray, n_fixed: int
) -> tuple[NDArray, int | None]:
    """Return the poses moved until none overlaps, and ``None``; or as far as it went, and which of them is worst off.

    Each step solves (J'J + 0.01) d = J'r, where r is what each disc and pair lacks to the goal and J how that changes
    with x, y and arm times turn of each pose (Levenberg 1944, Quart. Appl. Math. 2:164, from memory).

    poses : ndarray of shape (n, 3) as in ``shape``; the first ``n_fixed`` stay.
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
    room: Room, shape: Shape, poses: NDArray, spare: NDArray, pairs, goal: float, arm: float
):
    """Return how spare room and gaps change with x, y and arm times turn of each pose, and what they lack of the goal.

    (rows, 3 n) and (rows,): a row for each disc and pair below the goal.


    spare : (n, discs).   pairs : first, second, gap and number of direction, (pairs,) each.
    """
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
    unit = UNITS[:, along]
    side = np.sign(((poses[j, :2] - poses[i, :2]).T * unit).sum(axis=0))
    side[side == 0] = 1.0
    at_pair = np.zeros((len(i), n, 3))
    k = np.arange(len(i))
    for which, sign in ((i, -1.0), (j, 1.0)):
        at_pair[k, which, 0], at_pair[k, which, 1] = sign * side * unit
        off = DIRECTIONS[along] - poses[which, 2]
        half = np.hypot(shape.long / 2 * np.cos(off), shape.short / 2 * np.sin(off))
        swing = (shape.long**2 - shape.short**2) / 4 * np.sin(off) * np.cos(off) / half
        at_pair[k, which, 2] = -swing / arm
    rows = np.concatenate([at_rim.reshape(-1, 3 * n), at_pair.reshape(-1, 3 * n)])
    return rows, goal - np.concatenate([spare[pose, disc], gaps])
