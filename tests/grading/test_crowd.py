"""The crowd of simulated sellers: which of them calls make likelier, and what they propose together."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import logistic, spearmanr

from grader.grading.candidates import choose_head, column_signs, fit_head
from grader.grading.crowd import Crowd
from grader.grading.features import with_values

TWO = Crowd(((2.0, 0.0), (0.0, 2.0)), ((-1.0, 1.0), (-1.0, 1.0)), (0.5, 0.5))


def test_calls_make_sellers_as_likely_as_bayes_theorem_says():
    """Outside value: the logistic law of scipy.stats, and the theorem (Bayes 1763) by hand."""
    x, rung = np.array([[1.0, -1.0], [0.5, 0.2], [-0.3, 1.0]]), np.array([2, 1, 1])
    likelihood = []
    for seller in range(2):
        score = 2.0 * x[:, seller]
        passed = logistic.cdf(np.array([-np.inf, -1.0, 1.0, np.inf])[:, None] - score)
        likelihood.append(np.prod(np.diff(passed, axis=0)[rung, range(3)]))
    expected = likelihood[0] / sum(likelihood)
    weighed = TWO.weighed(x, rung)
    assert weighed.chances == pytest.approx((expected, 1 - expected), abs=2e-6)
    below = weighed.below(x)
    by_hand = expected * logistic.cdf(-1.0 - 2 * x[:, 0]) + (1 - expected) * logistic.cdf(
        -1.0 - 2 * x[:, 1]
    )
    assert below[:, 0] == pytest.approx(by_hand, abs=1e-5)


def test_what_was_told_before_does_not_count_twice():
    x, rung = np.random.default_rng(0).normal(size=(12, 2)), np.arange(12) % 3
    assert TWO.weighed(x, rung) == TWO.weighed(x[:5], rung[:5]).weighed(x, rung)


def test_nothing_is_proposed_by_the_crowd_before_any_call(crowded_model, small_model, faces):
    assert crowded_model.grade.crowd_share == 0
    before = small_model.grade.probabilities(faces[0])
    assert (crowded_model.grade.probabilities(faces[0]) == before).all()
    assert crowded_model.grade.kind == small_model.grade.kind


def test_ten_calls_of_a_seller_who_looks_at_blue_alone_are_followed(
    crowded_model, make_faces, profile
):
    rows, _ = make_faces(200, np.random.default_rng(3), profile)
    blue = np.array([row["blue_share"] for row in rows])
    rung = np.digitize(blue, np.quantile(blue, [0.25, 0.5, 0.75]))
    head = fit_head("logit and crowd", crowded_model.grade, rows[:10], rung[:10])
    assert 0.8 < head.crowd_share < 0.9
    told = [spearmanr(h.places(rows[10:]), blue[10:])[0] for h in (crowded_model.grade, head)]
    assert told[1] > told[0] + 0.05


def test_more_of_what_is_better_never_lowers_the_place(crowded_model, faces, profile):
    rows, rung = faces
    head = fit_head("logit and crowd", crowded_model.grade, rows[:40], rung[:40])
    assert (np.array(head.crowd.coefficients) * column_signs(head) >= 0).all()
    for row in rows[40:60]:
        more = with_values(row, profile, blue_chroma=(row["blue_chroma"] or 0.0) + 5)
        assert head.places([more])[0] >= head.places([row])[0] - 1e-9


def test_the_more_calls_the_less_the_crowd_says(crowded_model, faces):
    rows, rung = faces
    shares = []
    for n in (20, 80, 240):
        head = fit_head("logit and crowd", crowded_model.grade, rows[:n], rung[:n])
        shares.append(head.crowd_share)
        assert head.probabilities(rows).sum(axis=1) == pytest.approx(1)
    assert shares == [0.8, 0.5, 0.25]


def test_a_face_of_which_nothing_is_known_is_proposed_for(crowded_model, faces):
    rows, rung = faces
    head = fit_head("logit and crowd", crowded_model.grade, rows[:20], rung[:20])
    assert np.isfinite(head.probabilities([dict.fromkeys(rows[0])])).all()


def test_twice_gives_the_same_head(crowded_model, faces):
    rows, rung = faces
    stones = [str(n) for n in range(30)]
    first, again = (
        choose_head(crowded_model.grade, rows[:30], rung[:30], stones, np.random.default_rng(0))
        for _ in range(2)
    )
    assert first == again
    assert [c.kind for c in first[1]] == ["logit and crowd"]
    assert dataclasses.asdict(first[0]) == dataclasses.asdict(again[0])
