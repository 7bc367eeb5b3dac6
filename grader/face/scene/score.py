"""The scene score of pictures: from part scores to 0 to 100."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from grader.face.scene.flow import READ, surf_parts
from grader.face.scene.maps import Board
from grader.face.scene.parts import Parts, landscape_parts, stream_parts, unread_share
from grader.face.scene.poses import Poses, grid_of, pictures, places_on

#: The kinds of picture that are looked for.
KINDS = ("landscape", "stream", "surf")
#: Cells of a picture, about, for the score that counts.
FINE_CELLS = 700
#: A picture with more glare than this is not judged.
MOST_UNREAD = 0.4
#: A part of 0 holds the score down to this, however good the rest is; a part of 1 does not.
LIMITS = {"focal": 40.0, "size": 20.0, "water": 75.0, "horizon": 45.0, "zones": 20.0}
#: What a stream is worth beside a landscape.
STREAM_WORTH = 0.86
#: What the hand that draws round a template is off by: share of its width.
SLIP = 0.02
#: And degrees.
SLIP_DEG = 3.0
#: The parts of a pose are means over these slips (across, down, turned), so that none scores by a hair.
SLIPS = ((0, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))


class Scored(NamedTuple):
    """What n pictures of one kind are worth.

    scores : (n,) 0 to 100, -1 where glare hides too much.   parts : by name, (n,) 0 to 1, nan where not known.
    shore_share, shore_evenness : (n,) of the host below, share of the height and 0 to 1.
    """

    scores: NDArray
    parts: dict[str, NDArray]
    shore_share: NDArray
    shore_evenness: NDArray


class Seen(NamedTuple):
    """What n pictures show, whatever lines there are.

    unread : (n,) share that glare hides.   by_kind : of each kind that was asked for its parts, islands among them, and
    what it is worth beside a landscape, (n,).
    """

    unread: NDArray
    by_kind: dict[str, tuple[Parts, NDArray]]


def scene_score(parts: dict[str, float | None], weights: dict[str, float]) -> float:
    """Return the weighted mean of the part scores (0 to 1) as 0 to 100; ``None`` is left out.

    Parts without which there is no picture to sell (``LIMITS``) also limit the score, where they
    have a weight: a line through the middle, no water, no horizon, a single zone, too small to cut.
    Two such faults limit it twice.
    """
    arrays = {part: np.array([np.nan if v is None else v], float) for part, v in parts.items()}
    return float(_weighted(arrays, weights)[0])


def score_poses(
    board: Board, poses: Poses, cells: int, kinds: Sequence[str] = KINDS, slipped: bool = False
) -> dict[str, Scored]:
    """Return by kind what each of n poses is worth.

    cells : of a picture, about.   slipped : parts are means over ``SLIPS``.
    """
    lots = [_slipped(poses) if slipped else poses]
    return rated(board, lots, seen(board, lots, cells, kinds), len(poses))


def score_lots(
    board: Board, lots: Sequence[Poses], cells: int, kind: str, slipped: bool
) -> list[NDArray[np.float64]]:
    """Return the scores as of one kind of several templates' poses, as :func:`score_poses` gives them.

    Templates whose pictures have the same cells are scored together, which is sooner done than one by one.
    """
    alike: dict[tuple, list[int]] = {}
    for k, poses in enumerate(lots):
        alike.setdefault((grid_of(poses.template, cells), poses.template.shape), []).append(k)
    scores: list[NDArray] = [np.empty(0)] * len(lots)
    for places in alike.values():
        some = [_slipped(lots[k]) if slipped else lots[k] for k in places]
        n = [len(lots[k]) for k in places]
        found = rated(board, some, seen(board, some, cells, (kind,)), sum(n))[kind].scores
        for k, of_lot in zip(places, np.split(found, np.cumsum(n)[:-1]), strict=True):
            scores[k] = of_lot
    return scores


def _slipped(poses: Poses) -> Poses:
    """Each pose and its slips, side by side."""
    return poses.shifted(SLIPS, SLIP * poses.template.size_px[0], SLIP_DEG)


def seen(board: Board, lots: Sequence[Poses], cells: int, kinds: Sequence[str]) -> Seen:
    """Return what poses show, before lines are counted: for :func:`rated`, of the same board with any lines.

    lots : of templates whose pictures have the same cells, one after another.
    """
    each = [pictures(board, poses, cells).transpose(1, 2, 0) for poses in lots]
    shown = (each[0] if len(each) == 1 else np.concatenate(each, axis=2)).transpose(2, 0, 1)
    by_kind = {}
    for kind in kinds:
        found, worth = _read_as(kind, shown, board, lots)
        isles = _of_all(lots, lambda poses, kind=kind: _islands(board, poses, kind))
        found.values["islands"] = np.where(found.values["water"] < 0.4, np.nan, isles)
        by_kind[kind] = found, worth
    return Seen(unread_share(shown), by_kind)


def rated(board: Board, lots: Sequence[Poses], shown: Seen, n: int) -> dict[str, Scored]:
    """Return by kind what n pictures are worth; of each pose there may be several slips, side by side."""
    hidden = _mean_of(shown.unread, n) > MOST_UNREAD
    focal = _of_all(lots, lambda poses: _focal(board, poses))
    size = _of_all(lots, lambda poses: np.full(len(poses), poses.template.worth))
    answers = {}
    for kind, (found, worth) in shown.by_kind.items():
        parts = found.values | {"focal": focal, "size": size}
        # Last, as they are added up.
        parts["islands"] = parts.pop("islands")
        parts = dict(zip(parts, _mean_of(np.stack(list(parts.values())), n), strict=True))
        scores = _mean_of(worth, n) * _weighted(parts, board.part_weights)
        scores = np.where(hidden, -1.0, scores)
        shore = (_mean_of(values, n) for values in (found.shore_share, found.shore_evenness))
        answers[kind] = Scored(scores, parts, *shore)
    return answers


def _of_all(lots: Sequence[Poses], told: Callable[[Poses], NDArray]) -> NDArray:
    """What is told of each lot, one after another."""
    return np.concatenate([told(poses) for poses in lots])


def _read_as(
    kind: str, shown: NDArray, board: Board, lots: Sequence[Poses]
) -> tuple[Parts, NDArray]:
    """The part scores of pictures as of that kind, and what they are worth beside a landscape, (n,)."""
    if kind == "landscape":
        return landscape_parts(shown, board.contrasts), np.ones(len(shown))
    height_px = _of_all(lots, lambda poses: np.full(len(poses), poses.template.size_px[1]))
    if kind == "stream":
        broad_rows = board.broad_px * shown.shape[1] / height_px
        return stream_parts(shown, board.contrasts, broad_rows), np.full(len(shown), STREAM_WORTH)
    factor = board.flow_map.scale / board.maps[-1].scale
    places = _of_all(lots, lambda poses: places_on(board.flow_map, poses, READ, factor))
    return surf_parts(board.flow, places, np.float32(factor * height_px), board.contrasts)


def _mean_of(values: NDArray, n: int) -> NDArray[np.float64]:
    """Means, (..., n), of values (..., n slips) of n poses; nan where no slip has one."""
    values = np.asarray(values, float)
    if values.shape[-1] == n:
        return values
    values = values.reshape(*values.shape[:-1], n, -1)
    known = ~np.isnan(values)
    number = known.sum(axis=-1)
    means = np.where(known, values, 0).sum(axis=-1) / np.maximum(number, 1)
    return np.where(number > 0, means, np.nan)


def _weighted(parts: dict[str, NDArray], weights: dict[str, float]) -> NDArray[np.float64]:
    """Scores (n,), 0 to 100, of n pictures from part scores, (n,) each, nan where not known.

    100 sum(w v) / sum(w), at most the product of the limits.
    """
    total = total_weight = 0.0
    limit = 100.0
    for part, values in parts.items():
        weight = weights.get(part, 0.0)
        if weight > 0:
            known = ~np.isnan(values)
            value = np.where(known, values, 0.0)
            total, total_weight = total + weight * value, total_weight + weight * known
            if part in LIMITS:
                low = LIMITS[part]
                limit = limit * np.where(known, low + (100 - low) * value, 100.0) / 100
    mean = 100 * total / np.maximum(total_weight, 1e-9)
    n = len(next(iter(parts.values())))
    return np.minimum(mean, limit) * np.ones(n)


def _focal(board: Board, poses: Poses) -> NDArray[np.float64]:
    """1 without a crack in the middle 60 % of the picture, falling with the length there; (n,)."""
    if not len(board.spots):
        return np.ones(len(poses))
    length = poses.shows(board.spots, 0.6) @ board.weights
    return np.interp(length / poses.template.size_px[0], (0, 0.05, 0.4), (1, 0.6, 0))


def _islands(board: Board, poses: Poses, kind: str) -> NDArray[np.float64]:
    """Score of the host patches of 0.2 to 5 % in the water, (n,); nan where there is no landscape to lie in.

    One to three are a bonus, more than eight are clutter.
    """
    if kind != "landscape":
        return np.full(len(poses), np.nan)
    number = np.zeros(len(poses))
    if len(board.isles):
        w, h = poses.template.size_px
        area = w * h * (np.pi / 4 if poses.template.shape == "oval" else 1)
        counts = (board.isle_areas >= 0.002 * area) & (board.isle_areas <= 0.05 * area)
        number = (poses.shows(board.isles, 0.92) & counts).sum(axis=1)
    return np.interp(number, (0, 1, 3, 8, 9), (0.4, 1, 1, 0.4, 0))
