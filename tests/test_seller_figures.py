"""The measures of the seller benchmark against published values and scikit-learn."""

import numpy as np
import pytest
from seller_figures import brier
from sellers import SELLERS, Sorting, ideal_sets
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


@pytest.mark.parametrize("seller", SELLERS, ids=lambda s: s.name)
def test_a_seller_repeats_himself_and_shares_out_the_grades_as_he_should(seller):
    rng = np.random.default_rng(3)
    rows = [
        {
            "blue_share": rng.random(), "blue_chroma": rng.gamma(4, 5), "scene_score": 100 * rng.random(),
            "crack_density": rng.exponential(0.5), "host_share": rng.random(),
        }
        for _ in range(2000)
    ]  # fmt: skip
    sorting = Sorting(seller, rows)
    first, second = sorting.call(rows, rng), sorting.call(rows, rng)
    assert (first.called == second.called).mean() == pytest.approx(seller.repeats, abs=0.03)
    assert 0.65 <= seller.repeats <= 0.85  # As tests/benchmarks/README.md says.
    assert np.bincount(first.exact, minlength=4) / 2000 == pytest.approx(seller.shares, abs=0.01)
    assert first.chances.sum(axis=1) == pytest.approx(1)
