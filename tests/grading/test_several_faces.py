"""One grade for several faces of a piece: whatever their order, and never better for a line more."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.grading.features.facts import LineFacts, Position, StoneFacts
from grader.grading.features.features import FEATURES, with_scene
from grader.grading.features.several_faces import (
    best_face,
    most_lined_face,
    piece_facts,
    with_any_line,
)
from grader.profile import load_profile

BANDED = load_profile("banded")
SHARES = st.floats(0, 1).map(lambda share: round(share, 3))
LINE = LineFacts("crack", 30.0, 0.9, Position("middle", "left"), True, 0.5)


def face(scene=50.0, cracks=0.0, room=0.5, **other):
    lines = (LINE,) if cracks else ()
    values = dict.fromkeys(FEATURES, 0.4) | {
        "scene_score": scene, "scene_written": scene, "scene_without_lines": scene, "crack_density": cracks,
        "line_density": cracks, "crack_count": float(bool(cracks)), "pattern_room_share": room,
        "colour_room_share": room, "pattern_contrast": 40.0, "blue_chroma": 30.0, "picture_lines": 0.0,
    }  # fmt: skip
    given = {name: other.pop(name) for name in list(other) if name in FEATURES}
    values = with_scene(values | given, scene, BANDED)
    return replace(StoneFacts(values, lines, 5000, None, {"grain1": scene}), **other)


@st.composite
def any_faces(draw):
    return [
        face(
            draw(st.floats(0, 100)),
            draw(st.sampled_from((0.0, 0.3, 0.6, 1.5, 2.0))),
            draw(SHARES),
            blue_share=draw(SHARES),
            area_cm2=draw(st.none() | st.floats(1, 90)),
            weight_g=draw(st.none() | st.floats(1, 900)),
            retake=draw(st.booleans()),
        )
        for _ in range(draw(st.integers(1, 4)))
    ]


@given(any_faces())
def test_one_face_gives_itself_and_the_same_face_twice_too(faces):
    assert piece_facts(faces[:1], BANDED) == faces[0]
    assert piece_facts([faces[0], faces[0]], BANDED) == faces[0]


@pytest.mark.slow
@given(any_faces(), st.randoms())
def test_the_order_of_the_faces_does_not_matter(faces, random):
    mixed = random.sample(faces, len(faces))
    assert piece_facts(mixed, BANDED) == piece_facts(faces, BANDED)


@pytest.mark.slow
@given(any_faces(), st.data())
def test_a_better_scene_or_fewer_lines_on_a_face_never_make_a_worse_piece(faces, data):
    which = data.draw(st.integers(0, len(faces) - 1))
    old = faces[which].features
    more = min(100.0, old["scene_score"] + data.draw(st.floats(0, 50)))
    lines = old["crack_density"] * data.draw(st.sampled_from((0.0, 0.5, 1.0)))
    room = min(1.0, old["pattern_room_share"] + data.draw(SHARES))
    before = piece_facts(faces, BANDED).features
    better = face(more, lines, room, blue_share=old["blue_share"])
    after = piece_facts([*faces[:which], better, *faces[which + 1 :]], BANDED).features
    assert after["scene_score"] >= before["scene_score"]
    for name in ("crack_density", "line_density", "crack_count"):
        assert after[name] <= before[name]
    if best_face(faces) == which or more <= max(one.features["scene_score"] for one in faces):
        assert after["pattern_room_share"] >= before["pattern_room_share"]
        assert after["rules_grade"] >= before["rules_grade"]


@pytest.mark.slow
@given(any_faces(), any_faces())
def test_a_face_more_never_lowers_the_scene_nor_takes_a_line_away(faces, more):
    alone, both = (piece_facts(part, BANDED).features for part in (faces, [*faces, *more]))
    assert both["scene_score"] >= alone["scene_score"]
    assert both["crack_density"] >= alone["crack_density"]


def test_the_picture_is_of_the_best_face_and_lines_and_room_of_the_worst():
    front, back = face(80.0, 0.0, 0.6, blue_share=0.5), face(20.0, 1.0, 0.1, blue_share=0.2)
    piece = piece_facts([back, front], BANDED)
    assert (best_face([back, front]), most_lined_face([back, front])) == (1, 0)
    told = {name: piece.features[name] for name in ("scene_score", "blue_share", "crack_density")}
    assert told == {"scene_score": 80.0, "blue_share": 0.5, "crack_density": 1.0}
    assert piece.features["pattern_room_share"] == 0.1
    assert piece.lines == back.lines and with_any_line([back, front])
    # The rules hold of the two together: a scene with a line is no select any more.
    assert (
        front.features["rules_grade"] > piece.features["rules_grade"] > back.features["rules_grade"]
    )


def test_a_plain_back_without_a_line_takes_nothing_from_a_good_front():
    front, back = face(50.0, 0.0, 0.6), face(5.0, 0.0, 0.0, pattern_contrast=2.0)
    assert piece_facts([front, back], BANDED).features == front.features
    assert not with_any_line([front, back])
    # A healed line is none to be afraid of.
    healed = replace(back, lines=(replace(LINE, kind="pattern line"),))
    assert piece_facts([front, healed], BANDED).features == front.features


def test_size_is_of_the_largest_face_and_weight_of_the_piece():
    small = face(area_cm2=4.0, size_class="18x13", weight_g=120.0)
    large = face(20.0, area_cm2=12.0, size_class="40x30")
    piece = piece_facts([small, large], BANDED)
    assert (piece.size_class, piece.features["area_cm2"], piece.weight_g) == ("40x30", 12.0, 120.0)
    assert piece_facts([small, replace(large, retake=True)], BANDED).retake


def test_a_piece_without_a_face_is_refused():
    with pytest.raises(ValueError, match="a piece has a face"):
        piece_facts([], BANDED)
