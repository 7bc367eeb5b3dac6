"""From a measured stone to its cut plans."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.errors import GraderError
from grader.face.cutplan.cutplan import CutPlans, plan_cuts
from grader.face.cutplan.room import Oval, room_of
from grader.face.scene.scene import place_scores
from grader.files import read_number
from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.profile import Profile

#: Without a scale a template is this share of the face's longer side long.
RELATIVE_SHARE = 1 / 3
#: Of the walk by which places are sought: the same photo gives the same plan.
SEED = 20240501
#: Sides that a template can have.
LEAST_SIDE_MM, MOST_SIDE_MM = 3, 300


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


def oval_mm_of(text: str) -> tuple[float, float]:
    """Return long and short side in mm of "30x22", or of "20" for a round one.

    Raises
    ------
    ValueError
        It is neither, or may be meant as either: one line.
    """
    parts = re.split(r"\s*[x×]\s*", text.strip().removesuffix("mm"))
    if len(parts) == 1 and "," in text:
        point, times = text.replace(",", "."), text.replace(",", "x")
        raise ValueError(f"{text!r}: a round or an oval? write {point} or {times}")
    try:
        sides = [read_number(part) for part in parts]
    except ValueError:
        sides = []
    if len(sides) not in (1, 2) or not all(LEAST_SIDE_MM <= s <= MOST_SIDE_MM for s in sides):
        raise ValueError(
            f"{text!r}: give long x short in mm, as 30x22, or 20 for a round one; "
            f"{LEAST_SIDE_MM} to {MOST_SIDE_MM} mm"
        )
    return max(sides), min(sides)


def stones_to_cut(
    measured: MeasuredPhoto, piece: int | None = None, *, one: bool = False
) -> tuple[MeasuredPiece, ...]:
    """Return the stones of a photo that are planned.

    piece : number of the only one wanted.   one : there must be one alone, since a drawing holds no more.

    Raises
    ------
    GraderError
        ``no_piece`` : no stone of that number, or not one alone.
    """
    name, stones = measured.photo.name, measured.pieces
    if piece is not None:
        chosen = tuple(stone for stone in stones if stone.piece.id == piece)
        if not chosen:
            count = {0: "no stone", 1: "one stone"}.get(len(stones), f"{len(stones)} stones")
            raise GraderError(
                f"{name}: no piece {piece}, it holds {count}; give another number", "no_piece"
            )
        stones = chosen
    if one and len(stones) != 1:
        raise GraderError(
            f"{name}: a drawing holds one stone and here are {len(stones)}; "
            + ("name it with --piece" if stones else "take the photo again"),
            "no_piece",
        )
    return stones
