import time
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.grading.calls import ReadCalls
from grader.grading.joining import Stones, box_overlap, join_calls, place_calls
from grader.grading.proposal import Call

TRAY = Stones("june/tray.jpg", "aa", {1: (0, 0, 100, 100), 2: (200, 0, 100, 100)})
ONE = Stones("june/one.jpg", "bb", {1: (10, 10, 50, 50)})


def _call(
    photo="june/tray.jpg",
    sha256="aa",
    piece=1,
    box=(0, 0, 100, 100),
    grade="select",
    scene=None,
    by=None,
):
    return Call(photo, sha256, piece, box, grade, scene, by, "2024-05-01T10:00:00+02:00", None)


@pytest.mark.parametrize(
    ("other", "overlap"),
    [
        ((0, 0, 100, 100), 1.0),
        ((50, 0, 100, 100), 1 / 3),
        ((0, 0, 50, 100), 0.5),
        ((100, 0, 9, 9), 0.0),
    ],
)
def test_overlap_is_intersection_over_union(other, overlap):
    assert box_overlap((0, 0, 100, 100), other) == pytest.approx(overlap)


@given(
    st.tuples(*[st.integers(0, 50)] * 2, *[st.integers(1, 50)] * 2),
    st.tuples(*[st.integers(0, 50)] * 2, *[st.integers(1, 50)] * 2),
)
def test_overlap_is_the_same_from_both_sides(first, second):
    assert box_overlap(first, second) == box_overlap(second, first)
    assert 0 <= box_overlap(first, second) <= 1


def test_a_call_follows_its_box_when_the_pieces_are_numbered_anew():
    moved = Stones("june/tray.jpg", "aa", {1: (205, 3, 96, 98), 2: (2, 1, 99, 97)})
    joined = join_calls([moved], [_call(piece=1)])
    assert list(joined.standing) == [("june/tray.jpg", 2)]


def test_a_call_that_no_stone_overlaps_by_half_is_listed_and_never_moved():
    call = _call(box=(60, 0, 100, 100))
    joined = join_calls([TRAY], [call])
    assert joined.standing == {}
    ((lost, why),) = joined.without_stone
    assert lost == call and "no stone overlaps" in why


def test_photos_match_by_content_then_path_then_unique_name():
    by_content = join_calls([TRAY, ONE], [_call(photo="moved/away.jpg")])
    assert ("june/tray.jpg", 1) in by_content.standing
    by_path = join_calls([TRAY], [_call(sha256="old")])
    assert ("june/tray.jpg", 1) in by_path.standing
    by_name = join_calls([TRAY], [_call(photo="elsewhere/tray.jpg", sha256=None)])
    assert ("june/tray.jpg", 1) in by_name.standing


def test_a_name_that_two_photos_share_matches_neither():
    twin = Stones("july/tray.jpg", "cc", TRAY.boxes)
    joined = join_calls([TRAY, twin], [_call(photo="tray.jpg", sha256=None)])
    assert "2 photos are named tray.jpg" in joined.without_stone[0][1]


def test_copies_of_one_photo_all_carry_the_call():
    copy = Stones("copy.jpg", "aa", TRAY.boxes)
    assert set(join_calls([TRAY, copy], [_call()]).standing) == {
        ("june/tray.jpg", 1),
        ("copy.jpg", 1),
    }


def test_the_later_word_stands_and_all_stay():
    said = [
        _call(grade="select", by="Ada"),
        _call(grade=None, scene=66, by="Ben"),
        _call(grade="waste", by="Cem"),
    ]
    joined = join_calls([TRAY], said)
    stands = joined.standing["june/tray.jpg", 1]
    assert (stands.grade, stands.scene, stands.by) == ("waste", 66, "Cem")
    assert joined.history["june/tray.jpg", 1] == tuple(said)


def test_a_later_call_without_a_name_keeps_the_name_of_the_piece():
    said = [replace(_call(), stone="bucket 3"), _call(grade="waste")]
    stands = join_calls([TRAY], said).standing["june/tray.jpg", 1]
    assert (stands.grade, stands.stone) == ("waste", "bucket 3")


def _rows(*calls):
    return ReadCalls(calls, tuple(range(2, 2 + len(calls))))


def test_a_row_without_a_piece_is_about_the_only_stone():
    placed = place_calls(_rows(_call("one.jpg", None, None, None)), [TRAY, ONE])
    assert [(c.sha256, c.piece, c.box) for c in placed] == [("bb", 1, (10, 10, 50, 50))]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (_call("tray.jpg", None, None, None), "no piece named and it holds 2 stones"),
        (_call("tray.jpg", None, 5, None), "no piece 5, it holds 2 stones"),
        (_call("gone.jpg", None, 1, None), "photo gone.jpg is not among these photos"),
    ],
)
def test_rows_about_no_stone_are_refused_with_their_line(call, words):
    placed = place_calls(_rows(_call(), call), [TRAY, ONE])
    assert len(placed) == 1
    assert str(placed.refused[0]).startswith("line 3: ")
    assert words in str(placed.refused[0])


def test_rows_that_contradict_are_told_and_the_last_one_counts():
    placed = place_calls(_rows(_call(), _call(piece=2, box=None), _call(grade="waste")), [TRAY])
    assert len(placed) == 3
    assert [str(t) for t in placed.told] == [
        "line 4: june/tray.jpg piece 1: line 2 says otherwise; line 4 counts"
    ]


def test_a_hundred_thousand_calls_join_in_seconds():
    photos = [Stones(f"p{i}.jpg", f"{i:x}", TRAY.boxes) for i in range(5000)]
    calls = [_call(f"p{i % 5000}.jpg", f"{i % 5000:x}") for i in range(100_000)]
    start = time.perf_counter()
    joined = join_calls(photos, calls)
    assert len(joined.standing) == 5000 and not joined.without_stone
    assert time.perf_counter() - start < 10
