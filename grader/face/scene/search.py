"""The search for the best pose: templates all over the face, coarse first, then in finer moves around the best."""

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.scene.maps import Board
from grader.face.scene.parts import SHORE, SKY, WATER
from grader.face.scene.poses import Poses, overhang, turned_by
from grader.face.scene.score import FINE_CELLS, KINDS, Seen, rated, score_lots, seen
from grader.face.scene.templates import Template, room
from grader.measures import UNREADABLE

#: Cells of a picture, about, while looking for candidates.
COARSE_CELLS = 240
#: Turns tried first.
TURN_STEP_DEG = 8.0
#: Poses are this share of the short side apart at first.
POSE_STEP = 0.14
#: The way up in a pose is taken from the pattern as it looks with half closed eyes (sigma, share of the template's
#: height).
BLUR_SHARE = 0.3
#: Turns further from it are not tried, degrees.
UP_WITHIN_DEG = {"landscape": 66.0, "stream": 38.0}
#: Surf has no way up: every so many turns are enough.
SURF_TURN_DEG = 40.0
#: A seam bends the brightness across it by this much at least, steps of a reading per height squared.
LEAST_BEND = 1.5
#: The way up where nothing shows it, on the table.
USUAL_UP = (0.0, -1e-3)
#: How many candidates of each kind are followed.
FOLLOWED = {"landscape": 120, "stream": 24, "surf": 4}
#: And how far behind the first they may be, points.
WORTH_FOLLOWING = 40.0


class Move(NamedTuple):
    """One move of the poses that are followed.

    share, degrees : of the short side and of turn, to the neighbours.   cells : of a picture.   slips : whether they
    count.   goes_on : what share of a template's poses goes on to the next move.   behind : how far behind the best
    of their kind those may be, points.
    """

    share: float
    degrees: float
    cells: int
    slips: bool
    goes_on: float
    behind: float


MOVES = (
    Move(0.07, 6.0, 300, False, 0.6, 100.0),
    Move(0.05, 4.0, 400, True, 0.5, 25.0),
    Move(0.04, 2.0, FINE_CELLS, True, 0.5, 15.0),
    Move(0.03, 2.0, FINE_CELLS, True, 0.6, 10.0),
    Move(0.02, 1.5, FINE_CELLS, True, 0.6, 8.0),
    Move(0.015, 1.0, FINE_CELLS, True, 0.8, 6.0),
    Move(0.015, 1.5, FINE_CELLS, True, 0.8, 4.0),
    Move(0.01, 0.5, FINE_CELLS, True, 1.0, 100.0),
)
#: At least so many of a template's are kept, where they are not too far behind.
LEAST_KEPT = 3


class Found(NamedTuple):
    """One pose, its kind and its score, 0 to 100."""

    score: float
    kind: str
    pose: Poses


class Rough(NamedTuple):
    """A template's rough poses that are likely for a kind, all over the face, and parcel by parcel what they show."""

    kind: str
    poses: Poses
    shown: list[Seen]


def find_poses(board: Board, rough: Sequence[Rough]) -> list[Found]:
    """Return the poses that the search ends in, some of each kind and template; empty where none fits.

    rough : by :func:`rough_poses`, of this board or of the same one with other lines.
    """
    return _follow(board, _candidates(board, rough))


def rough_poses(board: Board, templates: Sequence[Template]) -> list[Rough]:
    """Return where templates are laid at first: all over the face, at the turns that are likely there."""
    rough = []
    rooms = _rooms(board, templates)
    for template in templates:
        poses = _everywhere(template, rooms[template.shape, template.ratio])
        if poses is None:
            continue
        for kind in KINDS:
            likely = poses[likely_upright(board, poses, kind)]
            if len(likely):
                shown = [
                    seen(board, [parcel], COARSE_CELLS, (kind,)) for parcel in likely.parcels()
                ]
                rough.append(Rough(kind, likely, shown))
    return rough


def _candidates(board: Board, rough: Sequence[Rough]) -> list[Found]:
    """Return the best rough poses of each kind."""
    found = []
    for kind, poses, shown in rough:
        parcels = zip(poses.parcels(), shown, strict=True)
        scores = [rated(board, [lot], seen, len(lot))[kind].scores for lot, seen in parcels]
        scores = np.concatenate(scores)
        found += [Found(scores[k], kind, poses[k : k + 1]) for k in _apart(scores, poses)]
    chosen = []
    for kind in KINDS:
        best = sorted((f for f in found if f.kind == kind), key=lambda f: -f.score)
        best = best[: FOLLOWED[kind]]
        chosen += [f for f in best if f.score >= best[0].score - WORTH_FOLLOWING]
    return chosen


def _rooms(board: Board, templates: Sequence[Template]) -> dict:
    """Return by shape and ratio the room at each turn of half a circle, on the middle map.

    (turn in degrees, half widths and matrix of ``room``, px of the largest map for one of the middle map).
    """
    small = board.maps[1]
    inside, factor = np.pad(small.readings > 0, 1), board.maps[-1].scale / small.scale
    rooms = {}
    for shape, ratio in {(t.shape, t.ratio) for t in templates}:
        turns = np.arange(0, 180, TURN_STEP_DEG)
        rooms[shape, ratio] = [(t, *room(inside, ratio, shape, t), factor) for t in turns]
    return rooms


def _everywhere(template: Template, rooms) -> Poses | None:
    """Return a template in every place that takes it, some distance apart; ``None`` if none does."""
    centres, turns = [], []
    for turn, half_width, back, factor in rooms:
        need = template.size_px[0] / 2 / factor
        # Fine moves find the room that is lacking by a hair.
        takes = half_width >= 0.94 * need - 0.5
        if not takes.any():
            continue
        step = POSE_STEP * template.size_px[1] / factor
        step_y, step_x = max(round(step * template.ratio), 1), max(round(step), 1)
        # The net hangs on the roomiest place, which turns with the face.
        y0, x0 = np.unravel_index(half_width.argmax(), half_width.shape)
        grid = takes[y0 % step_y :: step_y, x0 % step_x :: step_x]
        y, x = np.nonzero(grid)
        points = np.stack([x * step_x + x0 % step_x, y * step_y + y0 % step_y], axis=1)
        # Px are counted from their middles there, and the map has a rim of one px.
        points = (points @ back[:, :2].T + back[:, 2] - 0.5) * factor
        for either in (turn, turn + 180):
            centres.append(points)
            turns.append(np.full(len(points), either))
    return Poses(template, np.vstack(centres), np.concatenate(turns)) if centres else None


def likely_upright(board: Board, poses: Poses, kind: str) -> NDArray[np.bool_]:
    """Return which poses, (n,), lie as the pattern under them does.

    A landscape's sky lies towards where there is more of it (the gradient), a stream along its seam (the Hessian's
    lesser curvature). Surf may lie as it likes.
    """
    if kind == "surf":
        return poses.turn_deg % SURF_TURN_DEG == 0
    small = board.maps[1]
    factor = small.scale / board.maps[-1].scale
    high = poses.template.size_px[1] * factor
    # Even steps from sky down to shore; what is bright beside what is host.
    value = np.zeros(256, np.float32)
    value[[SKY, WATER, SHORE]] = (1, 0, -1) if kind == "landscape" else (1, 1, -1)
    read = (small.readings % UNREADABLE > 0).astype(np.float32)
    blurred, weight = (
        cv2.GaussianBlur(a, (0, 0), max(BLUR_SHARE * high, 1.0), borderType=cv2.BORDER_CONSTANT)
        for a in (value[small.readings], read)
    )
    by_y, by_x = np.gradient(blurred / np.maximum(weight, 1e-3))
    h, w = blurred.shape
    x, y = np.clip(np.floor(poses.centre * factor).astype(int), 0, (w - 1, h - 1)).T
    _, down = poses.axes()
    within = UP_WITHIN_DEG[kind]
    if kind == "landscape":
        up = np.stack([by_x[y, x], by_y[y, x]], axis=1) + USUAL_UP
        return -(down * up).sum(axis=1) >= np.cos(np.radians(within)) * np.hypot(*up.T)
    (yy, xy), xx = np.gradient(by_y), np.gradient(by_x, axis=1)
    yy, xy, xx = (a[y, x] for a in (yy, xy, xx))
    # Mean curvature, half the difference of the two, and the part along the picture's height (angles doubled).
    mean, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    level = (yy - xx) / 2 * (down[:, 1] ** 2 - down[:, 0] ** 2) + 2 * xy * down[:, 0] * down[:, 1]
    # Down the picture the brightness bends most, and down from the middle to both sides.
    across = -level >= np.cos(np.radians(2 * within)) * half
    return across & ((mean - half) * high**2 <= -LEAST_BEND)


def _apart(scores: NDArray, poses: Poses, most: int = 20) -> list[int]:
    """Return the numbers of the best few poses that are no neighbours of each other."""
    kept: list[int] = []
    near = 0.2 * poses.template.size_px[1]
    left = scores.copy()
    while len(kept) < most and left.max() >= 0:
        k = int(left.argmax())
        kept.append(k)
        distance = np.hypot(*(poses.centre - poses.centre[k]).T)
        left[(distance < near) & (turned_by(poses.turn_deg, poses.turn_deg[k]) < 12)] = -1
    return kept


def _follow(board: Board, candidates: list[Found]) -> list[Found]:
    """Return the candidates after small moves."""
    placed = []
    for kind in KINDS:
        poses: dict[Template, list[Poses]] = {}
        for candidate in candidates:
            if candidate.kind == kind:
                poses.setdefault(candidate.pose.template, []).append(candidate.pose)
        placed += _moved(board, poses, kind)
    return placed


def _moved(board: Board, poses: dict[Template, list[Poses]], kind: str) -> list[Found]:
    """Return the poses of one kind after all moves; of each template the better ones go on from move to move.

    Rough scores of small templates stand too high beside those of large ones.
    """
    found: dict[Template, list[Found]] = {}
    for move in MOVES:
        scored = _step(board, poses, kind, move)
        most = max((best[0].score for best in scored.values()), default=0.0)
        found = {
            t: [f for f in best[: _number(move, best)] if f.score >= most - move.behind]
            for t, best in scored.items()
        }
        poses = {t: [f.pose for f in kept] for t, kept in found.items() if kept}
    return [f for t in poses for f in found[t] if f.score >= 0]


def _number(move: Move, scored: list) -> int:
    """How many of a template's poses go on after a move."""
    return max(int(np.ceil(move.goes_on * len(scored))), LEAST_KEPT)


def _step(
    board: Board, poses: dict[Template, list[Poses]], kind: str, move: Move
) -> dict[Template, list[Found]]:
    """Return the poses of each template, one by one, each moved to the best of its neighbours, best first."""
    near, values, fitting = {}, {}, {}
    for template, places in poses.items():
        stacked = Poses(
            template,
            np.vstack([p.centre for p in places]),
            np.concatenate([p.turn_deg for p in places]),
        )
        around = stacked.with_neighbours(move.share * template.size_px[1], move.degrees)
        # What does not fit yet is led to where it does.
        near[template], values[template] = around, -1.0 - overhang(board, around)
        if (fits := values[template] == -1).any():
            fitting[template] = fits
    lots = [near[template][fits] for template, fits in fitting.items()]
    scores = score_lots(board, lots, move.cells, kind, move.slips)
    for (template, fits), of_template in zip(fitting.items(), scores, strict=True):
        values[template][fits] = of_template
    return {t: _best_of(near[t], values[t], len(places), kind) for t, places in poses.items()}


def _best_of(near: Poses, values: NDArray, number: int, kind: str) -> list[Found]:
    """The best neighbour of each of so many poses, best first; the neighbours of one lie side by side."""
    by_pose = values.reshape(number, -1)
    at = np.arange(number) * by_pose.shape[1] + by_pose.argmax(axis=1)
    found = [Found(float(values[i]), kind, near[i : i + 1]) for i in at]
    return sorted(found, key=lambda f: -f.score)
