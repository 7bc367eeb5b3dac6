"""Plates: words on a dark ground, laid into a picture beside what they name."""

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

DARK, PALE = (20, 20, 20), (255, 255, 255)
#: Places are sought in a map of this size at most: what is left over is a px of it.
MAP_PX = 600
#: How much of what lies under a thin plate shines through.
THIN = 0.5

#: Before words that a swatch stands beside: the room for it.
SWATCH_ROOM = " " * 6

#: The font within OpenCV: Latin, Cyrillic, Greek and Chinese, so that a grade of any name is drawn.
FONT = cv2.FontFace("sans")

Rect = tuple[float, float, float, float]
#: Lines of words with their sizes in px.
Words = list[tuple[str, int]]


class Ground:
    """A picture in which things lie that plates must not hide: where each thing's plate goes.

    Parameters
    ----------
    shape : (h, w, ...) of the picture.
    outlines : (n, 2) points x, y in px of the picture, of each thing.
    """

    def __init__(self, shape: tuple[int, ...], outlines: Sequence[NDArray]) -> None:
        self._per_px = min(1.0, MAP_PX / max(shape[:2]))
        size = [max(1, int(side * self._per_px)) for side in shape[:2]]
        # 0 is bare ground; a px more of each thing, so that no plate touches it.
        self._things = np.zeros(size, np.int32)
        self._plates = np.zeros(size, np.uint8)
        for number, outline in enumerate(outlines, start=1):
            points = np.rint(np.asarray(outline) * self._per_px - 0.5).astype(np.int32)
            cv2.fillPoly(self._things, [points], number)
            cv2.polylines(self._things, [points], True, number, 3)

    def place(self, thing: int, choices: Sequence[Words]) -> tuple[Rect, Words, bool]:
        """Return where the plate of the thing of that index lies, x, y, w, h in px, with its words, and
        whether it is on bare ground; the place is taken from now on.

        choices : the words in the sizes that will do, the best first. On bare ground the first that
        finds room is taken: inside the picture, clear of every thing and plate, nearer to its own
        thing than to another. Where none does, the last lies on the thing itself, clear of other
        plates and things as far as can be.
        """
        own = (self._things == thing + 1).astype(np.uint8)
        nearness = self._nearness(own)
        spots = ((words, self._beside(nearness, plate_size(words))) for words in choices)
        words, spot = next(
            ((words, spot) for words, spot in spots if spot is not None), (choices[-1], None)
        )
        bare = spot is not None
        if not bare:
            spot = self._upon(own, plate_size(words))
        width, height = plate_size(words)
        x, y = (at / self._per_px for at in spot)
        w, h = self._sides((width, height))
        self._plates[spot[1] : spot[1] + h, spot[0] : spot[0] + w] = 1
        return (x, y, width, height), words, bare

    def _sides(self, size: tuple[int, int]) -> tuple[int, int]:
        # The rim is drawn half a px outside.
        return tuple(int(np.ceil((side + 2) * self._per_px)) for side in size)

    def _nearness(self, own: NDArray[np.uint8]) -> tuple[NDArray, NDArray, NDArray]:
        """For the middle of a plate: how far the thing is (infinite where another is nearer), whether
        that is above the thing, and how far aside."""
        near = cv2.distanceTransform(1 - own, cv2.DIST_L2, 5)
        others = (self._things > 0) & (own == 0)
        if others.any():
            far = cv2.distanceTransform(1 - others.astype(np.uint8), cv2.DIST_L2, 5)
            near[near >= far] = np.inf
        y, x = np.nonzero(own) if own.any() else ([0], [0])
        row, column = np.indices(own.shape, sparse=True)
        return near, row < np.mean(y), np.abs(column - np.mean(x))

    def _beside(self, nearness, size: tuple[int, int]) -> tuple[int, int] | None:
        """The upper left corner on bare ground that is nearest to the thing, below it before above."""
        near, above, aside = nearness
        w, h = self._sides(size)
        rows, columns = near.shape
        if w > columns or h > rows:
            return None
        hidden = _window_sums((self._things > 0) | (self._plates > 0), w, h)
        down, along = (
            slice(half, half + n) for half, n in zip((h // 2, w // 2), hidden.shape, strict=True)
        )
        near = near[down, along]
        # Farther off it would no longer be seen to belong to it.
        fits = (hidden == 0) & (near < max(w, h) / 2 + 1.5 * h)
        if not fits.any():
            return None
        cost = near + 0.5 * h * above[down] + 0.1 * aside[:, along]
        top, left = np.unravel_index(np.where(fits, cost, np.inf).argmin(), cost.shape)
        return int(left), int(top)

    def _upon(self, own: NDArray[np.uint8], size: tuple[int, int]) -> tuple[int, int]:
        """The upper left corner on the thing, low on it, that hides least of anything else."""
        w, h = self._sides(size)
        rows, columns = own.shape
        w, h = min(w, columns), min(h, rows)
        others = (self._things > 0) & (own == 0)
        hidden = 8.0 * _window_sums(self._plates > 0, w, h) + 4.0 * _window_sums(others, w, h)
        hidden += _window_sums(own == 0, w, h)
        y, x = np.nonzero(own) if own.any() else (np.array([rows - 1]), np.array([columns / 2]))
        row, column = np.mgrid[: hidden.shape[0], : hidden.shape[1]]
        off = np.abs(column + w / 2 - x.mean()) / columns + np.abs(row + h - y.max()) / rows
        top, left = np.unravel_index((hidden / (w * h) + off).argmin(), hidden.shape)
        return int(left), int(top)


def _window_sums(mask: NDArray, w: int, h: int) -> NDArray[np.int32]:
    """How many px of the mask lie in each window of that size, by its upper left corner."""
    total = cv2.integral(mask.astype(np.uint8))
    return total[h:, w:] - total[:-h, w:] - total[h:, :-w] + total[:-h, :-w]


def fitting(text: str, width_px: float, height_px: float) -> int:
    """Return the font size at which a plate of that text is at most that wide, and the text that high."""
    return int(min(100 * width_px / (text_width(text, 100) + 50), height_px))


def plate_size(words: Words) -> tuple[int, int]:
    """Return width and height in px of a plate with these words."""
    width = max(text_width(text, size) for text, size in words) + words[0][1] // 2
    return width, sum(round(1.35 * size) for _, size in words)


def draw_plate(
    rgb: NDArray[np.uint8],
    corner: tuple[float, float],
    words: Words,
    *,
    thin: bool = False,
    swatches: Sequence[NDArray | None] = (),
) -> None:
    """Draw lines of words, each with its size, on a dark plate; through a ``thin`` one, without a rim, one sees.

    rgb : ndarray of shape (h, w, 3), uint8, drawn into.   corner : x, y of its upper left, px.
    swatches : for each line the square of colours that it names, in the room that its words leave; with them all lines
    begin at the left.
    """
    x, y = (round(v) for v in corner)
    width, height = plate_size(words)
    if thin:
        part = rgb[max(0, y) : y + height, max(0, x) : x + width]
        part[:] = np.rint(THIN * part + (1 - THIN) * np.array(DARK))
    else:
        cv2.rectangle(rgb, (x, y), (x + width, y + height), DARK, -1)
        cv2.rectangle(rgb, (x, y), (x + width, y + height), PALE, 1)
    for number, (text, size) in enumerate(words):
        left = x + (words[0][1] // 4 if swatches else (width - text_width(text, size)) // 2)
        cv2.putText(rgb, text, (left, y + size), PALE, FONT, size, 400)
        if swatches and swatches[number] is not None:
            put_swatch(rgb, swatches[number], (left, y + size))
        y += round(1.35 * size)


def put_swatch(rgb: NDArray[np.uint8], square: NDArray, foot: tuple[int, int]) -> None:
    """Put a square of colours before words, from that lower left corner of them on."""
    x, y = foot
    side = square.shape[0]
    part = rgb[max(0, y - side + 1) : y + 1, x : x + side]
    part[:] = square[side - part.shape[0] :, : part.shape[1]]


def strip(
    rows: Sequence[Sequence[tuple[str, int | None]]],
    width: int,
    size: int,
    square: Callable[[int, int], NDArray],
) -> NDArray[np.uint8]:
    """Return what is told below a picture that wide, sRGB (h, width, 3): words in rows, broken where the picture ends.

    rows : words, each with the code of its swatch or ``None``.   square : the swatch of a code beside words of a size.
    """
    longest = max((text for row in rows for text, _ in row), key=len)
    size = max(6, min(size, fitting(longest, width, size)))
    placed: list[list[tuple[int, str, int | None]]] = []
    for row in rows:
        x, placed = size // 2, [*placed, []]
        for text, code in row:
            if placed[-1] and x + text_width(text, size) > width:
                x, placed = size // 2, [*placed, []]
            placed[-1].append((x, text, code))
            x += text_width(text, size) + size
    line_px = round(1.6 * size)
    told = np.full((line_px * len(placed) + size // 2, width, 3), DARK, np.uint8)
    for number, row in enumerate(placed, start=1):
        for x, text, code in row:
            foot = (x, number * line_px - size // 4)
            cv2.putText(told, text, foot, PALE, FONT, size, 400)
            if code is not None:
                put_swatch(told, square(code, size), foot)
    return told


def sizes_down(shape: tuple[int, ...], aim: float, least: float) -> list[int]:
    """Return sizes of words in px, from the aim down to the least, parts of the short side of a picture of that
    (h, w, ...)."""
    sizes = np.linspace(aim, least, 4) * min(shape[:2])
    return list(dict.fromkeys(max(13, round(size)) for size in sizes))


def text_width(text: str, size: int) -> int:
    """Return how wide a line of words is, px."""
    return cv2.getTextSize((0, 0), text, (0, 0), FONT, size, 400)[2]
