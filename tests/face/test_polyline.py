"""Polylines and rims against plain geometry and numbers counted by hand."""

import numpy as np
import pytest

from grader.face.lines.polyline import (
    across,
    at_px,
    length_px,
    pieces,
    px_below_half,
    resample,
    resample_within,
    tangents,
    width_at_half,
)
from grader.face.outline import rim

#: 50 px straight, then 10 px to one side.
BENT = np.array([[0.0, 0.0], [30.0, 40.0], [30.0, 50.0]])


def gaps(points):
    return np.hypot(*np.diff(points, axis=0).T)


def test_resampled_points_are_a_px_apart():
    steps = gaps(resample(BENT))
    assert len(steps) == 60
    assert np.allclose(steps, 1, atol=0.02)


@pytest.mark.parametrize("most", [0.7, 1.0, 3.0])
def test_resampled_within_a_distance_no_two_points_lie_farther_apart(most):
    points = resample_within(BENT, most)
    assert gaps(points).max() <= most
    np.testing.assert_array_equal(points[[0, -1]], BENT[[0, -1]])


def test_pieces_lie_in_the_middles_of_equal_parts_of_each_edge():
    middles, lengths = pieces(BENT, 20)
    # 50 px are three pieces of 16.67, 10 px are one.
    np.testing.assert_allclose(lengths, [50 / 3, 50 / 3, 50 / 3, 10])
    np.testing.assert_allclose(middles, [[5, 20 / 3], [15, 20], [25, 100 / 3], [30, 45]])
    assert lengths.sum() == pytest.approx(length_px(BENT))


def test_across_is_square_to_the_line_the_same_side_all_along():
    level = np.column_stack([np.arange(5.0), np.zeros(5)])
    x, y = across(level, tangents(level), np.array([-2.0, 0.0, 3.0]))
    np.testing.assert_allclose(x, level[:, :1] * np.ones(3))
    np.testing.assert_allclose(y, np.tile([-2.0, 0.0, 3.0], (5, 1)))


def test_beyond_the_edge_the_edge_is_read():
    values = np.arange(6).reshape(2, 3)
    x, y = np.array([-9.0, 1.4, 99.0]), np.array([0.0, 0.6, 99.0])
    assert at_px(values, x, y).tolist() == [0, 4, 5]


def test_widths_of_a_valley_by_hand():
    # From 60 down to 20 and up to 50: half of the depth to the lower side is 35.
    valley = np.array([60.0, 60, 60, 60, 20, 50, 50, 50, 50])
    assert width_at_half(valley) == pytest.approx(15 / 40 + 15 / 30)
    assert px_below_half(valley) == 1
    assert width_at_half(np.arange(9.0)) == 1
    # Three px of 10 between 50: half at 30, half a px beyond each side.
    broad = np.array([50.0, 50, 50, 10, 10, 10, 50, 50, 50])
    assert (width_at_half(broad), px_below_half(broad)) == (pytest.approx(3.0), 3)


def test_rims_keep_the_equations_of_oval_and_rectangle():
    x, y = rim("oval", (8, 6), 40).T
    np.testing.assert_allclose((x / 4) ** 2 + (y / 3) ** 2, 1)
    x, y = rim("rectangle", (8, 6), 40).T
    np.testing.assert_allclose(np.maximum(abs(x) / 4, abs(y) / 3), 1)
