"""How an answer is scored against the truth: pure functions on arrays, no file, no grader.

Everywhere: rows are photos or stones, and a figure is resampled over photos; layers are (H,
W) with 0 background, 1 blue, 2 white, 3 host, 9 unreadable; masks are bool; shares run from 0 to 1.
"""

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.optimize import linear_sum_assignment
from skimage.morphology import skeletonize

BLUE, WHITE, HOST, UNREADABLE = 1, 2, 3, 9
CLASSES = (BLUE, WHITE, HOST)
#: A stone counts as found where answer and truth share at least half of what either covers.
FOUND_IOU = 0.5


# --- regions -----------------------------------------------------------------------------------


def region_counts(answer: NDArray, truth: NDArray, unsure: NDArray | None = None) -> NDArray:
    """Return (2, 3) pixel counts of one photo: intersections and unions of blue, white and host.

    Judged are the pixels that the truth names blue, white or host, less the unsure ones. There an
    answer of background or unreadable is a wrong answer. What an answer says beyond the true stone
    is the outline's matter.
    """
    judged = np.isin(truth, CLASSES)
    if unsure is not None:
        judged &= ~unsure
    answered, true = answer[judged], truth[judged]
    both = [np.sum((answered == c) & (true == c)) for c in CLASSES]
    either = [np.sum((answered == c) | (true == c)) for c in CLASSES]
    return np.array([both, either], np.int64)


def blue_white_exchanged(layer: NDArray) -> NDArray:
    """Return the layer with the names blue and white exchanged."""
    other = layer.copy()
    other[layer == BLUE], other[layer == WHITE] = WHITE, BLUE
    return other


def better_naming_counts(answer: NDArray, truth: NDArray, unsure: NDArray | None = None) -> NDArray:
    """Return ``region_counts`` under the blue/white naming of the truth that has more pixels right.

    For stones whose pale field one eye calls white and the next light blue: there the border
    counts, not the name.
    """
    namings = (truth, blue_white_exchanged(truth))
    return max((region_counts(answer, t, unsure) for t in namings), key=lambda c: c[0].sum())


def region_iou(counts: NDArray) -> float:
    """Return the mean IoU of blue, white and host over (n, 2, 3) counts, pooled over photos.

    A class that neither answer nor truth holds anywhere is left out; nan where no class is left.
    """
    both, either = np.asarray(counts).reshape(-1, 2, 3).sum(axis=0)
    held = either > 0
    return float(np.mean(both[held] / either[held])) if held.any() else float("nan")


# --- shares ------------------------------------------------------------------------------------


def layer_shares(layer: NDArray, mask: NDArray) -> NDArray:
    """Return the (3,) shares of blue, white, host of the readable face in ``mask``; nan if none."""
    pixels = np.array([np.sum(layer[mask] == c) for c in CLASSES], float)
    return pixels / pixels.sum() if pixels.sum() else np.full(3, np.nan)


def share_error_points(
    values: NDArray, truth: NDArray, low: NDArray | None = None, high: NDArray | None = None
) -> float:
    """Return the mean over pieces and classes of \\|value - true share\\|, in points (0 to 100).

    Parameters
    ----------
    values, truth : ndarray of shape (n, 3), or (n,) of one class. A piece without an answer has
        zeros.
    low, high : ndarray of the same shape, optional
        Bounds of what the truth may be: only what lies beyond them counts.
    """
    values = np.asarray(values, float)
    low = truth if low is None else low
    high = truth if high is None else high
    beyond = np.maximum(np.maximum(low - values, values - high), 0)
    return float(100 * np.mean(beyond))


def coverage(low: NDArray, high: NDArray, truth: NDArray) -> float:
    """Return the share of true values that lie between ``low`` and ``high``, ends included."""
    return float(np.mean((low <= truth) & (truth <= high)))


def width_points(low: NDArray, high: NDArray) -> float:
    """Return the mean width of the intervals, in points."""
    return float(100 * np.mean(np.asarray(high) - low))


def absent_class_answered(values: NDArray, truth: NDArray, above: float) -> float:
    """Return how often more than ``above`` is said of a class that is truly absent, 0 to 1.

    ``values``, ``truth`` : (n, 3) shares. Every absent class of every stone is one case; nan where
    no class is absent.
    """
    absent = np.asarray(values)[np.asarray(truth) == 0]
    return float(np.mean(absent > above)) if len(absent) else float("nan")


# --- glare -------------------------------------------------------------------------------------


def glare_counts(answer: NDArray, truth: NDArray, stone: NDArray[np.bool_]) -> NDArray:
    """Return (4,) pixel counts of one true stone: glare in both, in the answer, in the truth; all.

    As with regions, what an answer says beyond the true stone is the outline's matter.
    """
    answered, true = answer[stone] == UNREADABLE, truth[stone] == UNREADABLE
    return np.array([np.sum(answered & true), answered.sum(), true.sum(), stone.sum()], np.int64)


def glare_iou(counts: NDArray) -> float:
    """Return the IoU of glare over (n, 4) counts, pooled; nan where neither side has any."""
    both, answered, true, _ = np.asarray(counts).reshape(-1, 4).sum(axis=0)
    either = answered + true - both
    return float(both / either) if either else float("nan")


def glare_shares(counts: NDArray) -> NDArray:
    """Return the (..., 2) said and true shares of glare, 0 to 1, of (..., 4) counts."""
    counts = np.asarray(counts)
    return counts[..., 1:3] / np.maximum(counts[..., 3:], 1)


# --- stones ------------------------------------------------------------------------------------


def match_pieces(answer: NDArray, truth: NDArray) -> list[tuple[int, int, float]]:
    """Return (answer id, true id, IoU) of the stones found, matched one to one.

    Parameters
    ----------
    answer, truth : ndarray of shape (H, W), whole numbers, ids of the stones, 0 elsewhere.
    """
    answered, true = (np.setdiff1d(np.unique(layer), [0]) for layer in (answer, truth))
    iou = np.zeros((len(answered), len(true)))
    for i, a in enumerate(answered):
        for j, t in enumerate(true):
            both = np.sum((answer == a) & (truth == t))
            if both:
                iou[i, j] = both / np.sum((answer == a) | (truth == t))
    return [
        (int(answered[i]), int(true[j]), float(iou[i, j]))
        for i, j in zip(*linear_sum_assignment(-iou), strict=True)
        if iou[i, j] >= FOUND_IOU
    ]


def in_100(counts: NDArray) -> float:
    """Return the events in 100 chances, of (n, 2) counts of both, pooled; nan without a chance."""
    events, chances = np.asarray(counts).reshape(-1, 2).sum(axis=0)
    return float(100 * events / chances) if chances else float("nan")


# --- lines -------------------------------------------------------------------------------------


def line_counts(
    answer: NDArray, truth: NDArray, tolerance_px: float, doubtful: NDArray | None = None
) -> NDArray:
    """Return the (4,) counts of one photo: answer px right, answer px judged, true px met, true px.

    Both masks are thinned to centre-lines. A px is right (met) where a px of the other centre-line
    lies within ``tolerance_px``. Answers within the tolerance of a line that is doubtful or
    too faint to see, and of no true one, are left out.
    """
    answered, true = (skeletonize(np.asarray(m, bool)) for m in (answer, truth))
    right = answered & _within(true, tolerance_px)
    judged = answered.copy()
    if doubtful is not None:
        judged &= right | ~_within(doubtful, tolerance_px)
    met = true & _within(answered, tolerance_px)
    return np.array([right.sum(), judged.sum(), met.sum(), true.sum()], np.int64)


def _within(lines: NDArray, distance_px: float) -> NDArray:
    if not lines.any():
        return np.zeros(lines.shape, bool)
    return distance_transform_edt(~lines) <= distance_px


def precision_recall_f1(counts: NDArray) -> tuple[float, float, float]:
    """Return precision, recall and F1 of (n, 4) counts, pooled; a part without pixels is 0."""
    right, judged, met, true = np.asarray(counts).reshape(-1, 4).sum(axis=0)
    precision = right / judged if judged else 0.0
    recall = met / true if true else 0.0
    total = precision + recall
    return float(precision), float(recall), float(2 * precision * recall / total) if total else 0.0


def called_counts(
    answer: NDArray, others: NDArray, truth: NDArray, tolerance_px: float, apart_px: float
) -> NDArray:
    """Return the (2,) counts of px on other lines: those within ``tolerance_px`` of an answer, and all of them.

    Left out is what lies within ``apart_px`` of a true line: there an answer may be right.

    Parameters
    ----------
    answer, others, truth : bool, (H, W): what is called, the centre-lines of what is not to be called, the true lines.
    """
    judged = np.asarray(others, bool) & ~_within(np.asarray(truth, bool), apart_px)
    return np.array(
        [(judged & _within(np.asarray(answer, bool), tolerance_px)).sum(), judged.sum()], np.int64
    )


def wrong_px_on(
    answer: NDArray,
    others: NDArray,
    truth: NDArray,
    tolerance_px: float,
    doubtful: NDArray | None = None,
) -> NDArray:
    """Return the (2,) counts of an answer's centre-line px: wrong ones that lie on something, and all of them.

    Wrong is a px with no true and no doubtful line within ``tolerance_px``; on something, one with a px of ``others``
    within it.
    """
    answered = skeletonize(np.asarray(answer, bool))
    wrong = answered & ~_within(np.asarray(truth, bool), tolerance_px)
    if doubtful is not None:
        wrong &= ~_within(doubtful, tolerance_px)
    return np.array(
        [(wrong & _within(np.asarray(others, bool), tolerance_px)).sum(), answered.sum()], np.int64
    )


def calibration_error(probability: NDArray, true: NDArray, bins: int = 10) -> float:
    """Return the expected calibration error of chances, 0 to 1: the mean over all, in bins of equal width, of the
    distance between mean chance and share of true ones (Naeini et al. 2015, AAAI; from memory)."""
    place = np.minimum((np.asarray(probability) * bins).astype(int), bins - 1)
    held = np.unique(place)
    off = [abs(np.mean(probability[place == k]) - np.mean(true[place == k])) for k in held]
    return float(np.average(off, weights=[np.sum(place == k) for k in held]))


def polyline_px(points: NDArray, counts: NDArray[np.bool_]) -> float:
    """Return the length of a polyline, (n, 2), of those of its stretches whose both ends count, (n,)."""
    steps = np.hypot(*np.diff(np.asarray(points, float), axis=0).T)
    return float(steps[counts[:-1] & counts[1:]].sum())


def largest_part(mask: NDArray[np.bool_], lines: NDArray[np.bool_]) -> float:
    """Return the share, 0 to 1, of a face's px off the lines that its largest part holds, parts touching at sides."""
    _, labels = cv2.connectedComponents((mask & ~lines).astype(np.uint8), connectivity=4)
    areas = np.bincount(labels.ravel())[1:]
    return float(areas.max() / areas.sum()) if len(areas) else 0.0


# --- numbers -----------------------------------------------------------------------------------


def axial_error_deg(answer: NDArray, truth: NDArray) -> NDArray:
    """Return the angle between directions that repeat after 180 degrees: 0 to 90."""
    turn = np.abs(np.asarray(answer, float) - truth) % 180
    return np.minimum(turn, 180 - turn)


def rank_correlation(a: NDArray, b: NDArray) -> float:
    """Return Spearman's rank correlation, ties sharing their mean rank; nan without spread."""
    ranks = [_mean_ranks(np.asarray(v, float)) for v in (a, b)]
    spread = [r - r.mean() for r in ranks]
    length = np.sqrt(np.sum(spread[0] ** 2) * np.sum(spread[1] ** 2))
    return float(np.sum(spread[0] * spread[1]) / length) if length else float("nan")


def _mean_ranks(values: NDArray) -> NDArray:
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return (last - (count - 1) / 2)[place]


def resampled_range(
    groups: Sequence[NDArray],
    statistic: Callable[[NDArray], float],
    rng: np.random.Generator,
    draws: int = 1000,
) -> tuple[float, float]:
    """Return the middle 95 % of ``statistic`` over groups drawn anew with replacement.

    Percentile bootstrap (Efron 1979). A group holds the rows of one photo: stones that share a
    light stay together. Draws in which the statistic is not defined are left out; nan where none is
    left.
    """
    values = np.array(
        [
            statistic(
                np.concatenate([groups[k] for k in rng.integers(len(groups), size=len(groups))])
            )
            for _ in range(draws)
        ]
    )
    values = values[~np.isnan(values)]
    if not len(values):
        return float("nan"), float("nan")
    low, high = np.percentile(values, [2.5, 97.5])
    return float(low), float(high)
