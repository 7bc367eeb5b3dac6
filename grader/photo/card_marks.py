"""The card's marks and corners in a photo: found, read, and parted where two cards lie in it."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.card_layout import MARKS, STRIPS, boards, dictionary, mark_corners_mm
from grader.photo.shrink import shrunk

#: Photos are searched at this longer side first, and at full size where that shows too little.
SEARCH_PX = 2000
#: A mark's outline is at least so long, as part of the photo's longer side.
LEAST_OUTLINE = 0.01
#: Fewer marks than this are no card; below this share of all the card counts as half hidden.
LEAST_MARKS, WHOLE_SHARE = 3, 0.7
#: A mark is of the plane of another card's that it lies off by less than this part of its side.
ONE_CARD_SIDES = 0.3


@dataclass(frozen=True)
class Marks:
    """Marks as found in a photo.

    Attributes
    ----------
    corners : ndarray of shape (n, 4, 2), float32, in OpenCV's px, whose centres are whole numbers.
    ids : ndarray of shape (n,), their numbers on the card.
    unread : squares found beside them that could not be read.
    """

    corners: NDArray[np.float32]
    ids: NDArray[np.int32]
    unread: int = 0

    def __len__(self) -> int:
        return len(self.ids)

    def only(self, chosen: NDArray) -> "Marks":
        """Return the marks of these places, or where a mask of shape (n,) holds."""
        return Marks(self.corners[chosen], self.ids[chosen], self.unread)


@dataclass(frozen=True)
class Corners:
    """Corners of marks and of squares, on the card and in the photo.

    Attributes
    ----------
    mm, px : ndarrays of shape (n, 2), x, y on the card and in the photo, pixel (0, 0) spanning 0 to 1.
    chess : ndarray of shape (n,), bool, which are corners between four squares. The others are marks'
        own, first and four by four.
    """

    mm: NDArray[np.float64]
    px: NDArray[np.float64]
    chess: NDArray[np.bool_]


def find_marks(grey: NDArray[np.uint8]) -> Marks:
    """Return the card's marks in a grey photo, (h, w), full size.

    References
    ----------
    Garrido-Jurado et al. 2014, Pattern Recognition 47(6):2280-2292 (marks), from memory.
    """
    factor = max(grey.shape) / SEARCH_PX
    if factor <= 1:
        return _marks_at(grey)
    size = tuple(round(side / factor) for side in grey.shape[::-1])
    small = _marks_at(shrunk(grey, size))
    sides = np.array(grey.shape[::-1]) / size
    corners = ((small.corners + 0.5) * sides - 0.5).astype(np.float32)
    if LEAST_MARKS <= len(small) < WHOLE_SHARE * MARKS:
        full = _marks_at(grey)
        return full if len(full) > len(small) else Marks(corners, small.ids, full.unread)
    return Marks(corners, small.ids, small.unread)


def largest_card(marks: Marks) -> tuple[Marks, bool]:
    """Return the marks of the card that shows largest, and whether there is another.

    There is another where an id is seen twice; each card is then what agrees on one plane.
    """
    if len(set(marks.ids.tolist())) == len(marks):
        return marks, False
    cards = _cards(marks)
    if not cards:
        return marks.only(np.arange(0)), True
    areas = [np.median([cv2.contourArea(marks.corners[n]) for n in card]) for card in cards]
    best = cards[int(np.argmax(areas))]
    # A doubled outline of one mark is no second card.
    another = any(len(card) >= LEAST_MARKS for card in cards if card is not best)
    return marks.only(best), another


def refined_corners(grey: NDArray[np.uint8], marks: Marks) -> Corners:
    """Return the corners of the marks and those between squares, found at full size, to a part of a px."""
    if not len(marks):
        return Corners(np.empty((0, 2)), np.empty((0, 2)), np.empty(0, bool))
    sides = np.linalg.norm(marks.corners - np.roll(marks.corners, 1, axis=1), axis=2)
    # Of a mark's frame, one cell wide, and the rim around it, a little more, half is looked at.
    half = int(np.clip(np.median(sides) / 7 * 0.6, 2, 12))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    refined = cv2.cornerSubPix(
        grey, marks.corners.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), stop
    ).reshape(-1, 2)
    mm = [np.concatenate([mark_corners_mm()[i] for i in marks.ids.tolist()])]
    px = [refined]
    for strip, board in zip(STRIPS, boards(), strict=True):
        own = np.isin(marks.ids, strip.ids)
        if own.sum() < 2:
            continue
        found, numbers, _, _ = board.detectBoard(
            grey,
            markerCorners=[c[None] for c in refined.reshape(-1, 4, 2)[own]],
            markerIds=marks.ids[own].reshape(-1, 1),
        )
        if found is not None and len(found):
            between_mm = np.asarray(board.getBoard().getChessboardCorners(), float)[:, :2]
            mm.append(between_mm[np.ravel(numbers)] + (strip.x_mm, strip.y_mm))
            px.append(found.reshape(-1, 2))
    chess = np.repeat([False, True], [len(mm[0]), sum(map(len, mm[1:]))])
    return Corners(np.concatenate(mm), np.concatenate(px).astype(float) + 0.5, chess)


@cache
def _finder() -> cv2.aruco.ArucoDetector:
    wanted = cv2.aruco.DetectorParameters()
    wanted.minMarkerPerimeterRate = LEAST_OUTLINE
    return cv2.aruco.ArucoDetector(dictionary(), wanted)


def _marks_at(grey: NDArray[np.uint8]) -> Marks:
    corners, ids, unread = _finder().detectMarkers(grey)
    own = mark_corners_mm()
    found = zip(corners, np.ravel(ids), strict=True) if len(corners) else ()
    kept = [(c.reshape(4, 2), int(i)) for c, i in found if int(i) in own]
    return Marks(
        np.array([c for c, _ in kept], np.float32).reshape(-1, 4, 2),
        np.array([i for _, i in kept], np.int32),
        len(unread),
    )


def _cards(marks: Marks) -> list[NDArray[np.int64]]:
    """Places in ``marks`` of those that agree on one plane, plane after plane until too few remain."""
    cards, left = [], np.arange(len(marks))
    while len(left) >= LEAST_MARKS:
        mm = np.concatenate([mark_corners_mm()[i] for i in marks.ids[left].tolist()])
        px = marks.corners[left].reshape(-1, 2)
        side = np.median(np.linalg.norm(np.diff(marks.corners[left], axis=1), axis=2))
        _, agree = cv2.findHomography(mm, px, cv2.RANSAC, ONE_CARD_SIDES * side, maxIters=4000)
        if agree is None:
            break
        agree = agree.reshape(-1, 4).all(axis=1)
        if agree.sum() < LEAST_MARKS:
            break
        cards.append(left[agree])
        left = left[~agree]
    return cards
