"""What-ifs and reasons do what they say: the features are changed as named and the model is asked again."""

from dataclasses import replace

import numpy as np
import pytest

from grader.grading.features.features import with_values
from grader.grading.reasons import LEAST, SUBJECTS, reasons
from grader.grading.what_ifs import what_if, without_lines
from grader.report.reasons import what_if_words


def pieces(n, rng, make_measurements, make_line):
    """n faces whose parts vary as stones do."""
    for _ in range(n):
        blue, white = rng.beta(2, 3), rng.beta(2, 4)
        over = max(1.0, blue + white)
        length = rng.exponential(60.0) if rng.random() < 0.6 else 0.0
        yield make_measurements(
            blue / over, white / over, chroma=float(rng.gamma(6, 3)), scene=float(rng.beta(4, 3)),
            lines=[make_line(10, 50, 10 + length, 50)] if length else [],
            continuity=float(rng.beta(3, 2)),
        )  # fmt: skip


@pytest.fixture(scope="module")
def led_model(ensemble_model, faces, fit_head):
    """The same model after 30 calls, most of its word that of the ensemble."""
    rows, rung = faces
    head = fit_head(ensemble_model.grade, rows[:30], rung[:30], [str(n) for n in range(30)])
    return replace(ensemble_model, grade=head)


@pytest.mark.parametrize("kind", ["drawn odds", "simulated sellers and plain weights"])
def test_without_what_a_reason_names_200_pieces_move_as_it_says(
    kind, small_model, led_model, profile, make_measurements, make_line, make_facts
):
    model = next(m for m in (small_model, led_model) if m.grade.kind == kind)
    assert model.grade.kind == kind
    rng, named, right = np.random.default_rng(4), 0, 0
    for face in map(make_facts, pieces(200, rng, make_measurements, make_line)):
        values = model.complete(face.features, profile)
        chances = model.grade.probabilities([values])[0]
        for reason in reasons(values, face, profile, model):
            average = {n: v for n, v in model.grade.usual.items() if n in SUBJECTS[reason.subject]}
            without = model.grade.probabilities([with_values(values, profile, **average)])[0]
            # Chance to lie above each border: with the reason they all stand where it says.
            above = (chances[::-1].cumsum() - without[::-1].cumsum())[:-1]
            named += 1
            right += bool(np.all(above * np.sign(reason.moves) >= -1e-9)) or abs(above).max() < 1e-9
    assert named > 50
    # Odds move every border alike; a mixture of several may move one of them the other way.
    assert right == named if kind == "drawn odds" else right / named > 0.9


def test_a_line_whose_absence_lifts_the_grade_is_named(
    small_model, profile, make_measurements, make_line, make_facts
):
    line = make_line(6, 55, 204, 55)  # from edge to edge, through the middle
    measured = make_measurements(0.6, 0.36, chroma=28.0, scene=0.85, lines=[line])
    face = make_facts(measured, weight_g=400.0)
    values = small_model.complete(face.features, profile)
    lift = what_if(values, face, profile, small_model)
    now = small_model.grade.rungs([values])[0]
    without = without_lines(values, face, profile, face.lines)
    assert without["crack_count"] == 0 and without["scene_score"] == values["scene_score"]
    reached = small_model.grade.rungs([without])[0]
    assert reached > now and lift.grade == profile.grades[reached]
    assert (lift.change.numbers, lift.change.line) == ((1,), face.lines[0])
    # The line parts the face in two halves.
    assert lift.change.line.leaves_share == pytest.approx(0.5, abs=0.02)
    assert lift.change.weight_g == 400.0


def test_what_ifs_of_200_pieces_lift_the_grade_and_the_best_has_none(
    small_model, profile, make_measurements, make_line, make_facts
):
    rng, lifted = np.random.default_rng(6), 0
    for face in map(make_facts, pieces(200, rng, make_measurements, make_line)):
        values = small_model.complete(face.features, profile)
        rung = small_model.grade.rungs([values])[0]
        change = what_if(values, face, profile, small_model)
        if rung == 3:
            assert change is None
        if change is not None:
            lifted += 1
            assert profile.grades.index(change.grade) > rung
            assert what_if_words(change).startswith(f"to {change.grade}: ")
    assert lifted > 25


def test_the_average_is_the_sellers(small_model, profile, make_measurements, make_line, make_facts):
    """What is usual to a seller is no reason to him; to the training faces it was one."""
    faces = map(make_facts, pieces(60, np.random.default_rng(8), make_measurements, make_line))
    told = (
        (face, values, reasons(values, face, profile, small_model)[0])
        for face in faces
        for values in [small_model.complete(face.features, profile)]
    )
    face, values, before = next(found for found in told if abs(found[2].moves) > 5 * LEAST)
    assert not before.called
    usual = small_model.grade.usual | {n: values[n] or 0.0 for n in SUBJECTS[before.subject]}
    own = replace(
        small_model,
        grade=replace(
            small_model.grade, average=tuple(usual[n] for n in small_model.grade.scaling.names)
        ),
    )
    after = [r for r in reasons(values, face, profile, own, most=9) if abs(r.moves) > LEAST]
    assert before.subject not in {r.subject for r in after}
    assert all(r.called for r in after)
