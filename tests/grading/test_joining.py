"""Which stone a call is about, and of what several people say of it, whose word counts."""

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.draw import polygon2mask

from grader.grading.calls.calls import ReadCalls
from grader.grading.calls.joining import (
    SAME_STONE,
    Stones,
    Word,
    box_overlap,
    house_call,
    house_grade,
    join_calls,
    outline_overlap,
    place_calls,
    same_stone,
    standing_call,
)
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
    assert list(joined.by_person) == [("june/tray.jpg", 2)]


def test_a_call_that_no_stone_overlaps_by_half_is_listed_and_never_moved():
    call = _call(box=(60, 0, 100, 100))
    joined = join_calls([TRAY], [call])
    assert joined.by_person == {}
    ((lost, why),) = joined.without_stone
    assert lost == call and "no stone overlaps" in why


def test_photos_match_by_content_then_path_then_unique_name():
    by_content = join_calls([TRAY, ONE], [_call(photo="moved/away.jpg")])
    assert ("june/tray.jpg", 1) in by_content.by_person
    by_path = join_calls([TRAY], [_call(sha256="old")])
    assert ("june/tray.jpg", 1) in by_path.by_person
    by_name = join_calls([TRAY], [_call(photo="elsewhere/tray.jpg", sha256=None)])
    assert ("june/tray.jpg", 1) in by_name.by_person


def test_a_name_that_two_photos_share_matches_neither():
    twin = Stones("july/tray.jpg", "cc", TRAY.boxes)
    joined = join_calls([TRAY, twin], [_call(photo="tray.jpg", sha256=None)])
    assert "2 photos are named tray.jpg" in joined.without_stone[0][1]


def test_copies_of_one_photo_all_carry_the_call():
    copy = Stones("copy.jpg", "aa", TRAY.boxes)
    assert set(join_calls([TRAY, copy], [_call()]).by_person) == {
        ("june/tray.jpg", 1),
        ("copy.jpg", 1),
    }


def test_each_person_has_one_word_and_who_spoke_last_is_last():
    calls = [
        _call(grade="select", by="Ada"),
        _call(grade=None, scene=66, by="Ben"),
        _call(grade="waste", by=None),
        _call(grade=None, scene=12, by="Ada"),
    ]
    people = join_calls([TRAY], calls).by_person["june/tray.jpg", 1]
    assert [(one.by, one.grade, one.scene) for one in people] == [
        ("Ben", None, 66),
        (None, "waste", None),
        # Her grade of before and her scene of now are one word of hers.
        ("Ada", "select", 12),
    ]


def test_a_later_call_without_a_name_keeps_the_name_of_the_piece():
    calls = [replace(_call(), stone="bucket 3"), _call(grade="waste")]
    (stands,) = join_calls([TRAY], calls).by_person["june/tray.jpg", 1]
    assert (stands.grade, stands.stone) == ("waste", "bucket 3")


def test_a_word_that_stands_has_time_and_note_of_the_last_call():
    first = replace(_call(scene=40), note="in the sun")
    last = replace(_call(grade="waste"), time="2024-06-01T10:00:00+02:00", note=None)
    stands = standing_call([first, last])
    assert (stands.grade, stands.scene) == ("waste", 40)
    assert (stands.time, stands.note) == (last.time, None)


def _house(people, decider=None):
    word = house_call(people, decider)
    return word.by, word.grade, word.scene, word.scene_by, word.stone


def test_without_a_decider_who_spoke_last_counts():
    people = [_call(grade="select", scene=80, by="Ada"), _call(grade="waste", scene=20, by="Ben")]
    assert _house(people) == ("Ben", "waste", 20, "Ben", None)
    assert _house(people[::-1]) == ("Ada", "select", 80, "Ada", None)
    assert house_call([]) is None


def test_the_decider_counts_whenever_he_spoke():
    people = [_call(grade="select", scene=80, by="Ada"), _call(grade="waste", scene=20, by="Ben")]
    assert (
        _house(people, "Ada") == _house(people[::-1], "Ada") == ("Ada", "select", 80, "Ada", None)
    )
    # One who has said nothing of this stone decides nothing of it.
    assert _house(people, "Cem")[0] == "Ben"


def test_the_scene_of_another_person_is_told_with_his_name():
    people = [_call(grade="select", by="Ada"), _call(grade="waste", scene=20, by="Ben")]
    assert _house(people, "Ada") == ("Ada", "select", 20, "Ben", None)
    # And a grade too, where the decider has said but a scene: both are those who said them.
    people = [_call(grade="waste", scene=20, by="Ben"), _call(grade=None, scene=90, by="Ada")]
    assert _house(people, "Ada") == ("Ben", "waste", 90, "Ada", None)


def test_of_two_other_scenes_and_names_the_later_one_is_taken():
    people = [
        replace(_call(grade=None, scene=30, by="Ben"), stone="bucket 3"),
        replace(_call(grade=None, scene=50, by="Cem"), stone="bucket 4"),
        _call(grade="select", by="Ada"),
    ]
    assert _house(people, "Ada") == ("Ada", "select", 50, "Cem", "bucket 4")


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["Ada", "Ben", "Cem", None]),
            st.sampled_from([None, "waste", "select"]),
            st.one_of(st.none(), st.integers(0, 100)),
        ),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["Ada", None]),
)
def test_the_house_says_what_somebody_says(words, decider):
    calls = [_call(grade=grade, scene=scene, by=by) for by, grade, scene in words]
    people = join_calls([TRAY], calls).by_person["june/tray.jpg", 1]
    assert [one.by for one in people] == list(dict.fromkeys(by for by, *_ in words[::-1]))[::-1]
    house = house_call(people, decider)
    own = {one.by: one for one in people}
    assert house.grade is None or house.grade == own[house.by].grade
    assert house.scene is None or house.scene == own[house.scene_by].scene
    if decider and decider in own and own[decider].grade is not None:
        assert (house.by, house.grade) == (decider, own[decider].grade)


def _rows(*calls):
    return ReadCalls(calls, tuple(range(2, 2 + len(calls))))


def _square(x, y, side=100):
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side))


#: Slabs of 28 px across a square of 100 px, one up, one down: equal boxes, crossed outlines.
UP = ((0, 80), (80, 0), (100, 0), (100, 20), (20, 100), (0, 100))
DOWN = tuple((100 - x, y) for x, y in UP)


@pytest.mark.parametrize(
    ("other", "overlap"),
    [
        (_square(0, 0), 1.0),
        (_square(50, 0), 1 / 3),  # half of each: 5000 of 15000 px
        (_square(0, 0, 50), 1 / 4),
        (_square(50, 50), 1 / 7),
        (_square(100, 0), 0.0),
        (_square(500, 500), 0.0),
        (((0, 0), (100, 0), (100, 100)), 1 / 2),
    ],
)
def test_outlines_overlap_as_can_be_counted(other, overlap):
    assert outline_overlap(_square(0, 0), other) == pytest.approx(overlap, abs=0.015)


@pytest.mark.parametrize("times", [0.2, 13, 60])
def test_the_overlap_of_outlines_knows_no_size_of_photo(times):
    one, other = (np.multiply(_square(x, 0), times) for x in (0, 50))
    assert outline_overlap(one, other) == pytest.approx(1 / 3, abs=0.015)


def test_crossed_slabs_have_one_box_and_are_two_stones():
    # Each covers 3600 px; of the middle, a square on its tip, both cover 800: 800 of 6400.
    assert outline_overlap(UP, DOWN) == pytest.approx(800 / 6400, abs=0.015)
    two = Stones("tray.jpg", "aa", {1: (0, 0, 100, 100), 2: (0, 0, 100, 100)}, {1: UP, 2: DOWN})
    for number, outline in ((1, UP), (2, DOWN)):
        call = replace(_call(), piece=None, outline=outline)
        assert list(join_calls([two], [call]).by_person) == [("tray.jpg", number)]
    one, other = (replace(_call(), outline=outline) for outline in (UP, DOWN))
    assert same_stone(one, one) and not same_stone(one, other)
    # Where a call or a stone has no outline, as from a table, boxes have to do.
    assert same_stone(replace(one, outline=None), other)


def test_a_call_on_another_photo_is_on_another_stone():
    call = replace(_call(), outline=UP)
    assert not same_stone(call, replace(call, sha256="bb"))


_POINTS = st.lists(st.tuples(*[st.integers(0, 120)] * 2), min_size=3, max_size=3, unique=True)


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(_POINTS, _POINTS)
def test_outlines_overlap_as_those_drawn_by_another_library(one, other):
    """Outside value: masks by skimage.draw.polygon2mask, on a grid of its own."""
    shape = (600, 600)
    masks = [polygon2mask(shape, np.array(points)[:, ::-1] * 4.9) for points in (one, other)]
    union = (masks[0] | masks[1]).sum()
    if min(mask.sum() for mask in masks) < 0.02 * np.prod(shape):
        return  # A sliver: its edge is most of it on any grid.
    theirs = (masks[0] & masks[1]).sum() / union
    ours = outline_overlap(one, other)
    assert ours == pytest.approx(theirs, abs=0.03)
    assert ours == outline_overlap(other, one)


def test_a_call_follows_its_outline_and_not_its_number():
    moved = Stones(
        "june/tray.jpg",
        "aa",
        {1: (203, 0, 100, 100), 2: (1, 0, 100, 100)},
        {1: _square(203, 0), 2: _square(1, 0)},
    )
    call = replace(_call(piece=1), outline=_square(0, 0))
    assert list(join_calls([moved], [call]).by_person) == [("june/tray.jpg", 2)]


def test_a_placed_call_takes_the_outline_of_its_stone():
    outlines = {1: [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0]], 2: _square(200, 0)}
    (placed,) = place_calls(_rows(_call()), [replace(TRAY, outlines=outlines)])
    assert placed.outline == ((0, 0), (100, 0), (100, 100))
    assert SAME_STONE == 0.5


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
    assert [str(t) for t in placed.remarks] == [
        "line 4: june/tray.jpg piece 1: line 2 says otherwise; line 4 counts"
    ]


@pytest.mark.slow
def test_a_hundred_thousand_calls_join_in_seconds():
    photos = [Stones(f"p{i}.jpg", f"{i:x}", TRAY.boxes) for i in range(5000)]
    calls = [_call(f"p{i % 5000}.jpg", f"{i % 5000:x}") for i in range(100_000)]
    start = time.perf_counter()
    joined = join_calls(photos, calls)
    assert len(joined.by_person) == 5000 and not joined.without_stone
    assert time.perf_counter() - start < 10


SAID = st.lists(
    st.tuples(
        st.sampled_from("ab"), st.sampled_from(["Ann", "Bo", None]), st.integers(0, 9),
        st.sampled_from(["waste", "select", None]),
    ),
    max_size=8,
)  # fmt: skip


@given(SAID, st.sampled_from(["Ann", None]))
def test_the_grade_of_a_piece_on_several_photos_is_that_of_the_word_that_counts(said, decider):
    """Photo, who, when, grade; worked out the long way: one word of each person on each photo, then the house's."""
    calls = [
        replace(
            _call(sha256=photo, grade=grade, by=by), time=f"2024-05-0{day}", note="x", uid=str(n)
        )
        for n, (photo, by, day, grade) in enumerate(said)
    ]
    spoken = {}
    for call in calls:
        spoken.setdefault((call.sha256, call.by), []).append(call)
    standing = [standing_call(of_one) for of_one in spoken.values()]
    standing.sort(key=lambda call: (call.time, int(call.uid)))
    house = house_call(standing, decider)
    words = [
        Word(n, call.sha256, call.by, call.time, call.grade, None) for n, call in enumerate(calls)
    ]
    assert house_grade(words, decider) == (house and house.grade)
