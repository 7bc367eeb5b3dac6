"""Appearances of what the starter's familiarity learns from beside its own faces: plain stones, stones of other kinds,
other surfaces."""

import hashlib
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.drawn import same_stone
from grader.face.sight.cut import cut_face
from grader.grading.models.familiarity import appearance_features
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece, find_pieces, whole_photo
from grader.photo.reference import estimated_reference, no_reference
from grader.render import TRAINING, Rendered
from grader.train.plain_stones import draw_plain_stone
from grader.train.strangers import draw_stranger
from grader.train.surfaces import draw_surface

#: Side of a surface's picture, px.
SURFACE_PX = 448


def surface_appearance(seed: Sequence[int]) -> dict[str, float]:
    """Return the appearance of one drawn wall, floor or the like, the whole picture taken for a face."""
    photo = _photo(draw_surface(np.random.default_rng(seed), TRAINING, SURFACE_PX).rgb)
    face = cut_face(photo, whole_photo(photo)[0][0], no_reference(photo))
    return appearance_features(face.lab, face.mask)


def plain_appearance(seed: Sequence[int]) -> dict[str, float]:
    """Return the appearance of one drawn plain stone of the seller's, within its true outline."""
    return stone_appearance(draw_plain_stone(np.random.default_rng(seed), TRAINING))


def stranger_appearance(seed: Sequence[int], kind: str) -> dict[str, float] | None:
    """Return the appearance of a drawn stone of another kind as it is found in its photo, ``None`` where it is not.

    kind : a name in ``STRANGERS``.
    """
    rendered = draw_stranger(np.random.default_rng(seed), TRAINING, kind)
    photo = _photo(rendered.rgb)
    found = (p for p in find_pieces(photo)[0] if same_stone(p, rendered))
    piece = next(found, None)
    if piece is None:
        return None
    face = cut_face(photo, piece, estimated_reference(photo))
    return appearance_features(face.lab, face.mask)


def stone_appearance(rendered: Rendered) -> dict[str, float]:
    """Return the appearance of the first stone of a rendered photo within its true outline, in its estimated light."""
    photo = _photo(rendered.rgb)
    mask = (rendered.pieces == rendered.stones[0].id).astype(np.uint8)
    outlines = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    # Pixel (0, 0) spans 0 to 1.
    outline = max(outlines, key=cv2.contourArea)[:, 0] + 0.5
    piece = Piece(1, cv2.boundingRect(mask), outline.astype(np.float32))
    face = cut_face(photo, piece, estimated_reference(photo))
    return appearance_features(face.lab, face.mask)


def _photo(rgb: NDArray[np.uint8]) -> Photo:
    """A picture (h, w, 3) in sRGB as a photo without a scale."""
    return Photo(
        "drawn", rgb, srgb_encoding(), hashlib.sha256(rgb.tobytes()).hexdigest(), Scale(None, None)
    )
