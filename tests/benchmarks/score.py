"""One answer against one truth: the counts from which every figure is made."""

from dataclasses import dataclass

import metrics
import numpy as np
from answer import Answer
from labelled import Labelled, PieceTruth, as_filed, unjudged
from numpy.typing import NDArray

#: Distances, px, at which a line still counts as met.
TOLERANCES_PX = (2, 5)


@dataclass(frozen=True)
class StoneScore:
    """One true stone. A missed one has an outline IoU of 0, shares of 0 and nothing else.

    outline_iou : 0 to 1.   glare : (4,) counts within the true stone, found or missed.
    said, low, high : (3,) shares of blue, white, host.
    direction_deg, continuity : (said, true), ``None`` where either side has none.
    bands_found : whether bands are said where there are any, ``None`` where there are none.
    """

    outline_iou: float
    truth: PieceTruth
    glare: NDArray
    answered: NDArray
    low: NDArray | None = None
    high: NDArray | None = None
    direction_deg: tuple[float, float] | None = None
    continuity: tuple[float, float] | None = None
    bands_found: bool | None = None


@dataclass(frozen=True)
class PhotoScore:
    """One photo.

    regions, regions_all, regions_better, regions_filed : (2, 3) counts of the pixels sure by eye,
    of all pixels, with the better naming, against the labels as filed.   lines : (4,) counts by
    tolerance.   invented : stones said beyond the true ones.
    """

    name: str
    regions: NDArray
    regions_all: NDArray
    regions_better: NDArray
    regions_filed: NDArray
    lines: dict[int, NDArray]
    has_cracks: bool
    invented: int
    stones: tuple[StoneScore, ...]


def score(answer: Answer, truth: Labelled) -> PhotoScore:
    """Return the counts of one answer."""
    matched = metrics.match_pieces(answer.pieces, truth.pieces)
    found = {true: (piece, iou) for piece, true, iou in matched}
    sure = metrics.region_counts(answer.regions, truth.regions, truth.unsure)
    better = metrics.better_naming_counts(answer.regions, truth.regions, truth.unsure)
    filed = as_filed(truth)
    return PhotoScore(
        name=truth.name,
        regions=sure,
        regions_all=metrics.region_counts(answer.regions, truth.regions),
        regions_better=better if truth.naming_in_doubt else sure,
        regions_filed=metrics.region_counts(answer.regions, filed.regions, filed.unsure),
        lines={
            t: metrics.line_counts(answer.cracks, truth.cracks, t, unjudged(truth))
            for t in TOLERANCES_PX
        },
        has_cracks=bool(truth.cracks.any()),
        invented=len(np.unique(answer.pieces[answer.pieces > 0])) - len(found),
        stones=tuple(_stone(number, found.get(number), answer, truth) for number in truth.by_piece),
    )


def _stone(
    number: int, found: tuple[int, float] | None, answer: Answer, truth: Labelled
) -> StoneScore:
    true = truth.by_piece[number]
    glare = metrics.glare_counts(answer.regions, truth.regions, truth.pieces == number)
    banded = true.direction_deg is not None
    if found is None:
        missed = False if banded else None
        return StoneScore(0.0, true, glare, np.zeros(3), bands_found=missed)
    answered, outline_iou = answer.by_piece[found[0]], found[1]
    return StoneScore(
        outline_iou=outline_iou,
        truth=true,
        glare=glare,
        answered=np.nan_to_num(answered.shares),
        low=answered.low,
        high=answered.high,
        direction_deg=_pair(answered.direction_deg, true.direction_deg),
        continuity=_pair(answered.continuity, true.continuity),
        bands_found=answered.direction_deg is not None if banded else None,
    )


def _pair(answered: float | None, true: float | None) -> tuple[float, float] | None:
    return None if answered is None or true is None else (answered, true)
