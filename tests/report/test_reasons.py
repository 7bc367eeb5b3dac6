"""Reasons, what-ifs and conditions in plain words: each sentence as it stands on screen."""

import pytest

from grader.grading.features.facts import LineFacts, Position
from grader.grading.features.rules import Condition
from grader.grading.models.familiarity import APPEARANCE_NAMES, OTHER_KIND
from grader.grading.proposal import LinesLeftOut, MoreOf, Reason, WhatIf
from grader.report.reasons import condition_words, reason_words, unfamiliar_words, what_if_words


def line(level="middle", side="middle", long=True, leaves=None, length=40.0):
    return LineFacts("crack", length, 0.9, Position(level, side), long, 0.4, leaves)


@pytest.mark.parametrize(
    ("subject", "values", "words"),
    [
        ("pattern", {"blue_share": 0.003, "white_share": None}, "host rock alone"),
        (
            "pattern",
            {"blue_share": 0.43, "white_share": 0.001},
            "blue 43 % of the face, hardly any white",
        ),
        (
            "pattern",
            {"blue_share": 0.43, "white_share": 0.24},
            "blue 43 % and white 24 % of the face",
        ),
        ("colour", {"blue_chroma": None}, "no blue to judge the colour by"),
        ("colour", {"blue_chroma": 13.9}, "pale blue, chroma 14"),
        ("colour", {"blue_chroma": 14.0}, "medium blue, chroma 14"),
        ("colour", {"blue_chroma": 26.0}, "strong blue, chroma 26"),
        ("bands", {"continuity": None}, "no bands to follow"),
        ("bands", {"continuity": 0.834}, "bands run unbroken over 83 % of the width"),
        ("scene", {"scene_score": 85.6}, "scene 86 of 100"),
        ("lines", {}, "no line seen"),
    ],
)
def test_each_subject_has_its_words(subject, values, words):
    for moves in (0.2, -0.2):
        assert reason_words(Reason(subject, moves, values)) == words


def test_the_yardstick_stands_second_and_is_named():
    usual = {"scene_score": 41.2}
    scene = Reason("scene", 0.5, {"scene_score": 85.6}, usual=usual)
    assert reason_words(scene) == "scene 86 of 100 (drawn stones: 41 on average)"
    called = Reason("scene", 0.5, {"scene_score": 85.6}, usual=usual, called=True)
    assert reason_words(called) == "scene 86 of 100 (the stones you called: 41 on average)"


def test_of_several_lines_the_longest_is_named():
    cracks = (line("lower", "left"), line("upper", "middle"))
    assert reason_words(Reason("lines", -0.5, {}, cracks)) == (
        "2 lines seen, the longest at the lower left corner, 0.4 of the face's width"
    )
    assert reason_words(Reason("lines", -0.5, {}, cracks[1:])) == (
        "one line seen at the upper edge, 0.4 of the face's width"
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (LinesLeftOut((1, 3), None, 80.0), "to select: losing the 2 lines"),
        (LinesLeftOut((2,), line(), None), "to select: losing the line across the middle"),
        (LinesLeftOut((2,), line(long=False), None), "to select: losing the line in the middle"),
        (
            LinesLeftOut((2,), line("middle", "right", leaves=0.75), None),
            "to select: losing the line at the right edge; trimming there leaves 75 % of the face",
        ),
        (
            LinesLeftOut((2,), line(leaves=0.75), 400.0),
            "to select: losing the line across the middle; trimming there leaves 300 g of 400 g, if evenly thick",
        ),
        (MoreOf("scene_score", 54.2, 60.0), "to select: a scene of 60 instead of 54"),
        (
            MoreOf("pattern_share", 0.51, 0.6),
            "to select: host trimmed until pattern is 60 % (now 51 %)",
        ),
        (
            MoreOf("blue_chroma", 20.0, 24.4),
            "to select: a stronger blue (chroma 24 instead of 20)",
        ),
    ],
)
def test_a_change_that_lifts_the_grade_is_one_line(change, words):
    assert what_if_words(WhatIf(change, "select")) == words


def test_a_condition_says_its_bound_and_side():
    assert condition_words(Condition("cabbing", "blue_share", 0.6, at_most=False)) == (
        "cabbing: blue_share at least 0.6"
    )
    assert condition_words(Condition("select", "crack_count", 1, at_most=True)) == (
        "select: crack_count at most 1"
    )


def test_why_a_face_is_unfamiliar_has_words_for_every_number_of_its_appearance():
    assert unfamiliar_words(OTHER_KIND) == "it looks more like another stone or surface"
    assert unfamiliar_words("colour_grain4") == "its grain of colour lies far from theirs"
    for name in APPEARANCE_NAMES:
        assert unfamiliar_words(name).endswith(" lies far from theirs")
