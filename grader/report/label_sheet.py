"""Sheets of labels and tags as a PDF: a QR code that says the number of a piece, the number large, and what is known.

The same labels give the same bytes. The grids are those of usual sheets of labels (from memory); on plain paper the
pale lines are where to cut.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO

import cv2
import numpy as np
import segno
from PIL import Image
from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from grader.report.photo_card import BOLD, FONT, PAPERS_MM, POINTS_PER_MM
from grader.report.plates import FONT as ANY_SCRIPT

#: ISO/IEC 18004, 9.1: so many modules around a QR code stay empty.
QUIET_MODULES = 4
#: Text keeps so far from the border of its label, at the side and above.
MARGIN_MM, ABOVE_MM = 4.0, 3.0
#: A number that would come out smaller is broken behind its haul.
SMALL_POINTS = 16.0
LARGEST_POINTS, LEAST_POINTS = 28.0, 4.5
#: What stands below would come out smaller than this in one line: then it takes two.
FOOT_POINTS = 5.5
_CUT_GRAY = 0.8
#: Of a font's size: from one line to the next, and how high a capital stands.
_LINE, _CAPITAL = 1.18, 0.72


@dataclass(frozen=True)
class Grid:
    """How labels lie on a paper, mm: columns and rows, size of one, upper left corner of the first, and the step to the
    next column."""

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    step_mm: float
    qr_mm: float

    @property
    def places(self) -> int:
        return self.columns * self.rows


GRIDS = {
    "a4": Grid(3, 8, 70.0, 37.0, 0.0, 0.5, 70.0, 25.0),
    "letter": Grid(2, 7, 101.6, 33.87, 4.0, 21.15, 106.35, 23.0),
}


@dataclass(frozen=True)
class Label:
    """What a label says; of a tag the code alone.

    weight, photo : as they are printed: "net 612 g", "photo: wet; grades: banded 9".
    """

    code: str
    grade: str | None = None
    meaning: str | None = None
    weight: str | None = None
    photo: str | None = None


def label_sheets(
    labels: Sequence[Label],
    paper: str = "a4",
    skip: int = 0,
    on_label: Callable[[int, int], None] = lambda done, total: None,
) -> bytes:
    """Return labels as a PDF, row by row.

    Parameters
    ----------
    paper : one of ``GRIDS``.
    skip : so many places of the first sheet are used up already, fewer than it has.
    on_label : told how many of how many are drawn.
    """
    grid, (width, height) = GRIDS[paper], PAPERS_MM[paper]
    made = BytesIO()
    canvas = Canvas(made, pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM), invariant=1)
    canvas.setTitle("Labels")
    for number, label in enumerate(labels, start=skip):
        place = number % grid.places
        if place == 0 and number > skip:
            canvas.showPage()
        row, column = divmod(place, grid.columns)
        canvas.saveState()
        # From here on one unit is a point, 0, 0 the lower left corner of the label.
        canvas.translate(
            (grid.left_mm + column * grid.step_mm) * POINTS_PER_MM,
            (height - grid.top_mm - (row + 1) * grid.height_mm) * POINTS_PER_MM,
        )
        _draw(canvas, label, grid)
        canvas.restoreState()
        on_label(number + 1 - skip, len(labels))
    canvas.showPage()
    canvas.save()
    return made.getvalue()


def sheet_count(labels: int, paper: str = "a4", skip: int = 0) -> int:
    """Return on how many sheets so many labels come."""
    return -(-(labels + skip) // GRIDS[paper].places)


def _draw(canvas: Canvas, label: Label, grid: Grid) -> None:
    width, height = grid.width_mm * POINTS_PER_MM, grid.height_mm * POINTS_PER_MM
    canvas.setStrokeGray(_CUT_GRAY)
    canvas.setLineWidth(0.3)
    canvas.rect(0, 0, width, height, fill=0)
    side = grid.qr_mm * POINTS_PER_MM
    quiet = _draw_qr(canvas, label.code, side, height)
    left = side + 2 * quiet
    room = width - left - MARGIN_MM * POINTS_PER_MM
    lines = _number_lines(label.code, room)
    y = height - ABOVE_MM * POINTS_PER_MM
    if label == Label(label.code):
        y = (height + sum(size * _LINE for _, size in lines)) / 2
    for text, size in lines:
        _write(canvas, left, y - _CAPITAL * size, text, size, BOLD)
        y -= size * (_LINE if len(lines) > 1 else 1.0)
    foot = ABOVE_MM * POINTS_PER_MM
    for text, size, font in ((label.photo, 6.5, FONT), (label.weight, 10.0, BOLD)):
        if text:
            fit = _fitting(text, font, size, room)
            # Two lines rather than letters that nobody reads with wet hands.
            lines = [text] if fit >= FOOT_POINTS else _wrapped(text, font, FOOT_POINTS, room)
            fit = min(_fitting(line, font, size, room) for line in lines)
            fit = fit if len(lines) == 1 else min(fit, FOOT_POINTS)
            for above, line in zip(reversed(range(len(lines))), lines, strict=True):
                _write(canvas, left, foot + above * fit * _LINE, line, fit, font)
            foot += len(lines) * fit * _LINE
    _draw_grade(canvas, label, (left, y, room, y - foot))


def _draw_grade(canvas: Canvas, label: Label, place: tuple[float, float, float, float]) -> None:
    """The grade and its meaning in a place, left, top, width, height in points."""
    if not label.grade:
        return
    left, top, room, tall = place
    for text, size, font in _grade_lines(label.grade, label.meaning or "", room, tall):
        _write(canvas, left, top - size, text, size, font)
        top -= size * _LINE


@lru_cache(maxsize=256)
def _grade_lines(
    grade: str, meaning: str, room: float, tall: float
) -> list[tuple[str, float, str]]:
    """A grade and its meaning in lines, each with its size and font: as large as all of it fits in. What does not fit
    even when small ends in dots."""
    for shrink in np.arange(1.0, 0.4, -0.05):
        sizes = (max(LEAST_POINTS, 10.0 * shrink), max(LEAST_POINTS, 6.5 * shrink))
        lines = [(text, sizes[0], BOLD) for text in _wrapped(grade, BOLD, sizes[0], room)]
        lines += [(text, sizes[1], FONT) for text in _wrapped(meaning, FONT, sizes[1], room)]
        if sum(size * _LINE for _, size, _ in lines) <= tall:
            return lines
    while len(lines) > 1 and sum(size * _LINE for _, size, _ in lines) > tall:
        lines.pop()
    text, size, font = lines[-1]
    return [*lines[:-1], (text[:-1].rstrip() + "\N{HORIZONTAL ELLIPSIS}", size, font)]


def _draw_qr(canvas: Canvas, code: str, side: float, height: float) -> float:
    """A QR code of that side in the middle of the label's height; return the width of its quiet zone, points."""
    # A small one by itself would be a Micro QR, which many phones cannot read (from memory).
    matrix = np.array(segno.make(code, error="m", micro=False).matrix, bool)
    module = side / len(matrix)
    quiet = QUIET_MODULES * module
    bottom = (height - side) / 2
    # One path, and dark modules of a row as one: renderers leave no hairlines between.
    canvas.saveState()
    canvas.translate(quiet, bottom + side)
    canvas.scale(module, -module)
    path = canvas.beginPath()
    for row, dark in enumerate(matrix):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], dark.astype(int), [0]))))
        for start, end in edges.reshape(-1, 2):
            path.rect(int(start), row, int(end - start), 1)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()
    return quiet


def _number_lines(code: str, room: float) -> list[tuple[str, float]]:
    """The number in one line, or where that would be small in two, each with its size in points."""
    size = _fitting(code, BOLD, LARGEST_POINTS, room)
    if size >= SMALL_POINTS:
        return [(code, size)]
    haul, _, number = code.partition("-")
    parts = (f"{haul}-", number)
    size = min(_fitting(part, BOLD, LARGEST_POINTS, room) for part in parts)
    return [(part, size) for part in parts]


def _fitting(text: str, font: str, points: float, room: float) -> float:
    """The size, at most ``points``, at which a text is at most so wide."""
    return min(points, points * room / max(_width(text, font, points), 0.1))


def _wrapped(text: str, font: str, points: float, room: float) -> list[str]:
    if _is_latin(text):
        lines = simpleSplit(text, font, points, room)
    else:
        lines = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and _width(longer, font, points) <= room:
                lines[-1] = longer
            else:
                lines.append(word)
    # A word too long for a line is broken: no letter of it is lost.
    return [part for line in lines for part in _broken(line, font, points, room)]


def _broken(line: str, font: str, points: float, room: float) -> list[str]:
    if _width(line, font, points) <= room:
        return [line]
    parts = [""]
    for letter in line:
        if parts[-1] and _width(parts[-1] + letter, font, points) > room:
            parts.append("")
        parts[-1] += letter
    return parts


def _is_latin(text: str) -> bool:
    """Whether a PDF's own fonts hold all letters of a text: those of Windows code page 1252 (ISO 32000-1, annex D)."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def _width(text: str, font: str, points: float) -> float:
    if _is_latin(text):
        return stringWidth(text, font, points)
    _, _, width, _ = cv2.getTextSize((0, 0), text, (0, 0), ANY_SCRIPT, _DRAWN_PX, _weight(font))
    return width * points / _DRAWN_PX


#: Letters that a PDF's own fonts lack are drawn so high, and laid in as a picture.
_DRAWN_PX = 64


def _weight(font: str) -> int:
    return 700 if font == BOLD else 400


def _write(canvas: Canvas, x: float, y: float, text: str, points: float, font: str) -> None:
    """Write a line whose letters stand on ``y``."""
    canvas.setFillGray(0)
    if _is_latin(text):
        canvas.setFont(font, points)
        canvas.drawString(x, y, text)
        return
    wide = round(_width(text, font, _DRAWN_PX)) + _DRAWN_PX // 4
    below = _DRAWN_PX // 3
    drawn = np.full((_DRAWN_PX + below, wide, 3), 255, np.uint8)
    cv2.putText(drawn, text, (0, _DRAWN_PX), (0, 0, 0), ANY_SCRIPT, _DRAWN_PX, _weight(font))
    per_px = points / _DRAWN_PX
    picture = ImageReader(Image.fromarray(drawn))
    canvas.drawImage(picture, x, y - below * per_px, wide * per_px, drawn.shape[0] * per_px)
