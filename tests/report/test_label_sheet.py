"""Sheets of labels, read back: their text with pypdf, their codes by drawing them with pypdfium2 and reading that with
zxing-cpp; none of the three is what drew them."""

import io

import numpy as np
import pypdf
import pypdfium2
import pytest
import zxingcpp

from grader.report.label_sheet import GRIDS, Label, label_sheets, sheet_count
from grader.report.photo_card import PAPERS_MM

MEANING = "a scene, or striking bands, where no line is seen"
FULL = Label("07-113", "select", MEANING, "net 612.3 g", "photo: wet; grades: banded 9")
LONG = "colour, but no room for a cab with pattern or strong colour where no line is seen"


def texts(pdf: bytes) -> list[str]:
    """The words of each page."""
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def pages(pdf: bytes, dots_per_inch=150) -> list[np.ndarray]:
    """Each page as a picture (h, w, 3)."""
    return [
        np.ascontiguousarray(page.render(scale=dots_per_inch / 72).to_numpy()[..., :3])
        for page in pypdfium2.PdfDocument(pdf)
    ]


def codes(picture: np.ndarray) -> list[tuple[str, tuple[float, float]]]:
    """What each code of a picture says, and where its middle lies, as parts of width and height."""
    h, w = picture.shape[:2]
    found = []
    for one in zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode):
        p = one.position
        x = (p.top_left.x + p.bottom_right.x) / 2 / w
        y = (p.top_left.y + p.bottom_right.y) / 2 / h
        found.append((one.text, (x, y)))
    return sorted(found, key=lambda one: (round(one[1][1] * 100), one[1][0]))


@pytest.mark.parametrize("paper", sorted(GRIDS))
def test_every_code_of_a_full_sheet_says_the_plain_number(paper):
    numbers = [f"07-{n:03d}" for n in range(995, 995 + GRIDS[paper].places)]
    pdf = label_sheets([Label(code) for code in numbers], paper)
    (page,) = pages(pdf)
    assert [text for text, _ in codes(page)] == numbers
    # A code that a phone reads: zxing tells a Micro QR apart, which many cannot (from memory).
    every = zxingcpp.read_barcodes(page)
    assert {one.format for one in every} == {zxingcpp.BarcodeFormat.QRCode}


def test_a_label_says_all_that_is_known_and_a_tag_its_number_alone():
    (words,) = texts(label_sheets([FULL, Label("07-1000")]))
    for said in ("07-113", "select", "net 612.3 g", "photo: wet", "banded 9", "07-1000"):
        assert said in words
    assert MEANING in " ".join(words.split())
    (tag,) = texts(label_sheets([Label("07-001")]))
    assert tag.split() == ["07-001"]


def test_labels_begin_behind_the_places_that_are_used_up():
    grid = GRIDS["a4"]
    pdf = label_sheets([Label(f"07-{n:03d}") for n in range(1, 4)], skip=grid.places - 1)
    first, second = pages(pdf)
    ((code, (x, y)),) = codes(first)
    # The last place: third column, eighth row of an A4 page, ISO 216: 210 x 297 mm.
    assert code == "07-001" and 2 / 3 < x < 1 and 7 / 8 < y < 1
    assert [code for code, _ in codes(second)] == ["07-002", "07-003"]
    assert sheet_count(3, "a4", grid.places - 1) == 2


@pytest.mark.parametrize("paper", sorted(GRIDS))
def test_labels_lie_within_the_paper_and_beside_each_other(paper):
    grid, (width, height) = GRIDS[paper], PAPERS_MM[paper]
    assert grid.left_mm + (grid.columns - 1) * grid.step_mm + grid.width_mm <= width
    assert grid.top_mm + grid.rows * grid.height_mm <= height
    assert grid.step_mm >= grid.width_mm
    box = pypdf.PdfReader(io.BytesIO(label_sheets([FULL], paper))).pages[0].mediabox
    assert np.allclose([box.width, box.height], np.array([width, height]) * 72 / 25.4, atol=0.01)


@pytest.mark.parametrize(
    "label",
    [
        Label("abcdefghijkl-1234567"),
        Label("07-114", "Ausgewählte Stücke für Kabinett, proposed", LONG, "net 1.350 kg, weighed wet"),
        Label("07-115", "Donaudampfschifffahrtsgesellschaftskapitänsgrad", LONG * 4, "not weighed"),
        Label("07-116", "Жадеит голубой", "青石 сорт без видимых линий " * 3, "net 500 g", "no photo"),
    ],
    ids=lambda label: label.code,
)  # fmt: skip
@pytest.mark.parametrize("paper", sorted(GRIDS))
def test_long_words_and_any_script_stay_within_the_label(paper, label):
    (page,) = pages(label_sheets([label], paper))
    grid, px_per_mm = GRIDS[paper], 150 / 25.4
    ink = page.min(axis=2) < 140  # the pale border is none
    y, x = np.nonzero(ink)
    left, top = grid.left_mm, grid.top_mm
    assert x.min() / px_per_mm > left + 2 and x.max() / px_per_mm < left + grid.width_mm - 2
    assert y.min() / px_per_mm > top + 2 and y.max() / px_per_mm < top + grid.height_mm - 2
    # Nothing but quiet around the code, ISO/IEC 18004: it is read.
    assert [code for code, _ in codes(page)] == [label.code]


def test_what_does_not_fit_ends_in_dots_and_nothing_is_lost_in_silence():
    (words,) = texts(label_sheets([Label("07-1", "select", LONG * 9)]))
    assert "…" in words
    (words,) = texts(label_sheets([Label("07-1", "select", LONG)]))
    assert LONG in " ".join(words.split()) and "…" not in words


def test_the_number_is_as_large_as_the_label_lets_it_be():
    """Digits of a usual number are 6 mm high or more."""
    (page,) = pages(label_sheets([FULL]), 300)
    px_per_mm = 300 / 25.4
    right = page[: round(12 * px_per_mm), round(36 * px_per_mm) : round(68 * px_per_mm)].min(axis=2)
    rows = np.flatnonzero((right < 100).any(axis=1))
    number = rows[: np.flatnonzero(np.diff(rows) > 3)[0] + 1] if (np.diff(rows) > 3).any() else rows
    assert np.ptp(number) / px_per_mm >= 6


def test_the_same_labels_give_the_same_bytes():
    labels = [FULL, Label("07-116", "Жадеит", LONG)]
    assert label_sheets(labels) == label_sheets(labels)


def test_what_stands_below_takes_two_lines_before_its_letters_get_too_small():
    long = Label(
        "07-113", "select", MEANING, "net 612.3 g", "photo: wet or dry not known; grades: banded 4"
    )
    (page,) = pypdf.PdfReader(io.BytesIO(label_sheets([long]))).pages
    sizes = {}
    page.extract_text(
        visitor_text=lambda text, cm, tm, font, size: sizes.update({text.strip(): size})
    )
    # 5.5 points are the least that our labels print there, measured on a proof: our choice.
    below = [
        size for text, size in sizes.items() if text and ("photo:" in text or "banded 4" in text)
    ]
    assert below and min(below) >= 5.5
    (words,) = texts(label_sheets([long]))
    assert "photo: wet or dry not known; grades: banded 4" in " ".join(words.split())
