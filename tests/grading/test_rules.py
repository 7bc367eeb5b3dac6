import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.grading.features.features import FEATURES
from grader.grading.features.rules import border_distance, grade_by_rules, ladder_position
from grader.profile import Rule, load_profile
from grader.report.reasons import condition_words

PROFILE = dataclasses.replace(
    load_profile("banded"),
    rules=(
        Rule("select", {"pattern_share": 0.6, "scene_score": 60.0}, {"crack_density": 0.2}),
        Rule("cabbing", {"pattern_share": 0.4}, {"crack_density": 0.8}),
        Rule("tumbling", {"pattern_share": 0.2}, {}),
    ),
)
SHIPPED = load_profile()
BEST = {"pattern_share": 0.8, "scene_score": 90.0, "crack_density": 0.0}


@pytest.mark.parametrize(
    ("values", "grade", "condition"),
    [
        (BEST, "select", "select: pattern_share at least 0.6"),
        (BEST | {"scene_score": 50.0}, "cabbing", "select: scene_score at least 60"),
        (BEST | {"crack_density": 0.9}, "tumbling", "cabbing: crack_density at most 0.8"),
        (BEST | {"pattern_share": 0.1}, "waste", "tumbling: pattern_share at least 0.2"),
        (BEST | {"scene_score": 60.0}, "select", "select: scene_score at least 60"),
    ],
)
def test_the_first_rule_that_holds_from_the_top_gives_the_grade(values, grade, condition):
    reached, decided = grade_by_rules(values, PROFILE)
    assert (reached, condition_words(decided)) == (grade, condition)


def test_what_is_not_there_counts_as_nothing_of_it():
    assert grade_by_rules({"pattern_share": None, "crack_density": None}, PROFILE)[0] == "waste"
    assert grade_by_rules(BEST | {"crack_density": None}, PROFILE)[0] == "select"


def test_without_scale_the_grade_comes_from_the_rest():
    sized = dataclasses.replace(
        PROFILE, rules=(Rule("select", {"pattern_share": 0.6, "area_cm2": 20.0}, {}),)
    )
    assert grade_by_rules(BEST | {"area_cm2": 12.0}, sized)[0] == "waste"
    assert grade_by_rules(BEST | {"area_cm2": None}, sized)[0] == "select"


def test_either_of_two_rules_for_one_grade_is_enough():
    either = dataclasses.replace(
        PROFILE, rules=(*PROFILE.rules, Rule("select", {"scene_score": 85.0}, {}))
    )
    values = {"pattern_share": 0.1, "scene_score": 90.0, "crack_density": 2.0}
    assert grade_by_rules(values, either)[0] == "select"


def test_a_grade_without_a_rule_is_never_reached():
    bare = dataclasses.replace(PROFILE, rules=())
    assert grade_by_rules(BEST, bare) == ("waste", None)


@given(
    pattern=st.floats(0, 1),
    scene=st.floats(0, 100),
    cracks=st.floats(0, 3),
    more=st.floats(0, 0.5),
)
def test_more_pattern_never_lowers_the_place_and_more_cracks_never_raise_it(
    pattern, scene, cracks, more
):
    values = {"pattern_share": pattern, "scene_score": scene, "crack_density": cracks}
    here = ladder_position(values, PROFILE)
    assert ladder_position(values | {"pattern_share": pattern + more}, PROFILE) >= here - 1e-12
    assert ladder_position(values | {"crack_density": cracks + more}, PROFILE) <= here + 1e-12
    assert 0 <= here <= 3


def test_at_a_border_the_place_is_half_way():
    on_border = {"pattern_share": 0.2, "scene_score": 0.0, "crack_density": 0.0}
    assert ladder_position(on_border, PROFILE) == pytest.approx(0.5, abs=0.05)


@given(st.floats(0, 1), st.floats(0, 100), st.floats(0, 3))
def test_the_place_rounds_to_the_grade_of_the_rules(pattern, scene, cracks):
    values = {"pattern_share": pattern, "scene_score": scene, "crack_density": cracks}
    rung = PROFILE.grades.index(grade_by_rules(values, PROFILE)[0])
    assert abs(ladder_position(values, PROFILE) - rung) <= 0.5


def test_the_distance_to_a_border_is_a_part_of_its_bound():
    # 0.44 is a tenth above the 0.4 of cabbing; select lies further off.
    values = {"pattern_share": 0.44, "scene_score": 10.0, "crack_density": 0.0}
    assert border_distance(values, PROFILE) == pytest.approx(0.1)


# The shipped rules ask each measure in its declared direction, and one defect alone moves a grade little.

DIRECTED = [name for name, feature in FEATURES.items() if feature.monotone_sign]


def test_the_shipped_rules_ask_each_measure_in_its_declared_direction():
    for rule in SHIPPED.rules:
        assert all(FEATURES[name].monotone_sign > 0 for name in rule.at_least), rule
        assert all(FEATURES[name].monotone_sign < 0 for name in rule.at_most), rule


@pytest.mark.slow
@given(
    st.fixed_dictionaries(
        {
            name: st.floats(0, {"share": 1, "score": 100}.get(FEATURES[name].unit, 60))
            for name in FEATURES
            if not name.startswith("rules_")
        }
    ),
    st.sampled_from([name for name in DIRECTED if not name.startswith("rules_")]),
    st.floats(0, 1),
)
@settings(max_examples=300, deadline=None)
def test_more_of_what_is_good_never_lowers_the_place_on_the_ladder(values, name, part):
    sign = FEATURES[name].monotone_sign
    better = values[name] * (1 + part) + part if sign > 0 else values[name] * (1 - part)
    before, after = (ladder_position(row, SHIPPED) for row in (values, values | {name: better}))
    assert after >= before - 1e-9


#: A face of each grade in the middle of it, as drawn plain cases measure.
PLAIN = {
    "scene": {"scene_score": 95, "scene_without_lines": 95, "pattern_contrast": 45, "pattern_room_share": 0.36,
              "colour_room_share": 0.56, "blue_chroma": 27, "continuity": 0.9, "blue_share": 0.43,
              "pattern_share": 0.74},
    "bands": {"scene_score": 60, "scene_without_lines": 60, "pattern_contrast": 40, "pattern_room_share": 0.98,
              "blue_chroma": 33, "continuity": 0.8, "blue_share": 0.6, "pattern_share": 1.0},
    "plain": {"pattern_contrast": 5, "colour_room_share": 1.0, "blue_chroma": 25, "blue_share": 1.0,
              "pattern_share": 1.0},
}  # fmt: skip
DEFECTS = {
    "one line right across": {"crack_density": 1.3, "crack_count": 1, "picture_lines": 0.9, "scene_score": 38},
    "a tenth less blue": {"blue_share": 0.9, "colour_room_share": 0.9, "pattern_room_share": 0.95},
    "5 % more glare": {"glare_share": 0.05, "pattern_room_share": 0.93, "colour_room_share": 0.93},
}  # fmt: skip


@pytest.mark.parametrize("defect", DEFECTS)
@pytest.mark.parametrize("face", PLAIN)
def test_no_single_defect_moves_the_place_by_one_and_a_half(face, defect):
    whole = PLAIN[face]
    marred = dict(whole)
    for name, value in DEFECTS[defect].items():
        less = name in ("blue_share", "pattern_room_share", "colour_room_share")
        marred[name] = whole.get(name, 0.0) * value if less else value
    marred["scene_score"] = min(marred.get("scene_score", 0), whole.get("scene_score", 0))
    moved = ladder_position(whole, SHIPPED) - ladder_position(marred, SHIPPED)
    assert 0 <= moved < 1.5


def test_a_scene_with_a_line_is_for_cabs_and_never_waste():
    lined = PLAIN["scene"] | {"crack_density": 9.0, "scene_score": 20, "picture_lines": 3.0}
    assert grade_by_rules(lined, SHIPPED)[0] == "cabbing"
    # Host in its place counts for a scene, never against it.
    shore = PLAIN["scene"] | {"host_share": 0.6, "pattern_share": 0.4}
    assert grade_by_rules(shore, SHIPPED)[0] == "select"
