"""What is missing between the runs of bands, and which class is no band but the ground of the other's."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.runs import OFFSET_SHARE, Run
from grader.face.bands.stripes import OUTSIDE, SKY, WATER
from grader.face.lines.polyline import at_px


@dataclass(frozen=True)
class Gap:
    """Missing length ahead of a run's end, and whether the same band goes on straight behind it."""

    length_px: float = 0.0
    cuts: bool = False


def gaps_of(runs: list[Run], stripes: NDArray, crack_px: float) -> list[tuple[Gap, Gap]]:
    """Return by run what is missing ahead of its two ends.

    That is half the distance to the next run that faces it, or all of it to the face's edge.

    stripes : ndarray of shape (h, w), the map.   crack_px : a break no longer than this is no gap between two runs.
    """
    number = np.repeat(np.arange(len(runs)), 2)
    stripe = np.repeat([run.stripe for run in runs], 2)
    place = np.array([run.points[side] for run in runs for side in (0, -1)])
    ahead = np.array([_ahead(run, side) for run in runs for side in (0, -1)])
    gaps = []
    for end in range(2 * len(runs)):
        run = runs[number[end]]
        if not run.at_gap[end % 2]:
            gaps.append(Gap())
            continue
        front, to = ahead[end], place - place[end]
        distance, aside = to @ front, np.abs(to[:, 0] * front[1] - to[:, 1] * front[0])
        meets = (number != number[end]) & (stripe == run.stripe) & (distance > 0)
        meets &= aside <= np.maximum(0.75 * run.thickness_px, 0.3 * distance)
        meets &= ahead @ front < -0.5
        half_distance = float(distance[meets].min()) / 2 if meets.any() else np.inf
        cuts = meets & (distance > crack_px) & (aside < OFFSET_SHARE * run.thickness_px)
        gaps.append(Gap(min(half_distance, _to_edge(place[end], front, stripes)), bool(cuts.any())))
    return list(zip(gaps[::2], gaps[1::2], strict=True))


def _to_edge(place: NDArray, front: NDArray, stripes: NDArray) -> float:
    """Distance from a place (x, y) to the face's edge in the direction ``front``, in px."""
    ray = place + np.arange(1, sum(stripes.shape))[:, None] * front
    inside = ((ray >= 0) & (ray < (stripes.shape[1], stripes.shape[0]))).all(axis=1)
    return float(np.argmin(inside & (at_px(stripes, *ray.T) != OUTSIDE)))


def _ahead(run: Run, side: int) -> NDArray:
    """Unit direction in which the run leaves its first (0) or last (-1) end."""
    back = min(len(run.points) - 1, max(int(run.thickness_px), 6))
    step = run.points[side] - run.points[back if side == 0 else -1 - back]
    return step / max(float(np.hypot(*step)), 1e-9)


def ground_of(stripes: NDArray, runs: list[Run], gaps: list[tuple[Gap, Gap]]) -> int | None:
    """Return which of WATER and SKY is no band but the ground of the other's, ``None`` where neither is.

    A ground fills the others' gaps and joins up there.
    """
    for ground, bands in ((WATER, SKY), (SKY, WATER)):
        cuts = sum(
            any(gap.cuts for gap in pair)
            for run, pair in zip(runs, gaps, strict=True)
            if run.stripe == bands
        )
        if (
            cuts >= 2
            and _largest_share(stripes == ground) > 0.9
            and _largest_share(stripes == bands) < 0.5
        ):
            return ground
    return None


def _largest_share(mask: NDArray) -> float:
    """Return the share of the mask's area that its largest joined part has."""
    _, _, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return float(areas.max() / areas.sum()) if len(areas) else 0.0
