"""What a proposal is made of: kept as plain data, it gives the same proposal whenever it is asked for."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grader.grading.features.facts import facts_from
from grader.grading.models.familiarity import appearance_features
from grader.grading.propose import propose, scene_estimate
from grader.report.reasons import line_position_words
from grader.report.result import measured_record


def kept(facts):
    """The same facts, once through JSON as the ledger holds it."""
    return facts_from(json.loads(json.dumps(facts.as_record(), allow_nan=False)))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6))
def test_facts_from_the_ledger_give_the_same_proposal_to_the_last_digit(
    small_model, profile, make_measurements, make_line, make_facts, seed
):
    rng = np.random.default_rng(seed)
    blue, white = rng.dirichlet([2, 2, 2])[:2]
    lines = [
        make_line(*rng.uniform(5, 105, 4), kind)
        for kind in rng.choice(["crack", "uncertain", "contact", "pattern line"], rng.integers(4))
    ]
    lab = rng.normal(50, 12, (40, 60, 3)).astype(np.float32)
    facts = make_facts(
        make_measurements(
            float(blue), float(white), chroma=float(rng.gamma(6, 3)), lines=lines,
            scene=rng.choice([None, float(rng.random())]), mm_per_px=rng.choice([None, 0.2]),
        ),
        rng.choice([None, "25x18"]),
        appearance=appearance_features(lab, np.ones((40, 60), bool)),
        weight_g=rng.choice([None, float(rng.uniform(1, 900))]),
    )  # fmt: skip
    again = kept(facts)
    assert again == facts
    scene = scene_estimate(facts, small_model)
    assert scene_estimate(again, small_model) == scene
    assert propose(again, scene, profile, small_model) == propose(
        facts, scene, profile, small_model
    )


def test_facts_of_a_hand_made_photo_are_plain_data(make_graded, crack):
    for graded in (make_graded(lines=(crack,)), make_graded(verdict="retake", mm_per_px=0.2)):
        (piece,) = graded.pieces
        assert kept(piece.facts) == piece.facts
        assert piece.facts.retake == (piece.measured.verdict.value == "retake")
        assert piece.facts.size_class == piece.measured.size_class
        # Lines are those of the record, by number.
        (record,) = measured_record(graded.measured)["pieces"]
        kinds = [line["class"] for line in record["cracks"]["lines"]]
        assert [line.kind for line in piece.facts.lines] == kinds


# Below, the face is 200 px wide and 100 high, its upper left corner at (5, 5).


@pytest.mark.parametrize(
    ("line", "where"),
    [
        ((95, 55, 115, 55), "in the middle"),  # 20 px, under 0.4 of the 100 px of height
        ((80, 55, 130, 55), "across the middle"),  # 50 px
        ((10, 55, 30, 55), "at the left edge"),
        ((180, 55, 200, 55), "at the right edge"),
        ((95, 10, 115, 10), "at the upper edge"),
        ((95, 100, 115, 100), "at the lower edge"),
        ((10, 10, 30, 10), "at the upper left corner"),
        ((180, 100, 200, 100), "at the lower right corner"),
        # A long one too is told by its middle.
        ((10, 10, 60, 10), "at the upper left corner"),
    ],
)
def test_where_a_line_lies_is_told_by_its_middle(
    make_measurements, make_line, make_facts, line, where
):
    (fact,) = make_facts(make_measurements(lines=[make_line(*line)])).lines
    assert line_position_words(fact) == where


@pytest.mark.parametrize(("length", "part"), [(200, 1.0), (50, 0.25), (20, 0.1)])
def test_the_length_of_a_line_is_a_part_of_the_faces_width(
    make_measurements, make_line, make_facts, length, part
):
    (fact,) = make_facts(make_measurements(lines=[make_line(5, 55, 5 + length, 55)])).lines
    assert (fact.length_px, fact.width_part) == (length, part)


@pytest.mark.parametrize(
    ("line", "leaves"),
    [
        ((0, 55, 210, 55), 1 / 2),  # level, through the middle
        ((55, 0, 55, 110), 3 / 4),  # upright, 50 of the 200 px from the left edge
        ((0, 25, 210, 25), 4 / 5),  # level, 20 of the 100 px from the upper edge
        ((25, 55, 60, 55), None),  # from nowhere to nowhere: it parts nothing
    ],
)
@pytest.mark.parametrize("kind", ["crack", "uncertain"])
def test_trimming_at_a_line_leaves_the_larger_side(
    make_measurements, make_line, make_facts, line, leaves, kind
):
    # However unlikely it is to part: it is asked what would be left if it did.
    found = replace(make_line(*line, kind), probability=0.1)
    (fact,) = make_facts(make_measurements(lines=[found])).lines
    assert fact.kind == kind
    assert fact.leaves_share == (leaves and pytest.approx(leaves, abs=0.02))


@pytest.mark.parametrize("kind", ["contact", "pattern line"])
def test_what_is_no_crack_leaves_nothing_to_trim(make_measurements, make_line, make_facts, kind):
    (fact,) = make_facts(make_measurements(lines=[make_line(0, 55, 210, 55, kind)])).lines
    assert fact.leaves_share is None


def test_cracks_are_the_lines_of_that_class_in_their_order(
    make_measurements, make_line, make_facts
):
    kinds = ("crack", "pattern line", "uncertain", "crack")
    lines = [make_line(10, 20 * n, 10 + 9 * n, 20 * n, kind) for n, kind in enumerate(kinds, 1)]
    facts = make_facts(make_measurements(lines=lines))
    assert [line.kind for line in facts.lines] == list(kinds)
    assert [line.length_px for line in facts.cracks] == [9, 36]
