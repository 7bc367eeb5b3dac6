"""Plain words for what was measured: each phrase worked out by hand."""

import pytest

from grader.profile import load_profile
from grader.report import headline, words
from grader.report.result import photo_record


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.344, "34 %"), (1.0, "100 %"), (0.0, "0 %"), (0.002, "under 1 %"), (None, "not known")],
)
def test_a_share_is_whole_percent_and_what_is_there_is_never_zero(share, text):
    assert words.percent(share) == text


def test_a_share_is_told_with_its_range_and_kinds():
    share = {"value": 0.4, "low": 0.31, "high": 0.5, "kinds": {"rusty": 0.3, "grey": 0.1}}
    assert words.share_words("host", share) == "host 40 % (31 to 50): rusty 30 %, grey 10 %"


def cracks(count, classes, length_mm=None):
    lines = [{"class": name, "drying_ratio": None} for name in classes]
    return {"count": count, "length_px": 120.4, "length_mm": length_mm, "lines": lines}


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (cracks(0, []), "no line seen on 1 face, dry"),
        (cracks(0, ["contact"]), "1 contact; no other line seen"),
        (cracks(0, ["pattern line"]), "1 healed line or seam; no other line seen"),
        (
            cracks(0, ["uncertain", "pattern line", "pattern line"]),
            "1 uncertain, 2 healed lines or seams; no other line seen",
        ),
        (cracks(0, ["uncertain"]), "1 uncertain; no other line seen"),
        (cracks(1, ["crack"]), "1 crack seen, 120 px"),
        (
            cracks(2, ["crack", "crack", "uncertain"], 31.6),
            "2 cracks seen, 32 mm in all; 1 uncertain",
        ),
    ],
)
def test_lines_are_told_as_seen(found, text):
    assert words.lines_words(found, "dry") == text


@pytest.mark.parametrize(
    ("states", "text"),
    [
        (["wet"], "no line seen on 1 face, wet"),
        (["dry", "wet", "wet"], "no line seen on 3 faces, wet and dry"),
        (["unknown"], "no line seen on 1 face, wet or dry not known"),
    ],
)
def test_where_no_line_is_seen_the_faces_and_their_state_are_told(states, text):
    assert words.no_line_words(states) == text


def test_sound_stone_is_told_with_its_range_and_what_is_not_known():
    likely = {"value": 0.62, "low": 0.5, "high": 1.0}
    parts = [{"share": 0.5, "weight_g": None}, {"share": 0.49, "weight_g": None}]
    sound = {"largest": likely, "parts": parts, "clear": [], "usable": None, "usable_g": None}
    assert words.sound_words(sound) == [
        "if it parts along its lines: largest part 62 % (50 to 100) of the face; parts 50 %, 49 %",
    ]
    sound |= {
        "parts": [{"share": 0.5, "weight_g": 100.0}, {"share": 0.49, "weight_g": 98.0}],
        "clear": [{"oval": "18x13", "share": 0.71}, {"oval": "40x30", "share": 0.0}],
        "usable": likely,
        "weight_g": 200.0,
        "usable_g": {"value": 124.0, "low": 100.0, "high": 200.0},
    }
    assert words.sound_words(sound)[1:] == [
        "room for ovals with no line seen in them: 18x13 mm on 71 % of the face",
        "parts that take the smallest oval: 124 g (100 to 200) of 200 g, if evenly thick; all parts 100, 98 g",
    ]


def test_bands_that_were_not_measured_are_not_told_as_zero():
    names = ("continuity", "bands", "direction_deg", "thickness_mm", "offsets", "throw_mm")
    none = dict.fromkeys(names)
    assert words.bands_words(none) == "none seen"
    measured = {"continuity": 0.62, "bands": 4, "direction_deg": 170.2, "thickness_mm": 3.24}
    assert words.bands_words(none | measured) == (
        "4 across, direction 170°, 3.2 mm thick, unbroken over 62 % of the width"
    )


def test_a_call_of_a_scene_alone_is_told_without_a_grade():
    call = {
        "grade": None,
        "scene": 60,
        "by": None,
        "time": "2026-03-02T10:11:12+01:00",
        "note": None,
    }
    assert words.call_words(call) == "scene 60, 2026-03-02"


def test_a_call_is_told_with_what_the_others_say():
    def call_of(by, grade=None, scene=None, **more):
        day = "2026-03-02T10:11:12+01:00"
        return {"grade": grade, "scene": scene, "by": by, "time": day, "note": None} | more

    def words_of(house, *people, decided="last", scene_by=None):
        house = house and house | {"decided": decided, "scene_by": scene_by}
        return words.calls_words({"call": house, "calls": list(people)})

    ada, ben, someone = (
        call_of("Ada", "select", 70),
        call_of("Ben", "waste"),
        call_of(None, scene=5),
    )
    assert words_of(None) is None
    assert words_of(ada, ada, decided="alone") == "select, scene 70 by Ada, 2026-03-02"
    assert words_of(ada, ada, ben, decided="decider") == (
        "select, scene 70 by Ada, who decides, 2026-03-02; Ben: waste"
    )
    both = ben | {"scene": 70}
    assert words_of(both, ada, someone, ben, scene_by="Ada") == (
        "waste by Ben, who spoke last, 2026-03-02; Ada: select, scene 70 (this scene counts); "
        "unnamed: scene 5"
    )


def test_a_grade_that_left_the_ladder_is_told_as_such():
    profile = load_profile()
    assert (
        headline.meaning("select", profile) == "a scene, or striking bands, where no line is seen"
    )
    assert headline.meaning("former", profile) == "not on this ladder"


def test_offsets_are_told_with_their_throw_where_there_are_any():
    assert words.offsets_words({"offsets": 0, "throw_mm": None}) is None
    assert words.offsets_words({"offsets": None, "throw_mm": None}) is None
    assert words.offsets_words({"offsets": 1, "throw_mm": 2.04}) == "1 offset by a fault, by 2.0 mm"
    assert words.offsets_words({"offsets": 7, "throw_mm": None}) == "7 offset by faults"


LADDER = ("waste", "tumbling", "cabbing", "select")


def proposal_of(*likely, held=None, unfamiliar=None, rules=None):
    """A proposal as a record has it, with those grades over the stone."""
    return {
        "grade": likely[0],
        "likely": list(likely),
        "probabilities": dict.fromkeys(LADDER, 0.25),
        "grade_set": {"grades": list(held or likely), "level": 0.9},
        "unfamiliar": unfamiliar,
        "rules": rules and {"grade": rules, "because": None},
    }


def test_the_words_over_a_stone_name_the_likeliest_grades():
    assert headline.headline_words(None) == "retake"
    assert headline.headline_words(proposal_of("cabbing")) == "cabbing"
    two = proposal_of("cabbing", "select")
    assert headline.headline_words(two) == "cabbing or select: yours to say"
    # A grade that is skipped lies in the range.
    assert headline.headline_words(proposal_of(*LADDER[1:])) == "tumbling to select: yours to say"
    strange = headline.headline_words(proposal_of("cabbing", unfamiliar="texture"))
    assert strange.startswith("unlike the stones this model knows")


def test_a_set_is_told_only_where_it_says_more():
    assert headline.set_words(proposal_of("cabbing")) is None
    held = proposal_of("cabbing", held=("tumbling", "cabbing", "select"))
    assert headline.set_words(held) == "tumbling to select, nine times in ten"
    assert headline.set_words(proposal_of("cabbing", held=LADDER)) == "any grade, nine times in ten"


def test_the_rules_are_told_in_one_sentence_where_they_say_another_grade(make_graded):
    proposal = photo_record(make_graded())["pieces"][0]["proposal"] | {"likely": ["cabbing"]}
    told = "the written rules alone say tumbling; cabbing needs blue_share at least 0.6"
    assert headline.rules_words(proposal) == told
    assert headline.rules_words(proposal_of("cabbing", rules="cabbing")) is None
    # What the headline leaves open the rules do not settle.
    assert headline.rules_words(proposal_of("cabbing", "select", rules="select")) is None


def test_a_lined_stone_that_may_go_to_the_saw_is_told_with_care():
    lined = {"proposal": proposal_of("cabbing"), "cracks": {"count": 1}}
    assert "come apart" in headline.line_care_words(lined)
    assert headline.line_care_words(lined | {"cracks": {"count": 0}}) is None
    assert headline.line_care_words(lined | {"proposal": proposal_of("waste")}) is None


def test_a_runner_up_is_told_where_it_is_worth_a_look():
    best = {"kind": "landscape", "template": "25x18 oval", "turn_deg": 12.4, "score": 60}
    other = best | {"kind": "stream", "turn_deg": 90.0, "score": 45}
    text = words.runner_up_words({"best": best, "runner_up": other})
    assert text == "next best as a stream: 25x18 oval, turned 90°; dashed in the picture"
    surf = best | {"kind": "surf"}
    assert words.placement_words(surf) == "best as surf: 25x18 oval, turned 12°"
    poor = other | {"score": words.WORTH_DRAWING - 1}
    assert words.runner_up_words({"best": best, "runner_up": poor}) is None
    assert words.runner_up_words({"best": best, "runner_up": None}) is None
