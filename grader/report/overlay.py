"""The photo with what was found drawn into it: outline, id and grade word to sort the tray by, and the lines seen."""

import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from grader.errors import GraderError
from grader.files import write_bytes
from grader.grade import Graded, GradedPiece
from grader.photo.colour import linear_srgb, srgb_curve
from grader.photo.photo import Photo

#: Longest side of a drawn photo, enough for any phone and a printed page.
PICTURE_PX = 2400
#: Longest side of a stone's picture on the sheet.
THUMBNAIL_PX = 320
INK, PAPER, LINE_INK = (20, 20, 20), (255, 255, 255), (255, 255, 255)


@dataclass(frozen=True)
class View:
    """A part of a photo as it is shown: display-ready sRGB, and how px of the photo fall into it."""

    rgb: NDArray[np.uint8]
    origin_px: tuple[int, int]
    px_per_photo_px: float

    def points(self, photo_px: NDArray) -> list[tuple[float, float]]:
        """Return x, y in this view of points in px of the full-size photo."""
        return [tuple(p) for p in ((np.asarray(photo_px) - self.origin_px) * self.px_per_photo_px)]


def draw_overlay(graded: Graded, called: Mapping[int, str] | None = None) -> NDArray[np.uint8]:
    """Return the photo with every stone's outline, id and grade word, and its lines, as sRGB.

    Parameters
    ----------
    called : the seller's own grades by piece id; where there is one, it is the word, and the proposal stands below.
    """
    photo = graded.photo
    view = _view(photo, (0, 0, photo.width, photo.height), PICTURE_PX)
    image = Image.fromarray(view.rgb)
    draw = ImageDraw.Draw(image)
    for piece in graded.pieces:
        _draw_found(draw, view, piece, stroke_px=max(2, round(max(image.size) / 500)))
    for piece in graded.pieces:
        _draw_words(draw, view, piece, _words(piece, (called or {}).get(piece.measured.piece.id)))
    return np.asarray(image)


def piece_picture(graded: Graded, piece: GradedPiece) -> bytes:
    """Return a small JPEG of one stone with its outline, lines and id, for the sheet."""
    x, y, w, h = piece.measured.piece.box
    margin = round(0.06 * max(w, h))
    left, top = max(0, x - margin), max(0, y - margin)
    right = min(graded.photo.width, x + w + margin)
    bottom = min(graded.photo.height, y + h + margin)
    view = _view(graded.photo, (left, top, right, bottom), THUMBNAIL_PX)
    image = Image.fromarray(view.rgb)
    draw = ImageDraw.Draw(image)
    _draw_found(draw, view, piece, stroke_px=1)
    _plate(draw, (4, 4), [(str(piece.measured.piece.id), ImageFont.load_default(26))])
    return _encoded(image, "JPEG", quality=82)


def write_picture(path: str | Path, rgb: NDArray[np.uint8]) -> None:
    """Write a picture in the format of its suffix, whole or not at all.

    Raises
    ------
    GraderError
        The suffix is of no picture format, or the place cannot be written to.
    """
    kind = Image.registered_extensions().get(Path(path).suffix.lower())
    if kind not in ("JPEG", "PNG", "WEBP", "TIFF"):
        raise GraderError(
            f"{path}: no picture format; end the name in .jpg, .png, .webp or .tif", "output"
        )
    write_bytes(path, _encoded(Image.fromarray(rgb), kind, quality=90))


def _view(photo: Photo, window: tuple[int, int, int, int], longest_px: int) -> View:
    left, top, right, bottom = window
    part = photo.rgb[top:bottom, left:right]
    scale = min(1.0, longest_px / max(part.shape[:2]))
    if scale < 1:
        size = max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale))
        part = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    return View(_displayed(part, photo), (left, top), scale)


def _displayed(rgb: NDArray, photo: Photo) -> NDArray[np.uint8]:
    """Any encoding as sRGB of 8 bits, for the eye only."""
    if photo.encoding.name == "sRGB" and rgb.dtype == np.uint8:
        return rgb
    light = np.clip(linear_srgb(rgb, photo.encoding), 0, 1)
    return np.interp(light, srgb_curve(), np.arange(256)).round().astype(np.uint8)


def _draw_found(draw: ImageDraw.ImageDraw, view: View, piece: GradedPiece, stroke_px: int) -> None:
    outline = view.points(piece.measured.piece.outline)
    ring = [*outline, outline[0]]
    # Pale on dark: seen on any stone and any cloth.
    draw.line(ring, fill=INK, width=3 * stroke_px, joint="curve")
    draw.line(ring, fill=PAPER, width=stroke_px, joint="curve")
    thin = max(1, stroke_px // 2)
    for line in piece.measured.measurements.lines:
        points = view.points(piece.measured.face.to_photo_px(line.points))
        if line.kind == "crack":
            draw.line(points, fill=INK, width=thin + 2, joint="curve")
            draw.line(points, fill=LINE_INK, width=thin)
        elif line.kind == "uncertain":
            for start, end in _dashes(np.array(points), 6 * thin):
                draw.line([start, end], fill=INK, width=thin + 2)
                draw.line([start, end], fill=LINE_INK, width=thin)


def _dashes(points: NDArray, dash_px: float) -> list[tuple[tuple, tuple]]:
    """A polyline as dashes of that length with gaps as long."""
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    ends = [np.interp(np.arange(0, along[-1], dash_px), along, points[:, axis]) for axis in (0, 1)]
    stops = [tuple(p) for p in np.stack(ends, axis=1)]
    return list(zip(stops[::2], stops[1::2], strict=False))


def _words(piece: GradedPiece, called: str | None) -> list[str]:
    """What is written on a stone: its id with the word to sort by, and the proposal where the seller has called."""
    proposed = piece.proposal.grade if piece.proposal else "retake"
    if called is None:
        return [f"{piece.measured.piece.id} {proposed}"]
    return [f"{piece.measured.piece.id} {called}", f"proposed {proposed}"]


def _draw_words(
    draw: ImageDraw.ImageDraw, view: View, piece: GradedPiece, words: list[str]
) -> None:
    """Write the words in a plate at the foot of the stone, as large as its box and the picture take."""
    x, y, w, h = (v * view.px_per_photo_px for v in piece.measured.piece.box)
    left, top = (
        x - view.origin_px[0] * view.px_per_photo_px,
        y - view.origin_px[1] * view.px_per_photo_px,
    )
    size = _largest(words[0], w, min(h / 2, min(view.rgb.shape[:2]) / 9))
    lines = [(words[0], ImageFont.load_default(size))]
    lines += [
        (word, ImageFont.load_default(max(12, _largest(word, w, size / 2)))) for word in words[1:]
    ]
    width, height = _plate_size(lines)
    at_x = min(max(0, left + (w - width) / 2), view.rgb.shape[1] - width)
    at_y = min(max(0, top + h - height), view.rgb.shape[0] - height)
    _plate(draw, (at_x, at_y), lines)


def _largest(text: str, width_px: float, height_px: float) -> int:
    """Font size at which a text takes at most that width and height, 14 at least."""
    reference = ImageFont.load_default(100)
    by_width = 100 * width_px / (reference.getlength(text) + 60)
    return max(14, int(min(by_width, height_px / 1.4)))


def _plate_size(lines: list[tuple[str, ImageFont.FreeTypeFont]]) -> tuple[float, float]:
    pad = lines[0][1].size * 0.25
    width = max(font.getlength(text) for text, font in lines)
    return width + 2 * pad, sum(1.2 * font.size for _, font in lines) + pad / 2


def _plate(draw: ImageDraw.ImageDraw, at: tuple[float, float], lines) -> None:
    x, y = at
    width, height = _plate_size(lines)
    draw.rectangle((x, y, x + width, y + height), fill=INK, outline=PAPER)
    for text, font in lines:
        draw.text(
            (x + width / 2, y + 0.6 * font.size + 2), text, fill=PAPER, font=font, anchor="mm"
        )
        y += 1.2 * font.size


def _encoded(image: Image.Image, kind: str, quality: int) -> bytes:
    stream = io.BytesIO()
    image.save(stream, kind, quality=quality)
    return stream.getvalue()
