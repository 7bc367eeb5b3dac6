"""The photo card as a PDF: page 1 the card in true size, page 2 how to photograph with it."""

from collections.abc import Callable
from io import BytesIO

from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from grader.errors import GraderError
from grader.photo.card_layout import (
    BAR,
    BAR_MM,
    GREYS,
    HEIGHT_MM,
    RULE,
    STONE_AREA,
    WHITES,
    WIDTH_MM,
    Box,
    black_boxes,
)
from grader.report.cautions import CAUTIONS, WATER_AND_MAINS, caution_lines

#: ISO 216 A4, and ANSI/ASME Y14.1 size A (letter, 8.5 x 11 in); width and height in mm.
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: The bar as a printer may have drawn it, in mm; beyond, something else is wrong.
MEASURED_MM = (90.0, 110.0)
POINTS_PER_MM = 72 / 25.4
FONT, BOLD = "Helvetica", "Helvetica-Bold"

#: How to photograph: a heading and its lines.
GUIDE: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Print",
        (
            'Plain matt white paper, "actual size" or 100 %, not "fit to page".',
            "Measure the bar and the rule with a good ruler: 100 mm and 150 mm. Is the bar 98.5 mm "
            "long? Make a card for this printer: grader card --out mine.pdf --measured 98.5",
            "Is one right and the other not? Use another printer. Fix the card to a flat board.",
        ),
    ),
    (
        "Lay it",
        (
            "Stone in the middle, all black squares in sight and dry.",
            "Card at face height: put the card on blocks, level with the face. What is nearer looks "
            "larger: a face 10 mm above the card, seen from 300 mm, reads 3.3 % too long; 40 mm, "
            "15.4 %; from farther away, less. If the card must lie lower, measure how far and say so "
            "when you grade.",
        ),
    ),
    (
        "Light",
        (
            "Open shade, or one large lamp; no sun patch, no flash, no two kinds of lamp at once.",
            "Even over card and stone. Move until no lamp mirrors in the face or on the card.",
            "A thin wet film all over the face, no pool; or all of it dry. Never half dried.",
        ),
    ),
    (
        "Take it",
        (
            "Straight from above, leaning 25° at the most. Card and stone fill the frame.",
            "No zoom, no selfie camera, no crop afterwards. Tap the stone to focus; hold still.",
            "White is the unprinted paper. A printer's greys are not reliable; bright white paper "
            "is a little bluish.",
        ),
    ),
)


def card_pdf(paper: str = "a4", measured_mm: float = BAR_MM) -> bytes:
    """Return the card and its guide as a PDF of two pages, the same bytes each time.

    Parameters
    ----------
    paper : one of ``PAPERS_MM``.
    measured_mm : length of the bar as this printer drew it, 90 to 110; the card is drawn larger or
        smaller by as much, so that it comes out true.

    Raises
    ------
    GraderError
        ``measured_mm`` is out of range, or no such paper.
    """
    if paper not in PAPERS_MM:
        raise GraderError(f"no paper called {paper!r}; one of {', '.join(PAPERS_MM)}", "card")
    least, most = MEASURED_MM
    if not least <= measured_mm <= most:
        raise GraderError(
            f"a bar of {measured_mm:g} mm is too far from {BAR_MM:g}; print at 100 %, measure in mm "
            f"between the outer ends, {least:g} to {most:g}",
            "card",
        )
    width, height = PAPERS_MM[paper]
    made = BytesIO()
    canvas = Canvas(made, pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM), invariant=1)
    canvas.setTitle("Photo card")
    _draw_card(canvas, width, height, measured_mm)
    canvas.showPage()
    _draw_guide(canvas, width, height)
    canvas.showPage()
    canvas.save()
    return made.getvalue()


def _draw_card(canvas: Canvas, width: float, height: float, measured_mm: float) -> None:
    true = BAR_MM / measured_mm
    # From here on one unit is a mm of the printed card, upper left corner 0, 0, y up the page.
    canvas.translate(width / 2 * POINTS_PER_MM, height / 2 * POINTS_PER_MM)
    canvas.scale(true * POINTS_PER_MM, true * POINTS_PER_MM)
    canvas.translate(-WIDTH_MM / 2, HEIGHT_MM / 2)
    canvas.setLineWidth(0.15)
    # One path: renderers leave no hairlines between its parts.
    path = canvas.beginPath()
    for box in black_boxes():
        path.rect(box.x_mm, -box.y_mm - box.h_mm, box.w_mm, box.h_mm)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    _draw_bar(canvas, measured_mm)
    _draw_rule(canvas)
    for box in WHITES:
        _rect(canvas, box)
        _words(canvas, box.x_mm + box.w_mm / 2, box.y_mm + box.h_mm + 3, "paper: white")
    for grey in GREYS:
        canvas.setFillGray(_code(grey.nominal_y))
        _rect(canvas, grey.box, stroke=0, fill=1)
        middle = grey.box.x_mm + grey.box.w_mm / 2
        _words(canvas, middle, grey.box.y_mm + 19, f"Y {grey.nominal_y:g}")
    _draw_place(canvas)
    _words(
        canvas,
        (36 + WIDTH_MM) / 2,
        190,
        "printed greys: nominal Y, not reliable; white is the unprinted paper",
    )


def _draw_bar(canvas: Canvas, measured_mm: float) -> None:
    canvas.setFillGray(0)
    _rect(canvas, BAR, stroke=0, fill=1)
    for x in (BAR.x_mm, BAR.x_mm + BAR.w_mm - 0.3):
        _rect(canvas, Box(x, BAR.y_mm - 3, 0.3, 8), stroke=0, fill=1)
    middle = BAR.x_mm + BAR.w_mm / 2
    _words(canvas, middle, 4.5, f"this bar is {BAR_MM:g} mm from end to end: measure it", 8)
    made_for = (
        "if it is 98.5 mm, make the card anew: grader card --out mine.pdf --measured 98.5"
        if measured_mm == BAR_MM
        else f"bar measured {measured_mm:g} mm: made for a printer that drew it so"
    )
    _words(canvas, middle, 16, made_for)


def _draw_rule(canvas: Canvas) -> None:
    right, top = RULE.x_mm + RULE.w_mm, RULE.y_mm
    for mm in range(round(RULE.h_mm) + 1):
        long = RULE.w_mm if mm % 10 == 0 else 4.0 if mm % 5 == 0 else 2.5
        canvas.line(right - long, -top - mm, right, -top - mm)
        if mm % 10 == 0:
            _words(canvas, right - RULE.w_mm - 2.5, top + mm + 0.9, f"{mm}")
    canvas.line(right, -top, right, -top - RULE.h_mm)
    _words(canvas, right - 3, top + RULE.h_mm + 4, "mm")


def _draw_place(canvas: Canvas) -> None:
    """Corners around the place of the stone, and what matters there."""
    reach = 8
    for x, y in STONE_AREA.corners_mm():
        inward_x = reach if x == STONE_AREA.x_mm else -reach
        inward_y = reach if y == STONE_AREA.y_mm else -reach
        canvas.line(x, -y, x + inward_x, -y)
        canvas.line(x, -y, x, -y - inward_y)
    middle = STONE_AREA.x_mm + STONE_AREA.w_mm / 2
    _words(canvas, middle, STONE_AREA.y_mm - 2, "stone here, its face level with this card", 8)


def _draw_guide(canvas: Canvas, width: float, height: float) -> None:
    margin, y = 20.0, 24.0
    # Here one unit is a mm of the page, 0, 0 its upper left corner.
    canvas.translate(0, height * POINTS_PER_MM)
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    _words(
        canvas, margin, y, "How to photograph a stone with the card", 16, BOLD, canvas.drawString
    )
    _draw_view(canvas, width - margin - 62, 34)
    y += 10
    for heading, lines in GUIDE:
        y += 4
        _words(canvas, margin, y, heading, 11, BOLD, canvas.drawString)
        y += 5
        for line in lines:
            # The drawing stands beside the first lines.
            room = width - 2 * margin - (68 if y < 88 else 0)
            y = _paragraph(canvas, margin, y, line, room, 10.5) + 1.4
    y += 4
    _words(canvas, margin, y, "Take care", 11, BOLD, canvas.drawString)
    y += 5
    for line in caution_lines((WATER_AND_MAINS, *CAUTIONS[:-1])):
        y = _paragraph(canvas, margin, y, line, width - 2 * margin, 8.5) + 1.0


def _draw_view(canvas: Canvas, left: float, top: float) -> None:
    """The set-up from the side: the card on blocks, level with the stone's face."""
    table, face = top + 46, top + 36
    canvas.setLineWidth(0.3)
    canvas.line(left, -table, left + 62, -table)
    canvas.setFillGray(0.7)
    stone = canvas.beginPath()
    stone.moveTo(left + 24, -face)
    for x, y in ((40, face), (43, table), (21, table)):
        stone.lineTo(left + x, -y)
    stone.close()
    canvas.drawPath(stone, stroke=1, fill=1)
    canvas.setFillGray(0.9)
    for x in (5, 50):
        _rect(canvas, Box(left + x, face + 0.8, 7, table - face - 0.8), fill=1)
    canvas.setFillGray(0)
    for x in (2, 45):
        _rect(canvas, Box(left + x, face, 15, 0.8), stroke=0, fill=1)
    _rect(canvas, Box(left + 24, top, 16, 2.5), stroke=0, fill=1)
    canvas.setDash(1, 1)
    for x in (2, 60):
        canvas.line(left + 32, -top - 2.5, left + x, -face)
    canvas.setDash()
    _words(canvas, left + 32, top - 2, "camera straight above")
    _words(canvas, left + 32, face - 2, "face")
    _words(canvas, left + 9, face - 2, "card")
    _words(canvas, left + 53, face - 2, "card")
    _words(canvas, left + 32, table + 4, "card on blocks, level with the face")


def _paragraph(canvas: Canvas, x: float, y: float, text: str, room: float, points: float) -> float:
    """Draw text in lines so wide; return where the next one begins."""
    for line in simpleSplit(text, FONT, points, room * POINTS_PER_MM):
        _words(canvas, x, y, line, points, FONT, canvas.drawString)
        y += points / POINTS_PER_MM * 1.25
    return y


def _words(
    canvas: Canvas,
    x: float,
    y: float,
    text: str,
    points: float = 7,
    font: str = FONT,
    draw: Callable | None = None,
) -> None:
    canvas.setFillGray(0)
    canvas.setFont(font, points / POINTS_PER_MM)
    (draw or canvas.drawCentredString)(x, -y, text)


def _rect(canvas: Canvas, box: Box, stroke: int = 1, fill: int = 0) -> None:
    canvas.rect(box.x_mm, -box.y_mm - box.h_mm, box.w_mm, box.h_mm, stroke=stroke, fill=fill)


def _code(y: float) -> float:
    """The sRGB code, 0 to 1, of a luminance factor (IEC 61966-2-1); a PDF's grey is taken so."""
    return 12.92 * y if y <= 0.0031308 else 1.055 * y ** (1 / 2.4) - 0.055
