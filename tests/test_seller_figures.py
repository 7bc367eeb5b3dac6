"""The measures of the seller benchmark against published values and scikit-learn."""

from dataclasses import replace

import numpy as np
import pytest
from ridge import STRENGTHS, ridge_rungs
from seller_figures import brier
from sellers import MAKES, REPEATS, Sorting, draw_seller, ideal_sets
from sklearn.linear_model import Ridge
from sklearn.metrics import brier_score_loss


def test_brier_score():
    # y 0 1 1 0, p .1 .9 .8 .3 gives 0.0375: Brier 1950, the example in scikit-learn's documentation.
    assert brier([0.1, 0.9, 0.8, 0.3], [0, 1, 1, 0]) == pytest.approx(0.0375)
    rng = np.random.default_rng(0)
    p, y = rng.random(200), rng.random(200) < 0.4
    assert brier(p, y) == pytest.approx(brier_score_loss(y, p))


def test_ideal_sets_hold_neighbours_alone():
    chances = np.array(
        [[0.95, 0.05, 0, 0], [0.5, 0.0, 0.0, 0.5], [0.1, 0.8, 0.1, 0], [0.05, 0.45, 0.45, 0.05]]
    )
    assert ideal_sets(chances).tolist() == [1, 4, 2, 2]


def _rows(rng, n=2000):
    return [
        {
            "blue_share": rng.random(), "blue_chroma": rng.gamma(4, 5), "scene_score": 100 * rng.random(),
            "crack_density": 1.8 * rng.random(), "host_share": 0.85 * rng.random(), "white_share": 0.75 * rng.random(),
            "continuity": rng.random(), "fill_share": rng.random(), "band_contrast": 45 * rng.random(),
            "bands": float(rng.integers(0, 30)),
        }
        for _ in range(n)
    ]  # fmt: skip


@pytest.mark.parametrize("make", MAKES)
def test_a_seller_repeats_himself_and_shares_out_the_grades_as_he_should(make):
    rng = np.random.default_rng(3)
    rows = _rows(rng)
    seller = replace(draw_seller(make, rng), slips=0.0, strictness=0.0)
    sorting = Sorting(seller, rows)
    calls = sorting.call(rows, rng)
    assert (calls.called == calls.again).mean() == pytest.approx(seller.repeats, abs=0.03)
    assert REPEATS[0] <= seller.repeats <= REPEATS[1]
    assert np.bincount(calls.exact, minlength=4) / 2000 == pytest.approx(seller.shares, abs=0.01)
    assert calls.chances.sum(axis=1) == pytest.approx(1)
    # By simulation: as often called each grade as the chances say.
    shares = np.bincount(calls.called, minlength=4) / 2000
    assert shares == pytest.approx(calls.chances.mean(axis=0), abs=0.03)


def test_slips_and_shifting_days_make_him_repeat_himself_less():
    rng = np.random.default_rng(5)
    rows = _rows(rng)
    plain = replace(draw_seller("weighs", rng), slips=0.0)
    often = [
        np.mean(calls.called == calls.again)
        for seller in (plain, replace(plain, slips=0.1), replace(plain, strictness=0.5))
        for calls in [Sorting(seller, rows).call(rows, rng)]
    ]
    assert often[1] < often[0] - 0.05 and often[2] < often[0] - 0.05


def test_ridge_is_scikit_learns_with_the_left_out_error_of_each_strength():
    """Outside values: sklearn.linear_model.Ridge, and leaving each face out in fact."""
    rng = np.random.default_rng(6)
    x, x_test = rng.normal(size=(30, 4)), rng.normal(size=(50, 4))
    rung = np.digitize(x @ [1.0, 0.5, 0, 0] + 0.3 * rng.normal(size=30), [-0.8, 0, 0.8])
    off = []
    for strength in STRENGTHS:
        errors = []
        for out in range(30):
            kept = np.arange(30) != out
            fit = Ridge(strength).fit(x[kept], rung[kept])
            errors.append(rung[out] - fit.predict(x[[out]])[0])
        off.append(np.mean(np.square(errors)))
    best = Ridge(STRENGTHS[int(np.argmin(off))]).fit(x, rung)
    shares = np.cumsum(np.bincount(rung, minlength=4))[:-1] / 30
    cuts = np.quantile(best.predict(x), shares)
    expected = np.searchsorted(cuts, best.predict(x_test))
    assert np.mean(ridge_rungs(x, rung, x_test, 4) == expected) > 0.97
