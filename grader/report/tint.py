"""Tints: a picture of few colours that is laid over a photo, each of its px the place in one palette.

A class is told by its wash, by its hatch and by how light it is, so that no colour need be seen; each stroke is dark on
pale, so that it shows on any stone. Colours are after the eight of Okabe and Ito, from memory.
"""

from functools import cache
from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from grader.measures import BACKGROUND, UNREADABLE
from grader.report.plates import DARK, PALE

#: R, G, B of each class's wash, by its code; the first three are far apart for any eye: dark, pale, middling.
_COLOURS = {
    1: (0, 90, 200), 2: (250, 225, 40), 3: (213, 94, 0), 4: (0, 158, 115), 5: (86, 180, 233),
    6: (230, 159, 0), 7: (204, 121, 167), 8: (150, 150, 150), UNREADABLE: (20, 20, 20),
}  # fmt: skip
#: How much of a wash, of a stroke and of what is dimmed covers the photo, 0 to 255.
_WASH, _STROKE, _DIMMED = 60, 215, 125
#: Places in the palette that belong to no class.
CLEAR, DIM, RIM_DARK, RIM_PALE = range(4)
#: How many places a class has, from its code times this on, so that a px tells its class in every tone: the wash, the
#: dark and pale strokes of its hatch, the dark and pale strokes of its borders.
A_CLASS = 5
WASH, STROKE_DARK, STROKE_PALE, BORDER_DARK, BORDER_PALE = range(A_CLASS)
#: From one stroke of a hatch to the next, in strokes.
_APART = 9


def _palette() -> NDArray[np.uint8]:
    """R, G, B and cover of each place, shape (n, 4)."""
    palette = np.zeros((A_CLASS * (UNREADABLE + 1), 4), np.uint8)
    palette[DIM] = (*DARK, _DIMMED)
    palette[RIM_DARK], palette[RIM_PALE] = (*DARK, 255), (*PALE, 255)
    for code, colour in _COLOURS.items():
        dark, pale = np.array(colour) * 0.45, 255 - (255 - np.array(colour)) * 0.45
        places = palette[A_CLASS * code :]
        places[WASH] = (*colour, _WASH)
        places[STROKE_DARK], places[STROKE_PALE] = (*dark, _STROKE), (*pale, _STROKE)
        places[BORDER_DARK], places[BORDER_PALE] = (*DARK, 255), (*PALE, 255)
    return palette


PALETTE = _palette()


def stroke_of(shape: tuple[int, ...]) -> int:
    """Return how many px wide a stroke is in a picture, or on a stone, of that (h, w, ...)."""
    return max(1, round(max(shape[:2]) / 400))


def tint(codes: NDArray[np.uint8], stroke_px: int) -> NDArray[np.uint8]:
    """Return regions outlined, washed and hatched, as places in the palette, uint8, shape (h, w): the class of each px
    is its place over ``A_CLASS``, rounded down.

    codes : uint8, shape (h, w), 0 background, 1 to 8 classes, 9 unreadable.
    """
    tinted = np.full(codes.shape, CLEAR, np.uint8)
    height, width = codes.shape
    often = [-(-side // (_APART * stroke_px)) for side in codes.shape]
    for code in np.flatnonzero(np.bincount(codes.ravel())):
        if code != BACKGROUND:
            hatched = np.tile(_tile(int(code), stroke_px), often)[:height, :width]
            np.copyto(tinted, hatched, where=codes == code)
    dark, pale = _borders(codes, stroke_px)
    for border, tone in ((pale, BORDER_PALE), (dark, BORDER_DARK)):
        tinted[border] = A_CLASS * codes[border] + tone
    return tinted


def _borders(codes: NDArray[np.uint8], stroke_px: int) -> tuple[NDArray, NDArray]:
    """Where one region meets another: a dark stroke on its one side, a pale one on the other. Specks have none: they
    would be all border."""
    calm = cv2.medianBlur(codes, 2 * stroke_px + 3)
    calm[codes == BACKGROUND] = BACKGROUND
    around = np.ones((2 * stroke_px + 1,) * 2, np.uint8)
    stone = calm != BACKGROUND
    pale = stone & (cv2.dilate(calm, around) > calm)
    # The background is no neighbour.
    dark = stone & (cv2.erode(np.where(stone, calm, 255), around) < calm)
    return dark, pale


@cache
def _tile(code: int, stroke_px: int) -> NDArray[np.uint8]:
    """A class as places in the palette, as far as its hatch repeats itself."""
    y, x = np.indices((_APART * stroke_px,) * 2, sparse=True)
    tile = np.full((_APART * stroke_px,) * 2, A_CLASS * code + WASH, np.uint8)
    # The pale half of a stroke lies beside its dark half.
    for tone, back in ((STROKE_DARK, 0), (STROKE_PALE, stroke_px)):
        tile[_hatch(code, x - back, y - back, stroke_px)] = A_CLASS * code + tone
    return tile


def _hatch(code: int, x: NDArray, y: NDArray, stroke_px: int) -> NDArray[np.bool_]:
    """Where a class has strokes: one way of hatching each, so that they differ in grey too."""
    apart = _APART * stroke_px

    def stroke(along: NDArray, strokes: int = 1) -> NDArray[np.bool_]:
        return along % apart < strokes * stroke_px

    rising, falling, level, upright = x + y, x - y, y + 0 * x, x + 0 * y
    if code == 2:
        return stroke(level, 2) & stroke(upright, 2)
    if code == UNREADABLE:
        return stroke(rising) | stroke(falling)
    return {
        1: lambda: stroke(rising),
        3: lambda: stroke(level),
        4: lambda: stroke(falling),
        5: lambda: stroke(upright),
        6: lambda: stroke(level) | stroke(upright),
        7: lambda: stroke(rising) & (level % apart < apart // 2),
        8: lambda: stroke(level) & (upright % apart < apart // 2),
    }[code]()


def dim_outside(shape: tuple[int, ...], rims: list[NDArray], stroke_px: int) -> NDArray[np.uint8]:
    """Return all dimmed but what lies within these rims, each drawn in two tones, as places in the palette.

    rims : (n, 2) points x, y each, px of the picture of that (h, w, ...).
    """
    dimmed = np.full(shape[:2], DIM, np.uint8)
    rims = [np.rint(rim - 0.5).astype(np.int32).reshape(-1, 1, 2) for rim in rims]
    for rim in rims:
        cv2.fillPoly(dimmed, [rim], CLEAR)
    for place, width in ((RIM_DARK, 3 * stroke_px), (RIM_PALE, stroke_px)):
        cv2.polylines(dimmed, rims, True, place, width)
    return dimmed


def swatch(code: int, side_px: int, stroke_px: int) -> NDArray[np.uint8]:
    """Return a square of a class with a rim, as places in the palette."""
    square = tint(np.full((side_px, side_px), code, np.uint8), stroke_px)
    square[[0, -1]], square[:, [0, -1]] = RIM_PALE, RIM_PALE
    return square


def laid_over(rgb: NDArray[np.uint8], places: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a picture, (h, w, 3), with a tint of the same size over it."""
    over = PALETTE[places]
    cover = over[..., 3:].astype(np.uint16)
    return ((rgb * (255 - cover) + over[..., :3] * cover + 127) // 255).astype(np.uint8)


def palette_png(places: NDArray[np.uint8], level: int = 1) -> bytes:
    """Return a tint as a PNG with a palette, to be seen through where the photo is to show.

    level : of deflate: 1, at once, for what is drawn for one page; 9, small, for what is kept.
    """
    image = Image.fromarray(places, "P")
    image.putpalette(PALETTE[:, :3].tobytes())
    stream = BytesIO()
    image.save(stream, "PNG", transparency=PALETTE[:, 3].tobytes(), compress_level=level)
    return stream.getvalue()


def places_of(png: bytes) -> NDArray[np.uint8]:
    """Return the places of such a PNG, shape (h, w).

    Raises
    ------
    ValueError
        It is no PNG with a palette.
    """
    try:
        with Image.open(BytesIO(png), formats=["PNG"]) as image:
            if image.mode != "P":
                raise ValueError("has no palette")
            return np.asarray(image)
    except (OSError, SyntaxError) as err:
        raise ValueError("is no PNG") from err
