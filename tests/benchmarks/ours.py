"""The grader's answer, through the same door that a seller's photo takes."""

import numpy as np
from answer import Answer, PieceAnswer
from numpy.typing import NDArray

from grader import grade_photo
from grader.grade import Graded
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.terms import PhotoTerms
from grader.report.layers import draw_layers


def grade(rgb: NDArray[np.uint8], mm_per_px: float | None = None, whole: bool = False) -> Answer:
    """Return the grader's answer for an upright sRGB photo of shape (H, W, 3)."""
    scale = Scale(mm_per_px, None if mm_per_px is None else "hand")
    return answer_of(
        grade_photo(
            Photo("picture", rgb, srgb_encoding(), "", scale), terms=PhotoTerms(whole=whole)
        )
    )


def answer_of(graded: Graded) -> Answer:
    """Return a graded photo in the form that the scores take."""
    layers = draw_layers(graded.measured)
    by_piece = {}
    for piece in graded.pieces:
        m = piece.measured.measurements
        shares = [m.regions.shares[name] for name in ("blue", "white", "host")]
        by_piece[piece.measured.piece.id] = PieceAnswer(
            shares=np.array([s.value for s in shares]),
            low=np.array([s.low for s in shares]),
            high=np.array([s.high for s in shares]),
            direction_deg=m.banding.direction_deg,
            continuity=m.banding.continuity,
        )
    return Answer(layers["regions"], layers["pieces"], layers["cracks"] > 0, by_piece)
