import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.grading.models.ordinal import Ordinal, fit_ordinal, grade_probabilities, median_grade


def test_probabilities_of_the_worked_example():
    # Cuts -1 and 1, score 0.5: proportional odds, McCullagh 1980, worked by hand.
    p = grade_probabilities(0.5, [-1.0, 1.0])
    assert p == pytest.approx(np.array([[0.1824, 0.4400, 0.3775]]), abs=1e-4)


@pytest.mark.parametrize(
    ("p", "rung"),
    [([0.5, 0.3, 0.2], 0), ([0.49, 0.3, 0.21], 1), ([0.2, 0.2, 0.6], 2), ([0, 0, 1.0], 2)],
)
def test_the_grade_is_the_median_of_the_probabilities(p, rung):
    assert median_grade(np.array([p])) == [rung]


def _simulated(n, seed):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, 3))
    rung = np.digitize(x @ [1.0, -0.5, 0.0] + rng.logistic(size=n), [-1.0, 0.0, 1.5])
    return x, rung


def test_agrees_with_statsmodels_where_nothing_holds_it_back():
    ordinal_model = pytest.importorskip("statsmodels.miscmodels.ordinal_model")
    x, rung = _simulated(400, 0)
    other = ordinal_model.OrderedModel(rung, x, distr="logit")
    fit = other.fit(method="bfgs", disp=False)
    ours = fit_ordinal(x, rung, 4, strength=1e-9, cut_strength=1e-9)
    assert ours.coefficients == pytest.approx(fit.params[:3], abs=2e-3)
    assert ours.cuts == pytest.approx(other.transform_threshold_params(fit.params)[1:-1], abs=2e-3)


def test_few_faces_move_the_prior_a_little_and_many_a_lot():
    prior = Ordinal((0.0, 1.0, 0.0), (-1.0, 0.0, 1.0))
    fits = [fit_ordinal(*_simulated(n, 1), 4, prior=prior, strength=6.0) for n in (0, 10, 400)]
    moved = [np.abs(np.subtract(f.coefficients, prior.coefficients)).max() for f in fits]
    assert moved[0] == 0
    assert 0 < moved[1] < 0.6 < 1.2 < moved[2]


def test_a_coefficient_never_leaves_its_sign():
    x, rung = _simulated(200, 2)
    fit = fit_ordinal(x, rung, 4, monotone_signs=[-1, 1, 0])
    assert fit.coefficients[0] <= 0 <= fit.coefficients[1]


def test_a_grade_that_nobody_called_keeps_its_place():
    x, rung = _simulated(100, 3)
    fit = fit_ordinal(x, np.where(rung == 2, 1, rung), 4)
    assert list(fit.cuts) == sorted(fit.cuts)
    assert np.isfinite(fit.cuts).all()


def test_the_same_faces_give_the_same_numbers():
    assert fit_ordinal(*_simulated(60, 4), 4) == fit_ordinal(*_simulated(60, 4), 4)


def test_no_face_and_no_prior_is_refused():
    with pytest.raises(ValueError, match="nothing to fit"):
        fit_ordinal(np.zeros((0, 2)), np.zeros(0, int), 3)


@given(
    scores=st.lists(st.floats(-40, 40), min_size=1, max_size=5),
    first=st.floats(-20, 20),
    steps=st.lists(st.floats(0.001, 10), min_size=1, max_size=6),
)
def test_probabilities_sum_to_one_and_rise_with_the_score(scores, first, steps):
    cuts = np.cumsum([first, *steps])
    p = grade_probabilities(sorted(scores), cuts)
    assert (p >= 0).all()
    assert p.sum(axis=1) == pytest.approx(1.0)
    assert (np.diff(median_grade(p)) >= 0).all()


def test_a_seller_who_wavers_more_is_less_sure_of_everything_alike():
    prior = Ordinal(
        (4.0, -2.0, 0.0), (-4.0, 0.0, 6.0)
    )  # four times as sure as the simulated seller
    x, rung = _simulated(150, 6)
    fit = fit_ordinal(x, rung, 4, prior=prior, strength=50.0, cut_strength=50.0, scale_prior_sd=1.5)
    sure = np.array(fit.coefficients[:2]) / prior.coefficients[:2]
    assert sure == pytest.approx([0.25, 0.25], abs=0.12)
    held = fit_ordinal(x, rung, 4, prior=prior, strength=50.0, cut_strength=50.0)
    assert held.coefficients[0] > 1.5 * fit.coefficients[0]
