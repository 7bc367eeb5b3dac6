from dataclasses import replace

import numpy as np
import pytest

from grader.grading.learning.drift import (
    Quarter,
    Span,
    call_seasons,
    far_features,
    mean_interval,
    second_look_shift,
    shifts,
)
from grader.grading.proposal import Call, Shown

GRADES = ("waste", "tumbling", "cabbing", "select")


def calls(month, pairs):
    """Calls of one month as (called, proposed) rungs."""
    return [
        Call(f"{i}.jpg", "f" * 64, 1, (0, 0, 9, 9), GRADES[called], None, None, f"2026-{month:02}-03T10:00:00+01:00",
             None, shown=Shown(GRADES[proposed], 50, "starter", "dry"))
        for i, (called, proposed) in enumerate(pairs)
    ]  # fmt: skip


def test_a_mean_with_its_interval():
    # By hand: 1 2 3 4 5, mean 3, s 1.5811, half width 1.95996 * 1.5811 / sqrt(5) = 1.3859.
    figure = mean_interval([1, 2, 3, 4, 5])
    assert (figure.value, figure.low) == pytest.approx((3.0, 3.0 - 1.3859), abs=1e-4)
    assert mean_interval([2.0]).low is None


def test_seasons_are_three_months_and_in_order():
    seasons = call_seasons(
        calls(10, [(1, 1)]) + calls(2, [(1, 0), (2, 1)]) + calls(3, [(1, 1)]), GRADES
    )
    assert [(s.quarter, s.n) for s in seasons] == [
        (Quarter(2026, 1), 3),
        (Quarter(2026, 10), 1),
    ]
    assert seasons[0].above.value == pytest.approx(2 / 3)


def of(by, made):
    return [replace(call, by=by) for call in made]


def test_each_person_has_seasons_of_his_own():
    made = of("Ole", calls(2, [(1, 1)])) + of("Nell", calls(2, [(2, 1)]) + calls(5, [(1, 1)]))
    assert [(s.by, s.quarter, s.above.value) for s in call_seasons(made, GRADES)] == [
        ("Nell", Quarter(2026, 1), 1.0),
        ("Nell", Quarter(2026, 4), 0.0),
        ("Ole", Quarter(2026, 1), 0.0),
    ]


def wavering(seed, count=60):
    rng = np.random.default_rng(seed)
    proposed, by = rng.integers(1, 3, count), rng.integers(-1, 2, count)
    return [(int(p + d), int(p)) for p, d in zip(proposed, by, strict=True)]


def test_a_seller_who_became_stricter_is_noticed_and_a_steady_one_is_not():
    steady = wavering(0)
    strict = [(max(0, called - 1), proposed) for called, proposed in steady]
    (same,) = shifts(calls(4, steady) + calls(8, steady), GRADES)
    assert same.above.low < 0 < same.above.high
    (lower,) = shifts(calls(4, steady) + calls(8, strict), GRADES)
    assert lower.above.high < 0
    assert lower.before == Span(60, "2026-04-03", "2026-04-03")
    assert lower.last == Span(60, "2026-08-03", "2026-08-03")


def test_of_two_people_the_one_who_became_stricter_is_told():
    steady = wavering(0)
    strict = [(max(0, called - 1), proposed) for called, proposed in steady]
    made = of("Nell", calls(4, steady) + calls(8, strict)) + of("Ole", calls(4, steady) * 2)
    above = {shift.by: shift.above for shift in shifts(made, GRADES)}
    assert above["Nell"].high < 0 and above["Ole"].low < 0 < above["Ole"].high


def test_other_stones_are_no_other_strictness():
    """A seller who always goes one above where waste is proposed and keeps select is steady, whatever comes in: above
    the proposal by 0.75 in the mean in spring, by 0.25 in autumn."""
    spring = [(1, 0)] * 30 + [(3, 3)] * 10
    autumn = [(1, 0)] * 10 + [(3, 3)] * 30
    first, last = call_seasons(calls(4, spring) + calls(8, autumn), GRADES)
    assert (first.above.value, last.above.value) == (0.75, 0.25)
    (shift,) = shifts(calls(4, spring) + calls(8, autumn), GRADES)
    assert shift.above.value == pytest.approx(0.0, abs=1e-12)
    # Without a proposal in common nothing is alike.
    assert shifts(calls(4, [(1, 0)] * 40) + calls(8, [(3, 3)] * 40), GRADES) == ()


def test_the_step_and_its_range_are_those_of_least_squares():
    """Outside value: numpy's least squares with a base for each proposed grade and a step; its variance from the
    residuals (any textbook of regression)."""
    before, last = wavering(1, 50), wavering(2, 70)
    (shift,) = shifts(calls(4, before) + calls(8, last), GRADES)
    made = np.array(before + last)
    proposed = np.unique(made[:, 1])
    design = np.column_stack([made[:, 1] == rung for rung in proposed] + [np.arange(120) >= 50])
    design = design.astype(float)
    found, left, *_ = np.linalg.lstsq(design, made[:, 0].astype(float), rcond=None)
    variance = left[0] / (120 - design.shape[1]) * np.linalg.inv(design.T @ design)[-1, -1]
    half = 1.959964 * variance**0.5
    assert (shift.above.value, shift.above.high) == pytest.approx((found[-1], found[-1] + half))
    assert shift.above.low == pytest.approx(found[-1] - half)


def test_within_one_season_the_later_half_is_held_to_the_earlier():
    steady = wavering(0, 40)
    strict = [(max(0, called - 1), proposed) for called, proposed in steady]
    (shift,) = shifts(calls(8, strict) + calls(7, steady), GRADES)
    assert (shift.before.since, shift.last.since) == ("2026-07-03", "2026-08-03")
    assert shift.above.high < 0
    # Nineteen a half are too few.
    assert shifts(calls(7, steady[:19]) + calls(8, strict[:19]), GRADES) == ()


def test_calls_beside_another_model_are_no_drift():
    first, second = ([(2, 1)] * 30, [(1, 1)] * 30)
    later = [replace(c, shown=replace(c.shown, model="mine")) for c in calls(8, second)]
    seasons = call_seasons(calls(4, first) + later, GRADES)
    assert [season.model for season in seasons] == ["starter", "mine"]
    assert shifts(calls(4, first) + later, GRADES) == () == shifts([], GRADES)


def test_each_model_is_held_to_its_own_earlier_season():
    """By hand: beside "mine" the calls fall by 1 grade from spring to autumn, beside "starter" they stay; in summer
    "mine" has too few."""

    def beside(model, month, pairs):
        return [replace(c, shown=replace(c.shown, model=model)) for c in calls(month, pairs)]

    made = [
        *beside("mine", 4, [(2, 1), (3, 2)] * 12), *beside("starter", 5, [(1, 1), (2, 1)] * 12),
        *beside("mine", 8, [(0, 1)] * 5),
        *beside("starter", 10, [(1, 1), (2, 1)] * 12), *beside("mine", 11, [(1, 1), (2, 2)] * 12),
    ]  # fmt: skip
    by_model = {shift.model: shift for shift in shifts(made, GRADES)}
    assert by_model["mine"].above.value == -1.0
    assert by_model["mine"].before == Span(24, "2026-04-03", "2026-04-03")
    assert by_model["starter"].above.value == 0.0


def test_a_second_look_tells_a_shift_on_the_same_stones():
    # By hand: 10 of 20 one grade lower; mean -0.5, s 0.51299, half width 1.95996 * 0.51299 / sqrt(20) = 0.22482.
    rungs = [(2, 1), (1, 1)] * 10
    look = second_look_shift("Nell", "2026-08-03", rungs)
    assert (look.n, look.above.value) == (20, -0.5)
    assert look.above.high == pytest.approx(-0.5 + 0.22482, abs=1e-4)
    assert second_look_shift("Nell", "2026-08-03", rungs[:19]) is None


def test_calls_without_a_proposal_beside_them_say_nothing_of_drift():
    bare = [
        Call(
            "a.jpg",
            "f" * 64,
            1,
            (0, 0, 9, 9),
            "select",
            None,
            None,
            "2026-04-03T10:00:00+01:00",
            None,
        )
    ]
    assert call_seasons(bare, GRADES) == () == shifts(bare, GRADES)


def test_a_season_of_other_stones_names_what_lies_far(small_model, faces):
    rows = faces[0]
    assert far_features(rows, small_model) == []
    paler = [row | {"blue_chroma": (row["blue_chroma"] or 0.0) - 20} for row in rows]
    (name, figure), *rest = far_features(paler, small_model)
    assert name == "blue_chroma" and figure.high < -0.5 and rest == []
    assert far_features(rows[:19], small_model) == []
