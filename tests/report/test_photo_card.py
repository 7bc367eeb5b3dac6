"""The printed card, read back from the PDF's own operators."""

import base64
import re
import zlib

import cv2
import numpy as np
import pytest

from grader.errors import GraderError
from grader.photo.card import find_card
from grader.photo.card_layout import BAR, HEIGHT_MM, MARKS, WIDTH_MM
from grader.report.photo_card import PAPERS_MM, card_pdf

DOTS_PER_INCH, FINER = 150, 4
PX_PER_MM = DOTS_PER_INCH * FINER / 25.4


def page_contents(pdf: bytes) -> list[str]:
    """The drawing operators of each page."""
    streams = re.findall(rb"stream\r?\n(.*?)~>endstream", pdf, re.S)
    return [zlib.decompress(base64.a85decode(s.strip())).decode("latin-1") for s in streams]


def media_mm(pdf: bytes) -> tuple[float, float]:
    _, _, width, height = map(float, re.search(rb"/MediaBox \[ ([^\]]*) \]", pdf)[1].split())
    return width * 25.4 / 72, height * 25.4 / 72


def printed(pdf: bytes, shrunk: float = 1.0):
    """Page 1 as grey px, and every filled rectangle in mm: x, y from the upper left, w, h.

    Knows the operators q Q cm g re f S of ISO 32000-1 (from memory), and what a printer does that
    draws all of it ``shrunk`` times as large, around the middle of the page.
    """
    width, height = media_mm(pdf)
    page = np.full((round(height * PX_PER_MM), round(width * PX_PER_MM)), 255, np.uint8)
    matrix, grey, kept, boxes, path = np.eye(3), 0.0, [], [], []
    operands: list[str] = []
    for token in re.findall(
        r"\((?:\\.|[^\\)])*\)|\[[^\]]*\]|/?[^\s\[\]()]+", page_contents(pdf)[0]
    ):
        if re.fullmatch(r"[-+.\d]+", token) or token[0] in "/([":
            operands.append(token)
            continue
        if token == "q":
            kept.append((matrix, grey))
        elif token == "Q":
            matrix, grey = kept.pop()
        elif token == "cm":
            a, b, c, d, e, f = map(float, operands)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif token == "g":
            grey = float(operands[0])
        elif token == "re":
            x, y, w, h = map(float, operands)
            path.append(np.array([[x, y, 1], [x + w, y + h, 1]]) @ matrix)
        elif token in ("f", "f*"):
            for (left, low, _), (right, high, _) in path:
                ends = np.array(
                    [[left, height / 25.4 * 72 - high], [right, height / 25.4 * 72 - low]]
                )
                ends = ends * 25.4 / 72
                ends = (ends - (width / 2, height / 2)) * shrunk + (width / 2, height / 2)
                boxes.append((*ends[0], *(ends[1] - ends[0])))
                (x0, y0), (x1, y1) = np.round(ends * PX_PER_MM).astype(int)
                page[y0:y1, x0:x1] = round(255 * grey)
            path = []
        elif token in ("S", "s", "n"):
            path = []
        operands = []
    size = page.shape[1] // FINER, page.shape[0] // FINER
    page = page[: size[1] * FINER, : size[0] * FINER]
    return cv2.resize(page, size, interpolation=cv2.INTER_AREA), np.array(boxes)


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    # ISO 216:2007 A4; ANSI/ASME Y14.1 size A is 8.5 x 11 in (both from memory).
    [("a4", (210, 297)), ("letter", (8.5 * 25.4, 11 * 25.4))],
)
def test_papers_are_of_their_standards(paper, size_mm):
    assert PAPERS_MM[paper] == pytest.approx(size_mm)
    assert media_mm(card_pdf(paper)) == pytest.approx(size_mm, abs=0.01)


@pytest.mark.parametrize(
    ("paper", "measured"), [("a4", 100.0), ("a4", 110.0), ("letter", 98.5), ("letter", 90.0)]
)
def test_a_printed_card_is_found_and_true_at_its_printer(paper, measured):
    # What the printer draws is measured / 100 of what it is given: so the bar was found too short.
    page, boxes = printed(card_pdf(paper, measured), measured / 100)
    bar = boxes[np.argmax(boxes[:, 2])]
    assert bar[2] == pytest.approx(100.0, abs=1e-3)
    sighting, remarks = find_card(np.repeat(page[..., None], 3, axis=2))
    assert remarks == ()
    assert sighting.marks_seen == MARKS
    middle = page.shape[1] / 2, page.shape[0] / 2
    # An inch is 25.4 mm.
    assert sighting.mm_per_px(middle) == pytest.approx(25.4 / DOTS_PER_INCH, rel=2e-3)
    # Nothing comes nearer to the paper's edge than common printers reach (5 mm; from memory).
    width, height = PAPERS_MM[paper]
    given = printed(card_pdf(paper, measured))[1]
    assert given[:, :2].min() > 4.9
    assert (given[:, 0] + given[:, 2]).max() < width - 4.9
    assert (given[:, 1] + given[:, 3]).max() < height - 4.9


def test_a_card_for_a_true_printer_is_drawn_in_its_true_size_in_the_middle():
    _, boxes = printed(card_pdf())
    left, top = boxes[:, :2].min(axis=0)
    right, bottom = (boxes[:, :2] + boxes[:, 2:]).max(axis=0)
    assert (right - left, bottom - top) == pytest.approx((WIDTH_MM, HEIGHT_MM), abs=1e-3)
    assert (left, top) == pytest.approx(((210 - WIDTH_MM) / 2, (297 - HEIGHT_MM) / 2), abs=1e-3)
    bar = boxes[np.argmax(boxes[:, 2])]
    assert (bar[0] - left, bar[1] - top) == pytest.approx((BAR.x_mm, BAR.y_mm), abs=1e-3)


def text_of(contents: str) -> str:
    return " ".join(re.findall(r"\(((?:\\.|[^\\)])*)\)\s*Tj", contents))


def test_the_card_says_what_it_is_for():
    card, guide = (text_of(page) for page in page_contents(card_pdf(measured_mm=98.5)))
    assert "bar measured 98.5 mm" in card
    assert card.count("paper: white") == 2
    assert "not reliable" in card
    assert {"0", "50", "150", "mm"} <= set(card.split())
    for word in ("10 mm above the card", "3.3 %", "thin wet film", "No zoom", "mains", "silica"):
        assert word in guide
    assert "Local rules and licensed practice come first." in guide
    assert "bar measured" not in text_of(page_contents(card_pdf())[0])


def test_the_guide_stays_on_its_page():
    for paper in PAPERS_MM:
        # Text matrices: the sixth number is the baseline, in mm below the page's upper edge.
        baselines = re.findall(r"1 0 0 1 \S+ (\S+) Tm", page_contents(card_pdf(paper))[1])
        assert len(baselines) > 30
        assert -min(map(float, baselines)) < PAPERS_MM[paper][1] - 12


def test_the_same_card_is_the_same_file():
    assert card_pdf("letter", 99.0) == card_pdf("letter", 99.0)


@pytest.mark.parametrize("measured", [89.9, 110.1, 9.85, 985.0, -100.0, float("nan")])
def test_a_bar_that_cannot_be_is_refused_in_one_line(measured):
    with pytest.raises(GraderError, match=r"too far from 100; print at 100 %") as raised:
        card_pdf(measured_mm=measured)
    assert "\n" not in str(raised.value)


def test_an_unknown_paper_is_refused():
    with pytest.raises(GraderError, match="no paper called 'b5'; one of a4, letter"):
        card_pdf("b5")
