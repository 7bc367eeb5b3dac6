"""How the photo card is laid out, in mm: its strips of marks, whites, greys, bar and rule.

Two strips of black squares with marks between them (ChArUco) lie along the left and the lower edge.
Coordinates of the card: mm from its upper left corner, x to the right, y down.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Quad = NDArray[np.float64]


@dataclass(frozen=True)
class Box:
    """A rectangle on the card: left, top, width, height in mm."""

    x_mm: float
    y_mm: float
    w_mm: float
    h_mm: float

    def corners_mm(self, inset_mm: float = 0.0) -> Quad:
        """Return its corners, (4, 2) x, y in mm, clockwise from the upper left, so far inside."""
        left, top = self.x_mm + inset_mm, self.y_mm + inset_mm
        right, bottom = self.x_mm + self.w_mm - inset_mm, self.y_mm + self.h_mm - inset_mm
        return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


@dataclass(frozen=True)
class Strip:
    """A strip of squares: upper left corner in mm, squares across and down, ids of its marks."""

    x_mm: float
    y_mm: float
    columns: int
    rows: int
    ids: tuple[int, ...]


@dataclass(frozen=True)
class GreyBox:
    """A printed grey and its nominal luminance factor Y, 0 to 1, on which a printer is not reliable."""

    box: Box
    nominal_y: float


#: The card fits A4 and letter, also where it is drawn a ninth larger for a printer that shrinks.
WIDTH_MM, HEIGHT_MM = 180.0, 240.0
SQUARE_MM, MARK_MM = 12.0, 9.0
DICTIONARY = cv2.aruco.DICT_5X5_50
# Of the 50 marks those whose mirror image is 5 or more bits away from every one that is used, so
# that with the one bit that is corrected none can be read in a mirrored photo.
STRIPS = (
    Strip(0, 0, 2, 20, (*range(17), 18, 19, 20)),
    Strip(36, 216, 12, 2, (21, 22, 23, 24, 26, 27, 28, 29, 32, 33, 34, 35)),
)
MARKS = sum(len(strip.ids) for strip in STRIPS)
#: A bar across and a rule down, so that a printer is checked both ways.
BAR_MM = 100.0
BAR = Box(36, 8, BAR_MM, 2)
RULE = Box(174, 26, 6, 150)
#: Unprinted paper in two places, within a thin line.
WHITES = (Box(36, 192, 30, 16), Box(150, 2, 30, 16))
GREYS = tuple(
    GreyBox(Box(72 + 18 * n, 192, 16, 16), y) for n, y in enumerate((0.6, 0.4, 0.2, 0.1, 0.05))
)
#: Unprinted, for the stones.
STONE_AREA = Box(36, 32, 130, 144)
#: Colours are read so far inside a box, clear of its line.
INSET_MM = 2.5


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """Return OpenCV's dictionary of the marks."""
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


@cache
def boards() -> tuple[cv2.aruco.CharucoDetector, ...]:
    """Return OpenCV's detector of each of ``STRIPS``; its coordinates begin at the strip's corner."""
    return tuple(
        cv2.aruco.CharucoDetector(
            cv2.aruco.CharucoBoard(
                (strip.columns, strip.rows), SQUARE_MM, MARK_MM, dictionary(), np.array(strip.ids)
            )
        )
        for strip in STRIPS
    )


@cache
def mark_corners_mm() -> dict[int, Quad]:
    """Return the corners of each mark by its id, (4, 2) in mm, clockwise from its upper left."""
    return {
        number: np.asarray(points, float)[:, :2] + (strip.x_mm, strip.y_mm)
        for strip, board in zip(STRIPS, boards(), strict=True)
        for number, points in zip(strip.ids, board.getBoard().getObjPoints(), strict=True)
    }


def black_boxes() -> tuple[Box, ...]:
    """Return every black square of the strips, and every black run within a mark, in mm."""
    boxes = []
    for strip in STRIPS:
        ids = iter(strip.ids)
        for row in range(strip.rows):
            for column in range(strip.columns):
                x, y = strip.x_mm + column * SQUARE_MM, strip.y_mm + row * SQUARE_MM
                if (row + column) % 2 == 0:
                    boxes.append(Box(x, y, SQUARE_MM, SQUARE_MM))
                else:
                    boxes += _black_runs(next(ids), x, y)
    return tuple(boxes)


def _black_runs(mark_id: int, x_mm: float, y_mm: float) -> list[Box]:
    """The black runs of a mark, row by row, in the square whose upper left corner is there."""
    cells = dictionary().markerSize + 2
    cell_mm, rim_mm = MARK_MM / cells, (SQUARE_MM - MARK_MM) / 2
    bits = cv2.aruco.generateImageMarker(dictionary(), mark_id, cells) == 0
    return [
        Box(x_mm + rim_mm + a * cell_mm, y_mm + rim_mm + r * cell_mm, (b - a) * cell_mm, cell_mm)
        for r, line in enumerate(bits)
        for a, b in _runs(line)
    ]


def _runs(line: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (not in it) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
