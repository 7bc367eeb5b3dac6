"""How far each point of a face is from what a template must keep clear of."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.measurements import Line

#: The field's cells in a template's short side, where the face is photographed as finely.
CELLS = 120


@dataclass(frozen=True)
class Oval:
    """A template: long and short side in working px; a round one has both alike."""

    long_px: float
    short_px: float

    @property
    def area_px(self) -> float:
        """Area in square working px."""
        return np.pi / 4 * self.long_px * self.short_px


@dataclass(frozen=True)
class Room:
    """How far each point of the face is from what a template must keep clear of.

    field : ndarray of shape (h, w), float32, working px; below 0 where nothing may lie. Cell (0, 0) spans 0 to
    ``cell_px`` less ``pad`` cells.   face_area_px : of the whole face.
    """

    field: NDArray[np.float32]
    cell_px: float
    pad: int
    face_area_px: float

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Return the room in working px around points of the working image, interpolated; any shape."""
        h, w = self.field.shape
        col = np.clip(x / self.cell_px + (self.pad - 0.5), 0, w - 1.001)
        row = np.clip(y / self.cell_px + (self.pad - 0.5), 0, h - 1.001)
        left, top = col.astype(np.intp), row.astype(np.intp)
        across, down = col - left, row - top
        flat, at = self.field.ravel(), top * w + left
        upper = flat[at] * (1 - across) + flat[at + 1] * across
        lower = flat[at + w] * (1 - across) + flat[at + w + 1] * across
        return upper * (1 - down) + lower * down


def room_of(
    mask: NDArray[np.bool_],
    lines: Sequence[Line],
    glare: NDArray[np.bool_] | None,
    oval: Oval,
    margin_px: float,
) -> Room:
    """Return the room on a face for templates of one size.

    Parameters
    ----------
    mask, glare : ndarrays of shape (h, w), the face and its unreadable px.
    lines : all that were seen; those that may part are kept clear of. A pattern line is healed or a seam: it is
        reported, not avoided.
    margin_px : kept from the outline and from the lines; from glare none is, and specks narrower than it are left out.
    """
    cell_px = max(1.0, oval.short_px / CELLS)
    h, w = mask.shape
    size = max(1, round(w / cell_px)), max(1, round(h / cell_px))
    # Cells are square where the size is whole; the half px that rounding leaves is less than the grain.
    pad = 4
    inside = _shrunk(mask, size, pad) >= 0.5
    field = _signed(inside) - margin_px / cell_px
    if glare is not None and glare.any():
        hidden = _shrunk(glare & mask, size, pad) >= 0.5
        # What a speck narrower than the saw's margin hides would go on beside it and be seen there.
        disc = cv2.getStructuringElement(
            cv2.MORPH_ELLIPSE, (2 * round(margin_px / cell_px / 2) + 1,) * 2
        )
        hidden = cv2.morphologyEx(hidden.astype(np.uint8), cv2.MORPH_OPEN, disc) > 0
        if hidden.any():
            field = np.minimum(field, -_signed(hidden))
    for line in lines:
        if line.may_part and len(line.points) > 1:
            field = np.minimum(field, _from_line(line, field.shape, cell_px, pad, margin_px))
    return Room((field * cell_px).astype(np.float32), cell_px, pad, float(np.count_nonzero(mask)))


def _shrunk(mask: NDArray, size: tuple[int, int], pad: int) -> NDArray[np.float32]:
    """A mask made small, 0 to 1, with a rim of ``pad`` cells.   size : (width, height) in cells."""
    small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.pad(small, pad)


def _signed(inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Distance of each cell to the border of a region, (h, w), in cells; below 0 outside it."""
    if inside.all() or not inside.any():
        return np.full(inside.shape, 1e6 if inside.all() else -1e6, np.float32)
    within, beyond = (
        cv2.distanceTransform(part.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        for part in (inside, ~inside)
    )
    # From px centre to px centre: the border lies half a px nearer.
    return np.where(inside, within - 0.5, 0.5 - beyond)


def _from_line(line: Line, shape, cell_px: float, pad: int, margin_px: float) -> NDArray:
    """Distance of each cell of a field of that shape from the line's side, less the margin; in cells."""
    drawn = np.ones(shape, np.uint8)
    points = np.rint((line.points / cell_px + (pad - 0.5)) * 16).astype(np.int32)
    cv2.polylines(drawn, [points.reshape(-1, 1, 2)], False, 0, 1, shift=4)
    distance = cv2.distanceTransform(drawn, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return distance - (line.width_px / 2 + margin_px) / cell_px
