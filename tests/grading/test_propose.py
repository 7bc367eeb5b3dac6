import dataclasses

import pytest

from grader.grading.features.features import with_values
from grader.grading.proposal import Reason
from grader.grading.propose import propose, scene_estimate, sell_as
from grader.grading.reasons import SUBJECTS, reasons
from grader.profile import Rung
from grader.report.reasons import reason_words


@pytest.fixture
def proposed(small_model, profile, make_facts):
    def run(measurements, size_class="25x18", **given):
        facts = make_facts(measurements, size_class, **given)
        return propose(facts, scene_estimate(facts, small_model), profile, small_model)

    return run


def test_good_faces_are_proposed_higher_than_poor_ones(
    proposed, profile, make_measurements, make_line
):
    good = proposed(make_measurements(0.6, 0.36, chroma=28.0, scene=0.85))
    poor = proposed(
        make_measurements(0.06, 0.02, chroma=8.0, scene=0.2, lines=[make_line(5, 50, 205, 60)])
    )
    assert (good.grade, poor.grade) == ("select", "waste")
    assert sum(good.probabilities.values()) == pytest.approx(1.0)
    assert list(good.probabilities) == list(profile.grades)


def test_an_added_crack_never_raises_the_grade(proposed, profile, make_measurements, make_line):
    rungs = [
        profile.grades.index(
            proposed(make_measurements(lines=[make_line(10, 50, 10 + n, 50)] if n else [])).grade
        )
        for n in (0, 20, 60, 120, 200)
    ]
    assert rungs == sorted(rungs, reverse=True)


def test_reasons_are_plain_lines_that_say_which_way(proposed, make_measurements, make_line):
    found = proposed(make_measurements(0.6, 0.36, lines=[make_line(25, 55, 185, 55)])).reasons
    assert 1 <= len(found) <= 3
    text = [reason_words(reason) for reason in found]
    assert not any(word in " ".join(text) for word in ("usual", "worse", "better"))


def test_a_reason_tells_what_is_seen_first_and_then_the_yardstick():
    values = {"pattern_room_share": 0.35, "colour_room_share": 0.5, "pattern_contrast": 40.0}
    room = Reason("room", 0.5, values, usual={"pattern_room_share": 0.2}, called=True)
    assert reason_words(room) == (
        "room for cabs with pattern and no line seen over 35 % of the face (the stones you called: 20 % on average)"
    )
    plain = Reason("room", -0.5, values | {"pattern_room_share": 0.0})
    assert reason_words(plain).endswith("plain blue over 50 % of the face, with pattern nowhere")


def test_a_face_without_a_line_is_never_called_free_of_cracks(proposed, make_measurements):
    found = proposed(make_measurements(0.7, 0.3, scene=0.9)).reasons
    text = " ".join(reason_words(reason) for reason in found)
    assert "clean" not in text and "crack" not in text


def test_putting_a_reason_to_the_average_moves_the_score_as_it_says(
    small_model, profile, make_measurements, make_line, make_facts
):
    for blue in (0.05, 0.2, 0.5):
        for lines in ([], [make_line(10, 50, 80, 50)]):
            face = make_facts(make_measurements(blue, 0.2, lines=lines))
            values = small_model.complete(face.features, profile)
            for reason in reasons(values, face, profile, small_model, most=9):
                means = small_model.grade.usual
                average = {n: means[n] for n in SUBJECTS[reason.subject] if n in means}
                without = small_model.grade.expected_grade(
                    [with_values(values, profile, **average)]
                )
                assert (small_model.grade.expected_grade([values]) > without) == (reason.moves > 0)


@pytest.mark.parametrize(("blue", "white"), [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
def test_a_face_of_one_plain_colour_is_graded(proposed, blue, white, make_measurements):
    face = make_measurements(blue, white, scene=None, continuity=None, mm_per_px=None)
    proposal = proposed(face, size_class=None)
    assert proposal.scene <= 25
    assert proposal.sell_as is None


def test_of_a_photo_that_has_to_be_taken_again_nothing_is_proposed(proposed, make_measurements):
    face = make_measurements(0.6, 0.36)
    assert proposed(face) is not None
    assert proposed(face, retake=True) is None


@pytest.mark.parametrize(
    ("grade", "size", "sold"),
    [
        ("select", "25x18", "single"),
        ("select", "under 18x13", "by weight"),
        ("cabbing", "under 18x13", "chips"),
        ("tumbling", "under 18x13", "chips"),
        ("waste", "40x30", "waste"),
        ("select", None, None),
    ],
)
def test_how_it_is_sold_follows_from_grade_and_size(profile, grade, size, sold):
    assert sell_as(grade, size, profile) == sold


def test_an_unknown_ladder_is_graded_by_the_rules_and_says_so(
    small_model, profile, make_measurements, make_facts
):
    renamed = dataclasses.replace(
        profile,
        ladder=(Rung("leave", "not worth it", "waste"), *profile.ladder[1:]),
    )
    facts = make_facts(make_measurements(0.02, 0.02))
    proposal = propose(facts, scene_estimate(facts, small_model), renamed, small_model)
    assert proposal.grade == "leave"
    assert proposal.model.startswith("rules of banded")
