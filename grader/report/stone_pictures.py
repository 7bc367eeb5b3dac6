"""The pictures of one stone between which the sheet switches: what is kept of them, and how they are made from that
and the record, without measuring."""

from base64 import b64encode
from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray

from grader.errors import LedgerError
from grader.grade import MeasuredPiece
from grader.photo.photo import Photo
from grader.profile import Profile
from grader.report.best import best_tint, best_words
from grader.report.counted import counted_codes, counted_words
from grader.report.overlay import View, piece_picture, plain_picture, stone_window
from grader.report.tint import A_CLASS, palette_png, places_of, stroke_of, swatch, tint

#: What is kept of a stone to be shown: its picture with outline and lines, the same without, and its regions, tinted as
#: the sheet lays them over the photo, for a season's stones are shown again and again.
SHOWN = ("sheet", "photo", "regions")
#: Longest side of the regions, and of what is laid over a stone's picture.
REGIONS_PX = 480
_SWATCH_PX = 18


def stone_pictures(photo: Photo, piece: MeasuredPiece) -> dict[str, bytes]:
    """Return what is kept of a stone to be shown, by its name in ``SHOWN``."""
    return {
        "sheet": piece_picture(photo, piece),
        "photo": plain_picture(photo, piece),
        "regions": region_map(piece, photo.width, photo.height),
    }


def region_map(piece: MeasuredPiece, width: int, height: int) -> bytes:
    """Return the regions of a stone, tinted, as a PNG of the part of the photo that its picture shows.

    width, height : of the full-size photo, px.
    """
    codes = counted_codes(blank_view(piece.piece.box, width, height), [piece])
    return palette_png(tint(codes, stroke_of(codes.shape)), level=9)


def shown_views(
    piece: dict, photo: dict, kept: Mapping[str, bytes], profile: Profile
) -> dict[str, str | list]:
    """Return what the sheet shows of a stone: pictures as text (base 64) and words.

    Parameters
    ----------
    piece, photo : their records.   kept : as of :func:`stone_pictures`.

    Returns
    -------
    lines, photo : JPEG.   regions, best : PNG to be laid over the photo, ``lines`` alone where no regions are kept.
    counted : (swatch as PNG, words) of each class that is there.   words : on the best view, a line each.
    """
    shown: dict[str, str | list] = {"lines": _text(kept["sheet"])}
    if not {"photo", "regions"} <= kept.keys():
        return shown
    view = blank_view(tuple(piece["box"]), photo["width"], photo["height"])
    codes = region_codes(kept["regions"], view.rgb.shape)
    return shown | {
        "photo": _text(kept["photo"]),
        "regions": _text(kept["regions"]),
        "best": _text(palette_png(best_tint([piece], view))),
        "counted": [(_swatch(code), text) for code, text in counted_words(piece, profile)],
        "words": best_words(piece, codes, view, profile),
    }


def blank_view(box: tuple[int, int, int, int], width: int, height: int) -> View:
    """Return the part of a photo that a stone's picture shows, empty, at the size of its regions."""
    left, top, right, bottom = stone_window(box, width, height)
    scale = REGIONS_PX / max(right - left, bottom - top)
    size = max(1, round((bottom - top) * scale)), max(1, round((right - left) * scale))
    return View(np.zeros((*size, 3), np.uint8), (left, top), scale)


def region_codes(png: bytes, shape: tuple[int, ...]) -> NDArray[np.uint8]:
    """Return the classes of kept regions, (h, w), 0 beside the stone.

    Raises
    ------
    LedgerError
        They are damaged.
    """
    damaged = LedgerError("the kept regions of a stone are damaged; grade its photo with --anew")
    try:
        codes = places_of(png) // A_CLASS
    except ValueError as err:
        raise damaged from err
    if codes.shape != shape[:2]:
        raise damaged
    return codes


@cache
def _swatch(code: int) -> str:
    return _text(palette_png(swatch(code, _SWATCH_PX, 1)))


def _text(picture: bytes) -> str:
    return b64encode(picture).decode()
