import numpy as np
import pytest

from grader.grading.features.scaling import fit_scaling

ROWS = [{"a": 1.0, "b": 4.0}, {"a": 3.0, "b": None}, {"a": 5.0, "b": 6.0}, {"a": 3.0, "b": 2.0}]


def test_columns_are_standardised():
    x = fit_scaling(ROWS, ("a", "b")).design(ROWS)
    assert x.mean(axis=0) == pytest.approx(0, abs=1e-6)
    assert x.std(axis=0) == pytest.approx(1, abs=1e-5)


def test_what_is_not_there_counts_as_nothing_of_it():
    scaling = fit_scaling(ROWS, ("a", "b"))
    # 4, 0, 6 and 2.
    assert scaling.mean == (3.0, 3.0)
    assert scaling.design([{"a": 3.0}]).tolist() == scaling.design([{"a": 3.0, "b": 0.0}]).tolist()


def test_a_feature_that_never_varies_stands_still():
    scaling = fit_scaling([{"a": 1.0}, {"a": 2.0}], ("a", "c"))
    assert scaling.design([{"a": 1.0}])[0, 1] == 0.0


def test_no_single_odd_number_carries_a_face_away():
    assert np.abs(fit_scaling(ROWS, ("a", "b")).design([{"a": 1e9, "b": -1e9}])).max() == 3.0
