"""The ensemble of simulated sellers: which of them calls make likelier, and what they propose together."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import logistic, spearmanr

from grader.grading.features.features import with_values
from grader.grading.learning.candidates import column_signs, learn_head
from grader.grading.models import crowd, seller_ensemble
from grader.grading.models.crowd import MAKES
from grader.grading.models.prediction_set import PredictionSetRule
from grader.grading.models.seller_ensemble import (
    AS_THE_STARTER,
    CALL_COUNTS,
    SellerEnsemble,
    draw_ensemble,
)

TWO = SellerEnsemble(((2.0, 0.0), (0.0, 2.0)), ((-1.0, 1.0), (-1.0, 1.0)), (0.5, 0.5))


@pytest.fixture
def follow(fit_head):
    """The model's head with the calls of a stone for each row."""

    def follow(model, rows, rung):
        stones = [str(n) for n in range(len(rows))]
        return fit_head(model.grade, rows, rung, stones, plain=False)

    return follow


def test_calls_make_sellers_as_likely_as_bayes_theorem_says():
    """Outside value: the logistic law of scipy.stats, and the theorem (Bayes 1763) by hand."""
    x, rung = np.array([[1.0, -1.0], [0.5, 0.2], [-0.3, 1.0]]), np.array([2, 1, 1])
    likelihood = []
    for seller in range(2):
        score = 2.0 * x[:, seller]
        passed = logistic.cdf(np.array([-np.inf, -1.0, 1.0, np.inf])[:, None] - score)
        likelihood.append(np.prod(np.diff(passed, axis=0)[rung, range(3)]))
    # A call counts 0.6: likelihoods to that power.
    likelihood = np.array(likelihood) ** CALL_COUNTS
    expected = likelihood[0] / sum(likelihood)
    weighed = TWO.updated(x, rung)
    assert weighed.chances == pytest.approx((expected, 1 - expected), abs=2e-6)
    below = weighed.below(x)
    by_hand = expected * logistic.cdf(-1.0 - 2 * x[:, 0]) + (1 - expected) * logistic.cdf(
        -1.0 - 2 * x[:, 1]
    )
    assert below[:, 0] == pytest.approx(by_hand, abs=1e-5)


def test_calls_learned_in_two_goes_make_sellers_as_likely_as_in_one():
    x, rung = np.random.default_rng(0).normal(size=(12, 2)), np.arange(12) % 3
    whole, first = TWO.updated(x, rung), TWO.updated(x[:5], rung[:5])
    assert whole.chances != first.chances
    assert first.updated(x[5:], rung[5:]).chances == pytest.approx(whole.chances, abs=1e-9)


def test_before_any_call_the_first_seller_is_the_starter_and_all_others_are_alike(
    ensemble_model, faces
):
    head, rows = ensemble_model.grade, faces[0]
    first, *others = head.ensemble.chances
    assert first == AS_THE_STARTER and len(set(others)) == 1 and len(others) == 63
    x = head.scaling.design(rows[:40])
    after = head.ensemble.updated(x, faces[1][:40])
    assert after.prior == head.ensemble != after
    only = dataclasses.replace(head.ensemble, chances=(1.0,) + (0.0,) * 63)
    below = np.cumsum(head.ordinal.probabilities(x), axis=1)[:, :-1]
    assert only.below(x) == pytest.approx(below, abs=2e-3)


def test_faces_given_in_parts_give_the_same(monkeypatch):
    x, rung = np.random.default_rng(1).normal(size=(23, 2)), np.arange(23) % 3
    whole = TWO.updated(x, rung)
    below = whole.below(x)
    monkeypatch.setattr(seller_ensemble, "AT_ONCE", 5)
    assert TWO.updated(x, rung) == whole
    assert whole.below(x) == pytest.approx(below, abs=1e-12)


def test_mean_places_of_all_but_the_starters_seller_are_the_borders_passed():
    """By hand: the mean place of all is the number of borders less the chances of lying below them."""
    x = np.random.default_rng(1).normal(size=(9, 2))
    three = SellerEnsemble(
        ((1.0, 1.0), *TWO.coefficients), ((-1.0, 1.0), *TWO.cuts), (0.8, 0.15, 0.05)
    )
    grades, likely = three.expected_grades(x)
    without = dataclasses.replace(three, chances=(0.0, 0.15, 0.05))
    assert likely == pytest.approx([0.75, 0.25])
    assert likely @ grades == pytest.approx(2 - without.below(x).sum(axis=1), abs=1e-9)
    nobody = dataclasses.replace(three, chances=(1.0, 0.0, 0.0)).expected_grades(x)
    assert nobody[0].shape == (0, 9) and nobody[1].shape == (0,)


def test_an_ensemble_of_two_minds_still_gives_grades_in_order_and_sets_without_a_gap(small_model):
    """Half call everything the lowest grade, half the highest: the two between are unlikely and lie between."""
    p = len(small_model.grade.scaling.names)
    flat = (0.0,) * p
    split = SellerEnsemble((flat, flat), ((3.0, 4.0, 5.0), (-5.0, -4.0, -3.0)), (0.5, 0.5))
    head = dataclasses.replace(
        small_model.grade, ensemble=split, calls=1, set_rule=PredictionSetRule(0.2, 50)
    )
    chances = head.probabilities([dict.fromkeys(head.scaling.names)])
    assert (chances > 0).all() and chances.sum() == pytest.approx(1)
    assert chances[0, [0, 3]].min() > 0.4 and chances[0, 1:3].max() < 0.1
    assert head.set_rule.contains(chances).all()


def test_the_same_seed_draws_the_same_ensemble_another_seed_another(small_model, faces):
    head, rows = small_model.grade, faces[0][:60]
    x, signs = head.scaling.design(rows), column_signs(head)
    first, again, other = (
        draw_ensemble(x, rows, 4, signs, head.ordinal, np.random.default_rng(seed), each=1)
        for seed in (5, 5, 6)
    )
    assert first == again != other
    assert sum(first.chances) == pytest.approx(1)
    assert (np.diff(np.array(first.cuts), axis=1) > 0).all()
    assert (
        np.shape(first.coefficients) == (1 + len(MAKES), x.shape[1])
        and len(first.rows[0]) == x.shape[1] + 4
    )


@pytest.mark.parametrize("repeats", crowd.REPEATS)
def test_a_seller_repeats_himself_as_often_as_was_drawn(repeats):
    """By simulation: 400 faces called twice, 500 times over."""
    rng = np.random.default_rng(8)
    value, cuts = rng.normal(size=400), np.array([-0.7, 0.1, 0.9])
    chances = crowd._wavering(value, cuts, repeats)
    below = np.cumsum(chances, axis=1)[:, :-1]
    drawn = (rng.random((2, 500, 400, 1)) > below).sum(axis=-1)
    assert (drawn[0] == drawn[1]).mean() == pytest.approx(repeats, abs=0.006)


def test_nothing_is_proposed_by_the_ensemble_before_any_call(ensemble_model, small_model, faces):
    assert ensemble_model.grade.ensemble_share == 0
    before = small_model.grade.probabilities(faces[0])
    assert (ensemble_model.grade.probabilities(faces[0]) == before).all()
    assert ensemble_model.grade.kind == small_model.grade.kind


def test_ten_calls_of_a_seller_who_looks_at_blue_alone_are_followed(
    ensemble_model, make_faces, profile, follow
):
    rows, _ = make_faces(200, np.random.default_rng(3), profile)
    blue = np.array([row["blue_share"] for row in rows])
    rung = np.digitize(blue, np.quantile(blue, [0.25, 0.5, 0.75]))
    head = follow(ensemble_model, rows[:10], rung[:10])
    assert head.ensemble_share == 1
    agreements = [
        spearmanr(h.expected_grade(rows[10:]), blue[10:])[0] for h in (ensemble_model.grade, head)
    ]
    assert agreements[1] > agreements[0] + 0.05


def test_more_of_what_is_better_never_lowers_the_place(ensemble_model, faces, profile, follow):
    rows, rung = faces
    head = follow(ensemble_model, rows[:40], rung[:40])
    assert (np.array(head.ensemble.coefficients) * column_signs(head) >= 0).all()
    for row in rows[40:60]:
        more = with_values(row, profile, blue_chroma=(row["blue_chroma"] or 0.0) + 5)
        assert head.expected_grade([more])[0] >= head.expected_grade([row])[0] - 1e-9


def test_the_ensemble_says_what_the_plain_weights_do_not(ensemble_model, faces):
    rows, rung = faces
    stones = [str(n) for n in range(60)]
    head, parts = learn_head(
        ensemble_model.grade, rows[:60], rung[:60], stones, np.random.default_rng(0)
    )
    assert [part.share for part in parts] == [head.ensemble_share, head.plain_share]
    assert head.ensemble_share + head.plain_share == pytest.approx(1) and head.plain_share > 0
    assert head.probabilities(rows).sum(axis=1) == pytest.approx(1)


def test_a_face_of_which_nothing_is_known_is_proposed_for(ensemble_model, faces, follow):
    rows, rung = faces
    head = follow(ensemble_model, rows[:20], rung[:20])
    assert np.isfinite(head.probabilities([dict.fromkeys(rows[0])])).all()


def test_twice_gives_the_same_head(ensemble_model, faces):
    rows, rung = faces
    stones = [str(n) for n in range(30)]
    first, again = (
        learn_head(ensemble_model.grade, rows[:30], rung[:30], stones, np.random.default_rng(0))
        for _ in range(2)
    )
    assert first == again
    assert [c.kind for c in first[1]] == ["simulated sellers", "plain weights"]
    assert dataclasses.asdict(first[0]) == dataclasses.asdict(again[0])
