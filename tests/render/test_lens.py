"""From the photo to the table and back."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.render.lens import View, draw_view

SEEDS = st.integers(0, 2**32 - 1)


@settings(deadline=None, max_examples=40)
@given(SEEDS)
def test_there_and_back_is_the_same_place(seed):
    rng = np.random.default_rng(seed)
    view = draw_view(rng, 1200, 900)
    points = rng.uniform((0, 0), (1200, 900), (50, 2))
    assert np.abs(view.to_photo(view.to_table(points)) - points).max() < 0.02


@settings(deadline=None, max_examples=10)
@given(SEEDS)
def test_the_grid_agrees_with_its_points(seed):
    view = draw_view(np.random.default_rng(seed), 640, 480)
    x, y = view.table_grid((100, 50, 300, 200))
    points = np.array([[100, 50], [251, 133], [399, 249]])
    on_grid = np.array([[x[py - 50, px - 100], y[py - 50, px - 100]] for px, py in points])
    assert np.abs(on_grid - view.to_table(points)).max() < 0.05


def test_straight_down_without_distortion_the_table_is_the_photo():
    view = View(200, 100, 300.0, np.eye(3), 0.0)
    assert np.allclose(view.to_table(np.array([[0, 0], [150, 80]])), [[-100, -50], [50, 30]])
    assert view.scale_at(np.array([20.0, 10.0])) == 1.0


def test_a_camera_straight_above_sees_the_middle_along_the_normal():
    view = View(200, 100, 300.0, np.eye(3), 0.0)
    assert np.allclose(view.towards_camera(np.array([0.0, 0.0])), [0, 0, 1])
    assert np.allclose(view.towards_camera(np.array([300.0, 0.0])), [-(0.5**0.5), 0, 0.5**0.5])
