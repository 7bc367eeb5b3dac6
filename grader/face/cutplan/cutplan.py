"""How many templates can be sawn out of a face, and where: a plan of most pieces, and one of the best scenes first.

A template is an oval. Two of them keep the sawing margin between each other, and each keeps it from the outline and
from every line that may part; none lies on glare, since what is under it was not seen; specks
are left out.

An oval is the union of the discs around the points of its long axis, so a distance field gives exactly (to a
hundredth of its short side) whether it fits; and two ovals lie apart where their shadows on some line do. Places are
first sought on a grid where templates may still overlap a little, by a walk that swaps one for another as long as none
can be added; then they are pushed apart to true size. What cannot be pushed apart is not claimed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.room import Oval, Room
from grader.face.cutplan.search import grid_of, search
from grader.face.cutplan.shape import Shape
from grader.face.lines.polyline import resample_within
from grader.face.measurements import Line
from grader.face.outline import rim

#: Scores, 0 to 100, of n templates placed at (n, 3): x, y in working px and the direction of the picture's right-hand
#: side, 0 <= d < 360, counter-clockwise as seen on the upright photo.
Scorer = Callable[[NDArray], NDArray]

#: A scene is taken first where it scores at least this share of the best one.
GOOD_SCENE = 0.75
#: Places of which the scene is scored, at most.
SCORED = 200


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
    shape = Shape.of(oval, margin_px)
    grid = grid_of(room, shape)
    most = search(room, shape, grid, np.zeros((0, 3)), rng)
    if scorer is None:
        return CutPlans(_plan(most, 0, None, oval, room), None)
    fitting = grid.poses[grid.fits]
    fitting = fitting[:: -(-len(fitting) // SCORED) or 1]
    first = _best_scenes(shape, np.vstack([most, fitting]), scorer)
    scenes = search(room, shape, grid, first, rng)
    return CutPlans(
        _plan(most, 0, scorer, oval, room), _plan(scenes, len(first), scorer, oval, room)
    )


def template_outline(placed: PlacedTemplate, oval: Oval, points: int = 72) -> NDArray:
    """Return (points, 2) x, y in working px around a placed oval."""
    turn = -np.radians(placed.turn_deg)
    a, b = rim("oval", (oval.long_px, oval.short_px), points).T
    x, y = a * np.cos(turn) - b * np.sin(turn), a * np.sin(turn) + b * np.cos(turn)
    return np.stack([placed.x_px + x, placed.y_px + y], axis=1)


def lines_within(placed: PlacedTemplate, oval: Oval, lines: Sequence[Line]) -> tuple[Line, ...]:
    """Return the lines of any kind that enter a placed oval."""
    turn = -np.radians(placed.turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    met = []
    for line in lines:
        at = (resample_within(line.points, 1.0) - (placed.x_px, placed.y_px)) @ axes.T
        reach = (2 * at[:, 0] / oval.long_px) ** 2 + (2 * at[:, 1] / oval.short_px) ** 2
        if (reach < 1).any():
            met.append(line)
    return tuple(met)


def _best_scenes(shape: Shape, poses: NDArray, scorer: Scorer) -> NDArray:
    """Return the poses, (n, 3), of the best scenes, best first, that keep apart.

    All count that score nearly as well as the best.
    """
    if len(poses) == 0:
        return np.zeros((0, 3))
    _, scores = _upright(_in_degrees(poses), scorer)
    left = scores >= GOOD_SCENE * scores.max()
    taken: list[int] = []
    while left.any():
        best = int(np.where(left, scores, -np.inf).argmax())
        taken.append(best)
        gaps, _ = shape.gaps(poses, np.full(len(poses), best), np.arange(len(poses)))
        left &= gaps >= 0
    return poses[taken]


def _in_degrees(poses: NDArray) -> NDArray:
    """Poses, (n, 3), with the turn as records have it: degrees, counter-clockwise, 0 to 180."""
    return np.column_stack([poses[:, :2], np.degrees(-poses[:, 2]) % 180])


def _upright(poses: NDArray, scorer: Scorer) -> tuple[NDArray, NDArray]:
    """Return the poses, (n, 3), turns in degrees, with the better of the two ways up, and its score, (n,)."""
    overturned = poses + np.array([0, 0, 180])
    scores, other_scores = scorer(poses), scorer(overturned)
    better = other_scores > scores
    return np.where(better[:, None], overturned, poses), np.where(better, other_scores, scores)


def _plan(poses: NDArray, ranked: int, scorer: Scorer | None, oval: Oval, room: Room) -> CutPlan:
    """Number the templates: the first ``ranked`` as they are, the others row by row.

    poses : (n, 3) as in ``shape``.
    """
    poses = _in_degrees(poses)
    row = np.round(poses[:, 1] / oval.short_px)
    order = np.lexsort((poses[:, 0], row))
    poses = np.concatenate([poses[:ranked], poses[order[order >= ranked]]])
    scores: list[float | None] = [None] * len(poses)
    if scorer is not None and len(poses):
        poses, found = _upright(poses, scorer)
        scores = found.tolist()
    placed = tuple(
        PlacedTemplate(*pose, score) for pose, score in zip(poses.tolist(), scores, strict=True)
    )
    return CutPlan(placed, len(placed) * oval.area_px / max(room.face_area_px, 1.0))
