"""From a measured stone to its cut plans."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.cutplan import CutPlans, plan_cuts
from grader.face.cutplan.room import Oval, room_of
from grader.face.scene.scene import place_scores
from grader.grade import MeasuredPiece
from grader.profile import Profile

#: Without a scale a template is this share of the face's longer side long.
RELATIVE_SHARE = 1 / 3
#: Of the walk by which places are sought: the same photo gives the same plan.
SEED = 20240501


@dataclass(frozen=True)
class CutPiece:
    """One stone with its cut plans.

    oval_mm, margin_mm : (long, short) of the template and the margin, as asked for.
    oval, margin_px : the same in working px.   mm_per_px : of one working px; ``None`` where the scale is not known:
    then the template only has the shape asked for, its long side is ``RELATIVE_SHARE`` of the face's longer side, and
    counts are those of that size.
    """

    measured: MeasuredPiece
    oval_mm: tuple[float, float]
    margin_mm: float
    oval: Oval
    margin_px: float
    mm_per_px: float | None
    plans: CutPlans


def cut_piece(
    measured: MeasuredPiece, oval_mm: tuple[float, float], margin_mm: float, profile: Profile
) -> CutPiece:
    """Return the cut plans of one stone for templates of (long, short) mm."""
    face, m = measured.face, measured.measurements
    mm_per_px = face.mm_per_px
    to_px = 1 / mm_per_px if mm_per_px else RELATIVE_SHARE * max(face.mask.shape) / oval_mm[0]
    oval, margin_px = Oval(oval_mm[0] * to_px, oval_mm[1] * to_px), margin_mm * to_px
    room = room_of(face.mask, m.lines, m.glare, oval, margin_px)

    def scorer(poses: NDArray) -> NDArray[np.float64]:
        return place_scores(face, m.regions, profile, (oval.long_px, oval.short_px), poses)

    plans = plan_cuts(room, oval, margin_px, np.random.default_rng(SEED), scorer)
    return CutPiece(measured, oval_mm, margin_mm, oval, margin_px, mm_per_px, plans)
