"""The scene in a face: where on it, how turned and how large a cut shows the best picture.

Templates are laid all over the face, each turned as the pattern under it points, coarse first, then in finer moves
around the best; each is scored by its part scores. The start targets are those of cutters' practice and of studies of
landscape photographs; all weights are settings.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.measurements import Line, Placement, Regions, Scene
from grader.face.scene.maps import Board, board_of, maps_of
from grader.face.scene.poses import Poses, fits, turned_by
from grader.face.scene.score import FINE_CELLS, SLIP, SLIP_DEG, score_poses
from grader.face.scene.search import Found, find_poses, rough_poses
from grader.face.scene.templates import Template, templates_for
from grader.profile import SCENE_PARTS, Profile

#: The runner-up shares less than this with the best,
OTHER_OVERLAP = 0.3
#: or lies turned by more, or is of another kind.
OTHER_TURN_DEG = 30.0
#: Cells of a picture, about, where only scores of given poses are asked for.
CELLS_OF_POSES = 400
#: A larger picture that scores so little less than the best is as good, points.
AS_GOOD = 5.0


def measure_scene(face: Face, regions: Regions, lines: Sequence[Line], profile: Profile) -> Scene:
    """Return the best place for a template on the face, its part scores, and the runner-up.

    The face may lie in the photo at any turn: its pattern shows which way up it is looked at. Templates
    are the profile's, or shares of the face without a scale. A line more never makes a face better: where one crosses
    the larger picture, a place beside it counts by the part of that picture's area which it keeps.
    """
    maps = maps_of(regions.codes, face.mask, profile)
    if not maps[-1].shows_pattern:
        return Scene(dict.fromkeys(SCENE_PARTS))
    board = board_of(maps, regions, lines, profile)
    scale = maps[-1].scale
    mm_per_px = None if face.mm_per_px is None else face.mm_per_px / scale
    templates = templates_for(maps[-1].readings > 0, mm_per_px, profile)
    unlined = replace(board, spots=board.spots[:0], weights=board.weights[:0])
    rough = rough_poses(unlined, templates)
    placed = find_poses(unlined, rough)
    if not placed:
        return Scene(dict.fromkeys(SCENE_PARTS))
    best = _best(placed)
    whole_score = score = best.score
    whole = _largest(placed, whole_score)
    crossed = _with_lines(board, whole)
    if crossed < whole.score:
        placed = find_poses(board, rough) or placed
        best = _best(placed)
        score = min(max(crossed, best.score * _kept(best, whole)), whole_score)
    points = _points(board)
    covered = best.pose.shows(points)[0]
    others = [found for found in placed if _differs(found, best, points, covered)]
    runner_up = max(others, key=lambda found: found.score, default=None)
    first = _placement(board, best, mm_per_px)
    second = runner_up and _placement(board, runner_up, mm_per_px)
    return Scene(first.parts, first, second, score, whole_score)


def place_scores(
    face: Face, regions: Regions, profile: Profile, size_px: tuple[float, float], poses: NDArray
) -> NDArray[np.float64]:
    """Return the scene of ovals laid in given poses, lines left out, (n,), 0 to 100; the better kind counts.

    Parameters
    ----------
    size_px : width and height of the oval, working px; the width is level in the picture.
    poses : ndarray of shape (n, 3)
        x, y in working px and the direction of the width, degrees counter-clockwise.
    """
    maps = maps_of(regions.codes, face.mask, profile)
    if not len(poses) or not maps[-1].shows_pattern:
        return np.zeros(len(poses))
    board, scale = board_of(maps, regions, (), profile), maps[-1].scale
    width, height = (side * scale for side in size_px)
    # All have one size here, so it does not count.
    oval = Template("oval", "oval", (width, height), None, 1.0)
    poses = np.asarray(poses, float)
    centre, turn_deg = maps[-1].laid(poses[:, :2]), poses[:, 2] - maps[-1].table.turn_deg
    scored = [
        score_poses(board, parcel, CELLS_OF_POSES)
        for parcel in Poses(oval, centre, turn_deg).parcels()
    ]
    best = [np.max([s.scores for s in by_kind.values()], axis=0) for by_kind in scored]
    return np.maximum(np.concatenate(best), 0.0)


def _best(placed: Sequence[Found]) -> Found:
    return max(placed, key=lambda found: found.score)


def _area(found: Found) -> float:
    return float(np.prod(found.pose.template.size_px))


def _largest(placed: Sequence[Found], best_score: float) -> Found:
    """The largest picture that is as good as the best: what the face shows, before a saw."""
    return max((f for f in placed if f.score >= best_score - AS_GOOD), key=_area)


def _with_lines(board: Board, found: Found) -> float:
    """What a pose scores with the lines counted."""
    scored = score_poses(board, found.pose, FINE_CELLS, (found.kind,), slipped=True)
    return float(scored[found.kind].scores[0])


def _kept(beside: Found, whole: Found) -> float:
    """How much of a picture's area one beside the line keeps, 0 to 1."""
    return min(_area(beside) / _area(whole), 1.0)


def _points(board: Board) -> NDArray[np.float64]:
    """Points x, y, (m, 2), by which it is told how much two pictures share: every other px of the largest map."""
    h, w = board.outside.shape
    y, x = np.mgrid[:h:2, :w:2]
    return np.stack([x.ravel(), y.ravel()], axis=1) + 0.5


def _differs(found: Found, best: Found, points: NDArray, covered: NDArray[np.bool_]) -> bool:
    """Whether a pose shows another picture than the best: elsewhere, turned, or of another kind.

    covered : which of the points, (m, 2), the best shows, (m,).
    """
    turned = turned_by(found.pose.turn_deg[0], best.pose.turn_deg[0])
    if found.kind != best.kind or turned > OTHER_TURN_DEG:
        return True
    here = found.pose.shows(points)[0]
    return bool((here & covered).sum() < OTHER_OVERLAP * max((here | covered).sum(), 1))


def _placement(board: Board, found: Found, mm_per_map_px: float | None) -> Placement:
    """The pose as it is reported, in working px, with the scores of its neighbours as the interval."""
    score, kind, pose = found
    counted = score_poses(board, pose, FINE_CELLS, (kind,), slipped=True)[kind]
    near = pose.with_neighbours(SLIP * pose.template.size_px[0], SLIP_DEG)
    near = near[fits(board, near)]
    slipped = score_poses(board, near, FINE_CELLS, (kind,))[kind].scores if len(near) else [score]
    largest, template = board.maps[-1], pose.template
    centre = largest.in_face(pose.centre)[0]
    parts = {part: float(counted.parts[part][0]) for part in SCENE_PARTS}
    shore_share = float(counted.shore_share[0])
    return Placement(
        template=template.name,
        shape=template.shape,
        kind=kind,
        centre_px=(float(centre[0]), float(centre[1])),
        turn_deg=float((pose.turn_deg[0] + largest.table.turn_deg) % 360),
        size_px=tuple(side / largest.scale for side in template.size_px),
        size_mm=template.size_mm,
        score=score,
        low=float(max(min(*slipped, score), 0)),
        high=float(max(*slipped, score)),
        parts={part: None if np.isnan(value) else value for part, value in parts.items()},
        shore_share=shore_share,
        shore_mm=mm_per_map_px and float(shore_share * template.size_px[1] * mm_per_map_px),
        shore_evenness=float(counted.shore_evenness[0]),
        line_ratio=_line_ratio(board, pose),
    )


def _line_ratio(board: Board, pose: Poses) -> float:
    """Length of the lines in a picture / its width."""
    if not len(board.spots):
        return 0.0
    within = pose.shows(board.spots)[0]
    return float(board.weights[within].sum() / pose.template.size_px[0])
