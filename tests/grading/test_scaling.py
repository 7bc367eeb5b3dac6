import numpy as np
import pytest

from grader.grading.scaling import fit_scaling

ROWS = [
    {"a": 1.0, "area_cm2": 5.0, "b": 4.0},
    {"a": 3.0, "area_cm2": None, "b": None},
    {"a": 5.0, "area_cm2": 7.0, "b": 6.0},
    {"a": 3.0, "area_cm2": 9.0, "b": 8.0},
]
NAMES = ("a", "area_cm2", "b")


def test_columns_are_standardised_by_what_is_known():
    x = fit_scaling(ROWS, NAMES).design(ROWS)
    assert x[:, 0].mean() == pytest.approx(0, abs=1e-6)
    assert x[:, 0].std() == pytest.approx(1, abs=1e-5)
    assert x[[0, 2, 3], 2].std() == pytest.approx(1, abs=1e-5)


def test_what_wants_a_scale_is_filled_by_the_median_and_what_is_not_there_is_nothing():
    scaling = fit_scaling(ROWS, NAMES)
    assert scaling.fill == (0.0, 7.0, 0.0)
    assert scaling.design(ROWS)[1, 1] == 0.0
    # 0 lies 6 / 1.63 = 3.7 spreads below the mean of 4, 6 and 8; further than 3 counts as 3.
    assert scaling.design(ROWS)[1, 2] == -3.0


def test_missing_features_are_told():
    scaling = fit_scaling(ROWS, NAMES)
    assert scaling.columns == (*NAMES, "area_cm2 missing", "b missing")
    assert scaling.design(ROWS)[:, 3].tolist() == [0, 1, 0, 0]


def test_a_feature_that_no_face_has_stands_still():
    scaling = fit_scaling([{"a": 1.0}, {"a": 2.0}], ("a", "c"))
    assert scaling.told_missing == ()
    assert scaling.design([{"a": 1.0, "c": None}])[0, 1] == 0.0


def test_no_single_odd_number_carries_a_face_away():
    assert np.abs(fit_scaling(ROWS, NAMES).design([{"a": 1e9, "b": -1e9}])).max() == 3.0
