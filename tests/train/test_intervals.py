"""The width of a share's interval: it must hold what it promises, and be no wider than needed."""

import numpy as np
import pytest

from grader.face.regions.intervals import LEAST_LIGHT_SD, lit_doubt
from grader.render import TRAINING
from grader.train.intervals import errors_and_doubts, fit_half_width


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


def test_a_light_known_badly_widens_and_one_known_well_narrows_nothing():
    assert lit_doubt(0.1, 2 * LEAST_LIGHT_SD) == pytest.approx(0.2)
    assert lit_doubt(0.1, 1.0) == lit_doubt(0.1, LEAST_LIGHT_SD) == 0.1


@pytest.mark.slow
def test_a_render_gives_errors_and_doubts():
    pairs = next(p for k in range(5) if (p := errors_and_doubts(3, k, TRAINING)))
    assert all(0 <= error <= 1 and doubt >= 0 for error, doubt in pairs)
