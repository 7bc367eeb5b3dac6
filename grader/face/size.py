"""How large a cab the face takes: the size class of a piece."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

#: An oval's long side on the grid on which it is tried; a fit is told to about a hundredth of the
#: oval.
OVAL_CELLS = 64
#: Turns at which an oval is tried, evenly over half a turn.
TURNS = 24


def size_class(
    mask: NDArray, mm_per_px: float | None, ovals_mm: Sequence[tuple[float, float]]
) -> str | None:
    """Return the largest oval that the face takes at any turn.

    "25x18", or "under 18x13" where it takes none; ``None`` without scale.

    Parameters
    ----------
    mask : ndarray of shape (h, w), bool, the face.
    mm_per_px : millimetres of one px of the mask, if known.
    ovals_mm : (long, short) of each oval in mm, smallest first.
    """
    if mm_per_px is None:
        return None
    for oval in reversed(ovals_mm):
        if takes_oval(mask, mm_per_px, oval):
            return oval_name(oval)
    return f"under {oval_name(ovals_mm[0])}"


def takes_oval(mask: NDArray, mm_per_px: float, oval_mm: tuple[float, float]) -> bool:
    """Return whether an oval of (long, short) mm lies wholly within the mask at some place and turn."""
    long_mm, short_mm = max(oval_mm), min(oval_mm)
    if np.count_nonzero(mask) * mm_per_px**2 < 0.97 * np.pi / 4 * long_mm * short_mm:
        return False
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    face = mask[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    cells_per_px = OVAL_CELLS * mm_per_px / long_mm
    shape = tuple(max(1, round(side * cells_per_px)) for side in face.shape)
    method = cv2.INTER_AREA if cells_per_px < 1 else cv2.INTER_LINEAR
    grid = cv2.resize(face.astype(np.float32), shape[::-1], interpolation=method) >= 0.5
    outside = np.pad(~grid, 1, constant_values=True).astype(np.uint8)
    # Only centres at least half the short side from the edge can carry the oval.
    depth = cv2.distanceTransform(1 - outside, cv2.DIST_L2, 5)
    if depth.max() < 0.5 * OVAL_CELLS * short_mm / long_mm - 1.5:
        return False
    spill = np.pad(outside, OVAL_CELLS // 2, constant_values=1).astype(np.float32)
    return any(
        _fits(spill, _oval(OVAL_CELLS, OVAL_CELLS * short_mm / long_mm, turn))
        for turn in _turns(oval_mm)
    )


def _turns(oval_mm: tuple[float, float]) -> NDArray:
    """Turns in degrees; a circle needs one."""
    return np.zeros(1) if oval_mm[0] == oval_mm[1] else np.arange(TURNS) * 180.0 / TURNS


def _oval(long_cells: float, short_cells: float, turn_deg: float) -> NDArray[np.float32]:
    """An oval of that size on a square grid of cells.

    Its rim, half a cell wide, is left out: that is the grid's own grain.
    """
    half = OVAL_CELLS // 2 + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(float)
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    along, across = c * x + s * y, c * y - s * x
    reach = (along / (long_cells / 2 - 0.75)) ** 2 + (across / (short_cells / 2 - 0.75)) ** 2
    return (reach <= 1).astype(np.float32)


def _fits(outside: NDArray[np.float32], oval: NDArray[np.float32]) -> bool:
    """Whether the oval meets nothing outside at some place."""
    met = cv2.filter2D(outside, cv2.CV_32F, oval, borderType=cv2.BORDER_REPLICATE)
    return bool((met < 0.5).any())


def oval_name(oval_mm: tuple[float, float]) -> str:
    """Return "25x18" for an oval of (long, short) mm."""
    return f"{oval_mm[0]:g}x{oval_mm[1]:g}"
