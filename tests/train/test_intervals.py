"""The width of a share's interval: it must hold what it promises, and be no wider than needed."""

import numpy as np
import pytest

from grader.train.intervals import fit_half_width


def test_the_fitted_width_holds_the_promised_share_of_errors():
    rng = np.random.default_rng(0)
    doubts = rng.random(4000) * 0.1
    errors = np.abs(rng.normal(0, 0.01 + doubts))
    base, slope = fit_half_width(errors, doubts)
    assert (errors <= base + slope * doubts).mean() == pytest.approx(0.95, abs=0.005)
    # The normal law's 1.96 spreads: 0.0196 and 1.96, had the two been told apart exactly.
    assert 1.0 < slope < 3.0


def test_without_any_use_of_the_doubt_the_width_is_a_plain_quantile():
    errors = np.arange(1, 101) / 100.0
    base, slope = fit_half_width(errors, np.zeros(100))
    assert base == pytest.approx(0.96, abs=0.011)
    assert slope == 0
