"""Continuity of bands by its one definition, on hand-made faces."""

import numpy as np
import pytest

from grader.render.bands import Course, Stripes, band_truth
from grader.render.truth import BLUE, WHITE

SIDE = 400
U, V = np.meshgrid(
    np.linspace(-1, 1, SIDE, dtype=np.float32), np.linspace(-1, 1, SIDE, dtype=np.float32)
)
EDGES = np.linspace(-1.2, 1.2, 13)  # bands 0.2 radii thick
KINDS = np.where(np.arange(12) % 2, WHITE, BLUE).astype(np.uint8)
STRIPES = Stripes(EDGES, KINDS, np.zeros(12), np.zeros(12))


def truth(t, block=None, offsets=(), gaps=None):
    course = Course(t, np.zeros(t.shape, np.uint8) if block is None else block, offsets, 0.0)
    classes = KINDS[np.clip(np.searchsorted(EDGES, t, side="right") - 1, 0, 11)]
    if gaps is not None:
        classes = np.where(gaps, np.uint8(3), classes)
    return band_truth(course, STRIPES, U, V, classes, 0.02, SIDE / 2)


def test_bands_right_across_are_whole():
    measured = truth(V)
    assert measured.continuity == pytest.approx(1.0, abs=0.02)
    assert measured.fill_share == pytest.approx(1.0)
    assert measured.thickness_px == pytest.approx(0.2 * SIDE / 2)
    assert 10 <= measured.bands <= 12


def test_a_gap_ends_a_run():
    """A gap over the middle fifth leaves two runs of two fifths."""
    measured = truth(V, gaps=np.abs(U) < 0.2)
    assert measured.continuity == pytest.approx(0.4, abs=0.03)
    assert measured.fill_share == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize("throw, continuity", [(0.10, 0.5), (0.05, 1.0)])
def test_a_fault_ends_a_run_from_35_percent_of_the_thickness(throw, continuity):
    right = U > 0
    measured = truth(V + np.float32(throw) * right, right.astype(np.uint8), (throw,))
    assert measured.continuity == pytest.approx(continuity, abs=0.04)
    assert measured.offsets == pytest.approx((throw / 0.2,))


def test_where_a_fault_throws_bands_is_written_down_once_for_each():
    # Ten bands 40 px thick cross the fault in the middle, thrown by half a thickness, 20 px.
    right = U > 0
    measured = truth(V + np.float32(0.10) * right, right.astype(np.uint8), (0.10,))
    assert 9 <= len(measured.breaks) <= 12
    for x, _, throw_px, throw in measured.breaks:
        assert x == pytest.approx(SIDE / 2, abs=4)
        assert throw_px == pytest.approx(20)
        assert throw == pytest.approx(0.5)
    assert truth(V).breaks == ()
