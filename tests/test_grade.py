"""The way of one photo, end to end, on the sample photos."""

from pathlib import Path

import cv2
import numpy as np
import pytest

import grader
from grader.errors import PhotoError
from grader.photo.terms import PhotoTerms
from grader.render.files import write_photo

SAMPLES = Path(__file__).parents[1] / "sample_images"
pytestmark = pytest.mark.usefixtures("measured_once")


@pytest.mark.slow
def test_a_stone_that_the_seller_calls_half_dried_is_to_be_taken_again():
    graded = grader.grade_photo(SAMPLES / "23_half_dried.jpg", terms=PhotoTerms(state="patchy"))
    (stone,) = graded.pieces
    assert (stone.measured.state.value, stone.measured.state.source) == ("patchy", "seller")
    assert stone.measured.verdict.value == "retake"
    assert stone.proposal is None


@pytest.mark.slow
def test_an_empty_board_with_a_ruler_and_a_coin_holds_no_stone():
    graded = grader.grade_photo(SAMPLES / "06_nothing_on_the_board.jpg")
    assert graded.pieces == ()
    assert "no_stone" in [remark.code for remark in graded.remarks]


@pytest.mark.slow
def test_without_a_scale_sizes_are_unknown_and_with_one_they_are_told(tmp_path):
    photo = cv2.imread(str(SAMPLES / "01_lake_over_shore.jpg"))
    path = tmp_path / "half.png"
    cv2.imwrite(str(path), cv2.resize(photo, None, fx=0.5, fy=0.5))
    (plain,) = grader.grade_photo(path).pieces
    (scaled,) = grader.grade_photo(path, terms=PhotoTerms(mm_per_px=0.1)).pieces
    assert plain.measured.area_cm2 is None
    assert plain.measured.size_class is None
    assert plain.proposal.sell_as is None
    # The outline's area in px, by the shoelace formula, at 0.1 mm a px.
    x, y = scaled.measured.piece.outline.T
    area_px = (
        abs(
            (
                x * (y.take(range(1, len(y) + 1), mode="wrap"))
                - y * (x.take(range(1, len(x) + 1), mode="wrap"))
            ).sum()
        )
        / 2
    )
    assert scaled.measured.area_cm2 == pytest.approx(area_px * 0.1**2 / 100, rel=0.01)
    assert scaled.measured.size_class is not None


@pytest.mark.slow
def test_the_whole_picture_is_one_face_where_the_seller_says_so():
    graded = grader.grade_photo(
        SAMPLES / "06_nothing_on_the_board.jpg", terms=PhotoTerms(whole=True)
    )
    (stone,) = graded.pieces
    assert stone.measured.piece.box == (0, 0, graded.photo.width, graded.photo.height)


@pytest.mark.slow
def test_a_damaged_photo_is_never_simply_usable(tmp_path):
    whole = (SAMPLES / "01_lake_over_shore.jpg").read_bytes()
    damaged = tmp_path / "copy.jpg"
    damaged.write_bytes(whole[:-2] + b"\x12\x34\x56" * 9 + whole[-2:])
    (good,), (bad,) = (
        grader.grade_photo(p).pieces for p in (SAMPLES / "01_lake_over_shore.jpg", damaged)
    )
    assert good.measured.verdict.value == "usable"
    assert bad.measured.verdict.value == "with care"
    assert [remark.code for remark in bad.measured.verdict.remarks] == ["damaged"]


@pytest.mark.parametrize("size", [(1, 1), (3, 5000), (30_000, 1), (7, 7), (20, 20_000)])
@pytest.mark.parametrize("whole", [False, True])
def test_a_strip_is_refused_in_one_line(tmp_path, size, whole):
    write_photo(tmp_path / "a.png", np.full((*size, 3), 120, np.uint8))
    with pytest.raises(PhotoError, match=r"^a\.png: a strip of \d+ x \d+ px, [^\n]*$") as caught:
        grader.grade_photo(tmp_path / "a.png", terms=PhotoTerms(whole=whole))
    assert caught.value.code == "not_a_photo"
