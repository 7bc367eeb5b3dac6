from dataclasses import replace

import numpy as np
import pytest

from grader.grading.learning.drift import Quarter, call_seasons, far_features, mean_interval, moved
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


def test_a_seller_who_became_stricter_is_noticed_and_a_steady_one_is_not():
    rng = np.random.default_rng(0)
    steady = [
        (int(p + d), int(p))
        for p, d in zip(rng.integers(1, 3, 60), rng.integers(-1, 2, 60), strict=True)
    ]
    strict = [(max(0, called - 1), proposed) for called, proposed in steady]
    (same,) = moved(call_seasons(calls(4, steady) + calls(8, steady), GRADES))
    assert same.by.low < 0 < same.by.high
    (lower,) = moved(call_seasons(calls(4, steady) + calls(8, strict), GRADES))
    assert lower.by.high < 0 and lower.before == Quarter(2026, 4)
    assert moved(call_seasons(calls(4, steady) + calls(8, strict[:19]), GRADES)) == ()
    # A last season of few calls leaves nothing to compare, whatever those before it say.
    few = calls(1, steady) + calls(4, strict) + calls(8, strict[:3])
    assert moved(call_seasons(few, GRADES)) == ()


def test_calls_beside_another_model_are_no_drift():
    first, second = ([(2, 1)] * 30, [(1, 1)] * 30)
    later = [replace(c, shown=replace(c.shown, model="mine")) for c in calls(8, second)]
    seasons = call_seasons(calls(4, first) + later, GRADES)
    assert [season.model for season in seasons] == ["starter", "mine"]
    assert moved(seasons) == () == moved([])


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
    numbered = [replace(call, piece=n) for n, call in enumerate(made)]
    shifts = {shift.model: shift for shift in moved(call_seasons(numbered, GRADES))}
    assert shifts["mine"].by.value == -1.0 and shifts["mine"].before == Quarter(2026, 4)
    assert shifts["starter"].by.value == 0.0


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
    assert call_seasons(bare, GRADES) == ()


def test_a_season_of_other_stones_names_what_lies_far(small_model, faces):
    rows = faces[0]
    assert far_features(rows, small_model) == []
    paler = [row | {"blue_chroma": (row["blue_chroma"] or 0.0) - 20} for row in rows]
    (name, figure), *rest = far_features(paler, small_model)
    assert name == "blue_chroma" and figure.high < -0.5 and rest == []
    assert far_features(rows[:19], small_model) == []
