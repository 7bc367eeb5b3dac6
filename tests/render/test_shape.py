"""Outlines and relief."""

import numpy as np
import pytest

from grader.render.shape import fill, outline, slopes, swell


@pytest.mark.parametrize("kind", ["cab", "slab", "chunk"])
def test_an_outline_has_the_area_of_the_unit_circle_around_its_middle(kind):
    for seed in range(8):
        x, y = outline(np.random.default_rng(seed), kind).T
        cross = x * np.roll(y, -1) - np.roll(x, -1) * y
        assert abs(cross.sum()) / 2 == pytest.approx(np.pi)
        assert ((x + np.roll(x, -1)) * cross).sum() == pytest.approx(0, abs=1e-9)


def test_fill_covers_the_area_of_a_polygon():
    square = np.array([[9.5, 9.5], [29.5, 9.5], [29.5, 19.5], [9.5, 19.5]])
    assert fill(square, (40, 40)).sum() == pytest.approx(200, rel=0.06)


def test_the_skin_of_an_ellipse_is_one_minus_r_squared():
    """Poisson's equation with a constant right side on an ellipse: exact solution."""
    a = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    skin = swell(np.stack([150 + 120 * np.cos(a), 110 + 80 * np.sin(a)], 1), (220, 300))
    ys, xs = np.mgrid[0:220, 0:300]
    exact = np.maximum(1 - ((xs - 150) / 120) ** 2 - ((ys - 110) / 80) ** 2, 0)
    assert np.abs(skin - exact).max() < 0.05


def test_a_plane_has_the_slope_that_it_has():
    xs = np.tile(np.arange(20, dtype=np.float32), (20, 1))
    nx, ny = slopes(xs * 0.75)
    assert nx[10, 10] == pytest.approx(-0.6)  # normal of slope 3/4: (-3/5, 0, 4/5)
    assert ny[10, 10] == pytest.approx(0)
