"""The width of a share's interval: it must hold what it promises, and be no wider than needed."""

import numpy as np
import pytest

from grader.face.regions.intervals import ShareEvidence
from grader.render import TRAINING
from grader.train.intervals import errors_and_evidence, fit_log_half_width


def test_the_fitted_width_holds_the_promised_share_of_errors_and_follows_what_widens_them():
    rng = np.random.default_rng(0)
    doubt = rng.uniform(0, 3, 8000)
    rows = np.column_stack([np.ones(8000), doubt, np.zeros((8000, 5))])
    errors = rng.laplace(0, 0.01 * np.exp(doubt))
    errors = np.minimum(np.abs(errors), 1)
    first = np.arange(8000) % 2 == 0
    weights = fit_log_half_width(rows, errors, first)
    assert (errors <= np.exp(rows @ weights)).mean() == pytest.approx(0.95, abs=0.01)
    # Laplace's law: 95 % lie within ln 20 scales, 0.03 at no doubt; and the scale grows as the doubt says.
    assert weights[1] == pytest.approx(1.0, abs=0.1)
    assert np.exp(weights[0]) == pytest.approx(0.01 * np.log(20), rel=0.15)


def test_where_nothing_tells_the_width_is_a_plain_quantile():
    errors = np.arange(1, 101) / 100.0
    rows = np.column_stack([np.ones(100), np.zeros((100, 6))])
    weights = fit_log_half_width(rows, errors, np.arange(100) % 2 == 0)
    # The ceil(51 * 0.95) = 49th of the fifty that set the level, 0.02, 0.04 ... : split conformal prediction.
    others = np.sort(errors[np.arange(100) % 2 == 1])
    assert np.exp(weights[0]) == pytest.approx(others[48])


def test_a_render_gives_errors_and_what_was_seen_of_each_share():
    pairs = next(p for k in range(5) if (p := errors_and_evidence(3, k, TRAINING)))
    assert all(0 <= error <= 1 and isinstance(seen, ShareEvidence) for error, seen in pairs)
    assert np.isfinite([seen.row() for _, seen in pairs]).all()
