"""The makes of simulated sellers, the odds fitted to many at once, and the plain weights."""

import numpy as np
import pytest
from scipy.stats import spearmanr

from grader.grading.features.features import GRADE_FEATURES
from grader.grading.models.crowd import MAKES, chances_of_makes
from grader.grading.models.many_ordinals import fit_many
from grader.grading.models.ordinal import Ordinal, fit_ordinal
from grader.grading.models.plain import fit_plain, plain_columns, plain_design


@pytest.mark.parametrize("make", MAKES)
def test_a_make_gives_chances_of_every_grade_and_not_always_the_same(make, faces):
    rows = faces[0][:120]
    some = chances_of_makes(rows, 4, np.random.default_rng(3), 6, (make,))
    assert some.shape == (6, 120, 4) and (some >= 0).all()
    assert some.sum(axis=2) == pytest.approx(1)
    assert np.abs(some - some[0]).max() > 0.05
    # Cuts are set at shares of the faces: nobody gives one grade alone.
    assert (some.mean(axis=1) < 0.95).all()


def test_one_who_looks_at_one_thing_orders_the_faces_by_it(faces):
    rows = faces[0][:200]
    one = chances_of_makes(rows, 4, np.random.default_rng(0), 40, ("one look",))
    place = one @ np.arange(4)
    by_blue = [abs(spearmanr(p, [row["blue_share"] for row in rows])[0]) for p in place]
    assert max(by_blue) == pytest.approx(1, abs=0.01) and min(by_blue) < 0.4


def test_many_fitted_at_once_are_each_as_fitted_alone():
    """Against the fit of one seller by L-BFGS-B: another method to the same optimum."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=(150, 3))
    weights, alone = [], []
    for taste in ([1.0, 0.0, 0.5], [0.0, 2.0, -1.0]):
        rung = np.digitize(x @ np.array(taste) + rng.logistic(size=150), [-1.0, 0.0, 1.0])
        weights.append(np.eye(4)[rung])
        alone.append(
            fit_ordinal(
                x, rung, 4, strength=0.3, cut_strength=1e-6, monotone_signs=[1, 1, 1]
            )
        )  # fmt: skip
    beta, cuts = fit_many(x, np.array(weights), 0.3, [1, 1, 1])
    for one, b, c in zip(alone, beta, cuts, strict=True):
        assert b == pytest.approx(one.coefficients, abs=0.01)
        assert c == pytest.approx(one.cuts, abs=0.01)
    # What would leave its sign is held at 0.
    assert beta[1, 2] == 0.0 and (beta >= 0).all()


def test_the_pieces_of_a_measure_add_up_to_it():
    x = np.random.default_rng(0).normal(size=(50, len(GRADE_FEATURES)))
    whole, low, middle, high = np.split(plain_design(GRADE_FEATURES, x), 4, axis=1)
    assert whole == pytest.approx(low + middle + high)
    assert len(plain_columns(GRADE_FEATURES)) == 4 * whole.shape[1]


def test_plain_weights_follow_one_who_likes_land_but_never_one_who_likes_lines():
    rng = np.random.default_rng(4)
    x = rng.normal(size=(200, len(GRADE_FEATURES)))
    for name, follows in (("pattern_share", True), ("line_density", False)):
        column = x[:, GRADE_FEATURES.index(name)]
        liked = -column if follows else column
        rung = np.digitize(liked, [-0.7, 0.0, 0.7])
        plain = fit_plain(GRADE_FEATURES, x, rung, 4, None)
        weights = dict(zip(plain_columns(GRADE_FEATURES), plain.coefficients, strict=True))
        assert (weights[f"{name} whole"] != 0) == follows
        score = plain.score(plain_design(GRADE_FEATURES, x))
        assert (abs(spearmanr(score, liked)[0]) > 0.9) == follows


def test_more_calls_move_plain_weights_on_from_those_learned_before():
    rng = np.random.default_rng(5)
    x = rng.normal(size=(40, len(GRADE_FEATURES)))
    rung = np.digitize(x[:, GRADE_FEATURES.index("scene_score")], [-0.7, 0.0, 0.7])
    before = fit_plain(GRADE_FEATURES, x, rung, 4, None)
    nothing_new = fit_plain(GRADE_FEATURES, x[:0], rung[:0], 4, before)
    assert isinstance(nothing_new, Ordinal)
    assert nothing_new.coefficients == pytest.approx(before.coefficients, abs=1e-3)
