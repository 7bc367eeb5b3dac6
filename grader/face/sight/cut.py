"""Cuts one stone's face out of its photo, at working size."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.photo.colour import lab_from_linear, linear_srgb
from grader.photo.photo import ColourEncoding, Photo
from grader.photo.pieces import Piece
from grader.photo.reference import Reference
from grader.photo.shrink import shrunk

#: Longer side of a face at working size, in px: fine enough for hairlines, small enough for a second's work.
FACE_PX = 1024


def cut_face(photo: Photo, piece: Piece, reference: Reference) -> Face:
    """Return the face of one piece; a face smaller than ``FACE_PX`` keeps the photo's own px.

    reference : what its colours and lengths are referred to; by :func:`~grader.photo.reference.no_reference` they stay
    as photographed, the scale as given.
    """
    x, y, w, h = piece.box
    factor = min(1.0, FACE_PX / max(w, h))
    cut = photo.rgb[y : y + h, x : x + w]
    # Light adds up and codes do not, so averaging belongs after the curve; at these factors the difference is under
    # 0.3 CIEDE2000 in the mean, and a photo of 100 megapixels is never held in float.
    small = shrunk(cut, (max(1, round(w * factor)), max(1, round(h * factor))))
    return face_of(small, photo.encoding, piece, factor, reference)


def face_of(
    picture: NDArray,
    encoding: ColourEncoding,
    piece: Piece,
    px_per_photo_px: float,
    reference: Reference,
) -> Face:
    """Return the face in a picture of a piece's box, (h, w, 3) codes at working size.

    reference : of the photo at full size, as all px of the piece are.
    """
    x, y, w, h = piece.box
    linear = linear_srgb(picture, encoding)
    mask = fill_outline((piece.outline - (x, y)) * px_per_photo_px, picture.shape[:2])
    for outline in piece.covered:
        mask &= ~fill_outline((outline - (x, y)) * px_per_photo_px, picture.shape[:2])
    scale = reference.scale_at(x + w / 2, y + h / 2).mm_per_px
    mm_per_px = None if scale is None else scale / px_per_photo_px
    origin_px = (float(x), float(y))
    lab = _corrected_lab(linear, px_per_photo_px, origin_px, reference)
    return Face(linear, lab, mask, px_per_photo_px, origin_px, mm_per_px, reference.light_sd)


def with_light(face: Face, linear: NDArray[np.float32], reference: Reference) -> Face:
    """Return a face of another light, (h, w, 3) linear sRGB, its colours corrected as the photo's were."""
    lab = _corrected_lab(linear, face.px_per_photo_px, face.origin_px, reference)
    return replace(face, linear=linear, lab=lab)


def _corrected_lab(
    linear: NDArray[np.float32],
    px_per_photo_px: float,
    origin_px: tuple[float, float],
    reference: Reference,
) -> NDArray[np.float32]:
    h, w = linear.shape[:2]
    x_px, y_px = (
        start + (np.arange(n) + 0.5) / px_per_photo_px
        for start, n in zip(origin_px, (w, h), strict=True)
    )
    return lab_from_linear(reference.corrected(linear, x_px, y_px))


def fill_outline(outline: NDArray, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return the inside of an outline, (n, 2) x, y with pixel (0, 0) spanning 0 to 1, as bool of that shape."""
    # fillPoly counts pixel centres as whole numbers; its shift gives the sixteenth of a pixel.
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint((outline - 0.5) * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool)
