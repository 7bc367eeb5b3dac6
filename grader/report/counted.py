"""What was counted as what: the regions of each stone outlined, washed and hatched, their shares in words beside it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from grader.face.sight.cut import fill_outline
from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.measures import UNREADABLE
from grader.profile import Profile
from grader.report.layers import codes_at
from grader.report.overlay import HATCHED_PX, PICTURE_PX, View, draw_line, view_of
from grader.report.plates import SWATCH_ROOM, Ground, draw_plate, sizes_down, strip, text_width
from grader.report.tint import laid_over, stroke_of, swatch, tint
from grader.report.words import percent

#: Height of the words as a part of the picture's short side: the aim, and the least where there is room.
WORD_PART, LEAST_WORD_PART = 1 / 26, 1 / 50
#: What a swatch is laid on: a stone neither dark nor pale.
_MIDDLING = 170


def draw_counted(measured: MeasuredPhoto, record: dict, profile: Profile) -> NDArray[np.uint8]:
    """Return the photo with the regions of every stone, as sRGB (h, w, 3), and beside each stone its shares.

    Stones whose words find no room on bare ground are told below the photo, which then makes the picture higher.

    Parameters
    ----------
    record : of the photo.
    """
    photo = measured.photo
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX, HATCHED_PX)
    places = np.zeros(view.rgb.shape[:2], np.uint8)
    for piece in measured.pieces:
        window, codes = _codes(view, piece)
        tinted = tint(codes, stroke_of(codes.shape))
        places[window][codes > 0] = tinted[codes > 0]
    rgb = laid_over(view.rgb, places)
    told = [
        [(f"stone {stone['id']}", None)]
        + [(SWATCH_ROOM + text, code) for code, text in counted_words(stone, profile)]
        for stone in record["pieces"]
    ]
    return with_told(rgb, view, measured.pieces, told)


def with_told(
    rgb: NDArray[np.uint8],
    view: View,
    pieces: Sequence[MeasuredPiece],
    told: Sequence[Sequence[tuple[str, int | None]]],
) -> NDArray[np.uint8]:
    """Return a picture of a view with outlines and, beside each stone, what is told of it; of stones whose words find
    no room there, below the picture, and their number beside them.

    told : for each stone its number and further words, each with the code of its swatch or ``None``.
    """
    outlines = [view.points(piece.piece.outline) for piece in pieces]
    for outline in outlines:
        stroke_px = stroke_of(tuple(np.ptp(outline, axis=0)))
        draw_line(rgb, [outline], 3 * stroke_px, stroke_px, closed=True)
    ground, below = Ground(rgb.shape, outlines), {}
    sizes = sizes_down(rgb.shape, WORD_PART, LEAST_WORD_PART)
    # The stone of which most is told finds room first.
    for index, lines in sorted(enumerate(told), key=lambda stone: -len(stone[1])):
        alone = [(str(pieces[index].piece.id), sizes[-1])]
        choices = [[(text, size) for text, _ in lines] for size in sizes]
        plate, words, bare = ground.place(index, [*choices, alone])
        if words is alone:
            draw_plate(rgb, plate[:2], words, thin=not bare)
            below[index] = lines
        else:
            squares = [None if code is None else _square(code, words[0][1]) for _, code in lines]
            draw_plate(rgb, plate[:2], words, swatches=squares)
    if not below:
        return rgb
    return np.vstack(
        [
            rgb,
            strip(
                [below[index] for index in sorted(below)],
                rgb.shape[1],
                sizes[len(sizes) // 2],
                _square,
            ),
        ]
    )


def counted_words(piece: dict, profile: Profile) -> list[tuple[int, str]]:
    """Return "blue 52 %" and so on with the codes of the classes, only of what is there, and what is unreadable."""
    shares = [
        (code, f"{colour.name} {percent(piece['shares'][colour.name]['value'])}")
        for code, colour in enumerate(profile.colours, start=1)
        if piece["shares"].get(colour.name, {}).get("value")
    ]
    if glare := piece["glare"]["value"]:
        shares.append((UNREADABLE, f"unreadable {percent(glare)} of the face"))
    return shares


def counted_codes(view: View, pieces: Sequence[MeasuredPiece]) -> NDArray[np.uint8]:
    """Return the codes of stones at the px of a view, 0 where there is none."""
    codes = np.zeros(view.rgb.shape[:2], np.uint8)
    for piece in pieces:
        window, own = _codes(view, piece)
        codes[window][own > 0] = own[own > 0]
    return codes


def _codes(view: View, piece: MeasuredPiece) -> tuple[tuple[slice, slice], NDArray[np.uint8]]:
    """The part of a view in which a stone lies, and the codes of its px, 0 beside it."""
    height, width = view.rgb.shape[:2]
    outline = view.points(piece.piece.outline)
    left, top = np.floor(outline.min(axis=0)).astype(int).clip(0)
    right, bottom = np.minimum(np.ceil(outline.max(axis=0)).astype(int), (width, height))
    inside = fill_outline(outline - (left, top), (bottom - top, right - left))
    x = (np.arange(left, right) + 0.5) / view.px_per_photo_px + view.origin_px[0]
    y = (np.arange(top, bottom) + 0.5) / view.px_per_photo_px + view.origin_px[1]
    codes = codes_at(piece.measurements.regions.codes, piece.face, x, y)
    return np.s_[top:bottom, left:right], np.where(inside, codes, 0).astype(np.uint8)


def _square(code: int, size: int) -> NDArray[np.uint8]:
    """The swatch of a class beside words of that size."""
    side = max(6, min(size, round(0.8 * text_width(SWATCH_ROOM, size))))
    ground = np.full((side, side, 3), _MIDDLING, np.uint8)
    return laid_over(ground, swatch(code, side, max(1, round(size / 24))))
