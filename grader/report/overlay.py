"""The photo with what was found drawn into it.

Outline, id and grade word to sort the tray by, and the lines seen, with the numbers by which the
seller speaks of them: whole ones are cracks, dashed ones uncertain, dotted ones pattern lines.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.errors import GraderError
from grader.face.face import Face
from grader.face.lines.polyline import arc_px, at_arc, dashes
from grader.face.measurements import Line, Placement
from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.made import write_made
from grader.photo.colour import linear_srgb, srgb_curve
from grader.photo.photo import Photo
from grader.report.headline import label_words, proposal_of
from grader.report.plates import DARK, FONT, PALE, Ground, Rect, Words, draw_plate, fitting
from grader.report.words import WORTH_DRAWING

#: Longest side of a drawn photo, enough for any phone and a printed page.
PICTURE_PX = 2400
#: A photo smaller than this is enlarged where hatches and words are laid over it.
HATCHED_PX = 1000
#: Longest side of a stone's picture on the sheet.
THUMBNAIL_PX = 320
#: Longest side of the picture of a stone that is enlarged, or sorted by.
LARGE_PX = 1200
#: Longest side of an upright view, enough for a listing.
VIEW_PX = 1600
#: Height of the words as a part of the picture's short side: the aim, and the least where there is
#: room.
WORD_PART, LEAST_WORD_PART = 1 / 14, 1 / 25
PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")


@dataclass(frozen=True)
class View:
    """A part of a photo as it is shown: sRGB to be drawn on, and how px of the photo fall into
    it."""

    rgb: NDArray[np.uint8]
    origin_px: tuple[int, int]
    px_per_photo_px: float

    def points(self, photo_px: NDArray) -> NDArray[np.float64]:
        """Return (n, 2) points x, y in px of the full-size photo as points of this view."""
        return (np.asarray(photo_px, float) - self.origin_px) * self.px_per_photo_px

    def rect(self, box: tuple[int, int, int, int]) -> Rect:
        """Return a box x, y, w, h of the photo as one of this view."""
        x, y, w, h = box
        (left, top), (right, bottom) = self.points(np.array([[x, y], [x + w, y + h]]))
        return left, top, right - left, bottom - top


def draw_overlay(measured: MeasuredPhoto, record: dict) -> NDArray[np.uint8]:
    """Return the photo with every stone's outline, id and grade word, and its lines, as sRGB (h, w,
    3).

    Parameters
    ----------
    record : of the photo, with proposals and calls. A called grade is the word, and the proposal
    stands below.
    """
    photo = measured.photo
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX)
    for piece in measured.pieces:
        stroke_px = max(2, round(max(view.rgb.shape) / 600))
        lines = _shown_lines(piece)
        _draw_found(view, piece, stroke_px, lines)
        _draw_placements(view, piece, stroke_px)
        _draw_numbers(view, piece, lines)
    ground = Ground(view.rgb.shape, [view.points(piece.piece.outline) for piece in measured.pieces])
    for number, stone in enumerate(record["pieces"]):
        choices = _words(stone, view.rect(stone["box"]), view.rgb.shape)
        plate, words, bare = ground.place(number, choices)
        draw_plate(view.rgb, plate[:2], words, thin=not bare)
    return view.rgb


def piece_picture(photo: Photo, piece: MeasuredPiece) -> bytes:
    """Return a small JPEG of one stone with its outline, lines and id, for the sheet; no grade is drawn in, so that it
    holds whichever model proposes."""
    view = view_of(photo, stone_window(piece.piece.box, photo.width, photo.height), THUMBNAIL_PX)
    # So small, pattern lines would only clutter.
    lines = [(n, line) for n, line in _shown_lines(piece) if line.kind != "pattern line"]
    _draw_found(view, piece, 1, lines)
    ground = Ground(view.rgb.shape, [view.points(piece.piece.outline)])
    choices = [[(str(piece.piece.id), size)] for size in (26, 16)]
    plate, words, bare = ground.place(0, choices)
    draw_plate(view.rgb, plate[:2], words, thin=not bare)
    return _encoded(view.rgb, ".jpg", quality=82)


def plain_picture(photo: Photo, piece: MeasuredPiece) -> bytes:
    """Return the same picture with nothing drawn into it."""
    return cut_picture(photo, piece.piece.box, THUMBNAIL_PX, quality=82)


def cut_picture(
    photo: Photo, box: tuple[int, int, int, int], longest_px: int = LARGE_PX, quality: int = 85
) -> bytes:
    """Return a JPEG cut from a photo, the part that a stone's small picture shows; a photo is never enlarged."""
    window = stone_window(tuple(box), photo.width, photo.height)
    return _encoded(view_of(photo, window, longest_px).rgb, ".jpg", quality=quality)


def stone_window(
    box: tuple[int, int, int, int], width: int, height: int
) -> tuple[int, int, int, int]:
    """Return the part of a photo, left, top, right, bottom, that a stone's picture shows: its box x, y, w, h and a
    margin, within the photo."""
    x, y, w, h = box
    margin = round(0.06 * max(w, h))
    return (
        max(0, x - margin),
        max(0, y - margin),
        min(width, x + w + margin),
        min(height, y + h + margin),
    )


def write_picture(path: str | Path, rgb: NDArray[np.uint8]) -> None:
    """Write a picture (h, w, 3), sRGB, in the format of its suffix, whole or not at all; what is there already is
    replaced only where the tool made it.

    Raises
    ------
    GraderError
        The suffix is of no picture format, the place cannot be written to, or holds what the tool did not make.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in PICTURE_SUFFIXES:
        raise GraderError(
            f"{path}: no picture format; end the name in .jpg, .png, .webp or .tif", "output"
        )
    write_made(path, _encoded(rgb, suffix, quality=90))


def view_of(
    photo: Photo, window: tuple[int, int, int, int], longest_px: int, least_px: int = 1
) -> View:
    """Return the part of a photo within left, top, right, bottom, its longer side at most ``longest_px``; what is
    shorter than ``least_px`` is enlarged to it."""
    left, top, right, bottom = window
    part = photo.rgb[top:bottom, left:right]
    longer = max(part.shape[:2])
    scale = max(min(1.0, longest_px / longer), least_px / longer)
    size = max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    part = part.copy() if scale == 1 else cv2.resize(part, size, interpolation=way)
    return View(_displayed(part, photo), (left, top), scale)


def _displayed(rgb: NDArray, photo: Photo) -> NDArray[np.uint8]:
    """Any encoding as sRGB of 8 bits, for the eye only."""
    if photo.encoding.name == "sRGB" and rgb.dtype == np.uint8:
        return rgb
    light = np.clip(linear_srgb(rgb, photo.encoding), 0, 1)
    return np.interp(light, srgb_curve(), np.arange(256)).round().astype(np.uint8)


def best_placed(measured: MeasuredPhoto) -> MeasuredPiece | None:
    """Return the stone with the best place for a template, ``None`` where none has one."""
    placed = [p for p in measured.pieces if p.measurements.scene.best]
    return max(placed, key=lambda p: p.measurements.scene.best.score, default=None)


def view_picture(photo: Photo, face: Face, placement: Placement) -> NDArray[np.uint8]:
    """Return what a template shows, turned upright, as sRGB (h, w, 3); white around an oval."""
    size = np.array(placement.size_px) / face.px_per_photo_px
    size *= min(1.0, VIEW_PX / size.max())
    w, h = (max(1, round(side)) for side in size)
    corner = (
        placement.centre_px
        + np.array([[-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5]])
        * np.array(placement.size_px)
        @ placement.axes
    )
    corner = face.to_photo_px(corner)
    left, top = np.floor(corner.min(axis=0)).astype(int).clip(0)
    # The fourth corner is as far from the middle as the first.
    last = corner[1] + corner[2] - corner[0]
    left, top = np.minimum((left, top), np.floor(last).astype(int).clip(0))
    right, bottom = np.ceil(np.maximum(corner.max(axis=0), last)).astype(int) + 1
    window = left, top, min(int(right), photo.width), min(int(bottom), photo.height)
    view = view_of(photo, window, max(photo.width, photo.height))
    goal = np.array([[0, 0], [w, 0], [0, h]], np.float32) - 0.5
    matrix = cv2.getAffineTransform((view.points(corner) - 0.5).astype(np.float32), goal)
    shrink = np.hypot(*matrix[:, 0])
    source = cv2.GaussianBlur(view.rgb, (0, 0), 0.4 / shrink) if shrink < 0.7 else view.rgb
    upright = cv2.warpAffine(source, matrix, (w, h), flags=cv2.INTER_LINEAR, borderValue=PALE)
    if placement.shape == "oval":
        y, x = np.mgrid[:h, :w]
        off = np.hypot((x + 0.5) / w * 2 - 1, (y + 0.5) / h * 2 - 1) > 1
        upright[off] = PALE
    return upright


def _draw_placements(view: View, piece: MeasuredPiece, stroke_px: int) -> None:
    """The best place for a template, whole, with a stroke to its top; the runner-up dashed."""
    scene, face = piece.measurements.scene, piece.face
    thin = max(1, stroke_px // 2)
    for placement in (scene.best, scene.runner_up):
        if placement is None or round(placement.score) < WORTH_DRAWING:
            continue
        rim = view.points(face.to_photo_px(placement.outline_px()))
        up = placement.centre_px - np.array([[0.32], [0.46]]) * (
            placement.axes[1] * placement.size_px[1]
        )
        if placement is scene.best:
            draw_line(view.rgb, [rim], thin + 2, thin, closed=True)
            draw_line(view.rgb, [view.points(face.to_photo_px(up))], thin + 2, thin)
        else:
            draw_line(view.rgb, dashes(np.vstack([rim, rim[:1]]), 8.0 * thin), thin + 2, thin)


def _draw_found(
    view: View, piece: MeasuredPiece, stroke_px: int, lines: list[tuple[int, Line]]
) -> None:
    # Pale on dark: seen on any stone and any cloth.
    outline = view.points(piece.piece.outline)
    draw_line(view.rgb, [outline], 3 * stroke_px, stroke_px, closed=True)
    thin = max(1, stroke_px // 2)
    for _, line in lines:
        points = view.points(piece.face.to_photo_px(line.points))
        dash = {"crack": None, "pattern line": 2.0 * thin}.get(line.kind, 6.0 * thin)
        parts = [points] if dash is None else dashes(points, dash)
        draw_line(view.rgb, parts, thin + 2, thin)


def _shown_lines(piece: MeasuredPiece) -> list[tuple[int, Line]]:
    """The lines that are drawn, with their numbers."""
    lines = enumerate(piece.measurements.lines, start=1)
    return [(number, line) for number, line in lines if line.kind != "contact" or line.may_part]


def _draw_numbers(view: View, piece: MeasuredPiece, lines: list[tuple[int, Line]]) -> None:
    """Each line's number beside its middle, small: it is read close up, when a line is spoken of."""
    size = max(11, round(min(view.rgb.shape[:2]) / 60))
    for number, line in lines:
        points = view.points(piece.face.to_photo_px(line.points))
        arc = arc_px(points)
        x, y = at_arc(points, arc, 0.5 * arc[-1:])[0]
        _put_text(view.rgb, str(number), (x + 0.4 * size, y - 0.4 * size), size)


def draw_line(
    rgb: NDArray[np.uint8], parts: list[NDArray], dark_px: int, pale_px: int, closed: bool = False
) -> None:
    """Draw polylines, (n, 2) x, y each, pale on dark."""
    # Polylines take sixteenths of a px, counted from px centres.
    parts = [np.rint((part - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2) for part in parts]
    for colour, width_px in ((DARK, dark_px), (PALE, pale_px)):
        cv2.polylines(rgb, parts, closed, colour, width_px, cv2.LINE_AA, shift=4)


def _words(piece: dict, stone: Rect, shape: tuple[int, ...]) -> list[Words]:
    """The lines of a plate, from the size that is aimed at down to the least: the id with the word to
    sort by, below it the proposal if called."""
    proposed, called = label_words(proposal_of(piece)), (piece["call"] or {}).get("grade")
    short_side = min(shape[:2])
    first, below = f"{piece['id']} {called or proposed}", f"proposed {proposed}"
    least = min(round(short_side * LEAST_WORD_PART), fitting(first, 1.6 * stone[2], 1e4))
    # As large as the stone is wide, within what reads at arm's length.
    sizes = np.linspace(fitting(first, stone[2], short_side * WORD_PART), least, 4).round()
    choices = []
    for size in dict.fromkeys(max(int(size), least, 14) for size in sizes):
        under = (below, max(12, fitting(below, stone[2], size / 2)))
        choices.append([(first, size), *([under] if called else [])])
    return choices


def _put_text(rgb: NDArray[np.uint8], text: str, foot: tuple[float, float], size: int) -> None:
    """Put pale words with a dark rim, from that lower left corner on."""
    x, y = (round(v) for v in foot)
    for dx, dy in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
        cv2.putText(rgb, text, (x + dx, y + dy), DARK, FONT, size, 600)
    cv2.putText(rgb, text, (x, y), PALE, FONT, size, 600)


def _encoded(rgb: NDArray[np.uint8], suffix: str, quality: int) -> bytes:
    settings = {
        ".webp": [cv2.IMWRITE_WEBP_QUALITY, quality],
        ".jpg": [cv2.IMWRITE_JPEG_QUALITY, quality],
        ".jpeg": [cv2.IMWRITE_JPEG_QUALITY, quality],
    }
    _, content = cv2.imencode(suffix, rgb[..., ::-1], settings.get(suffix, []))
    return content.tobytes()
