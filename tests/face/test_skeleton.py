"""Thinning and paths on shapes whose middle lines are known."""

import cv2
import numpy as np
import pytest

from grader.face.lines.polyline import length_px, smooth
from grader.face.lines.skeleton import paths, thin


def drawn(*lines, size=120, width=7):
    mask = np.zeros((size, size), np.uint8)
    for start, end in lines:
        cv2.line(mask, start, end, 1, width)
    return mask > 0


@pytest.mark.parametrize("end", [(100, 20), (100, 100), (20, 100), (100, 60)])
def test_a_bar_thins_to_one_line_along_its_middle(end):
    (path,) = paths(thin(drawn(((20, 20), end))), 5, 8)
    assert path.free == (True, True)
    along = np.array(end) - (20, 20)
    off = (path.points[:, 0] - 20) * along[1] - (path.points[:, 1] - 20) * along[0]
    assert np.abs(off).max() / np.hypot(*along) < 2.5
    assert length_px(smooth(path.points, 9)) == pytest.approx(np.hypot(*along), abs=9)


def test_a_ring_stays_closed():
    mask = np.zeros((120, 120), np.uint8)
    cv2.circle(mask, (60, 60), 40, 1, 7)
    skeleton = thin(mask > 0)
    (path,) = paths(skeleton, 5, 8)
    assert tuple(path.points[0]) == tuple(path.points[-1])
    assert length_px(smooth(path.points, 9)) == pytest.approx(2 * np.pi * 40, rel=0.06)


def test_what_is_joined_stays_joined():
    noise = cv2.GaussianBlur(np.random.default_rng(2).normal(size=(200, 200)), (0, 0), 3) > 0
    parts, _ = cv2.connectedComponents(noise.astype(np.uint8))
    thinned, _ = cv2.connectedComponents(thin(noise).astype(np.uint8))
    assert thinned == parts


def test_two_crossing_lines_go_straight_on():
    found = paths(thin(drawn(((10, 60), (110, 60)), ((60, 10), (60, 110)), width=3)), 4, 8)
    assert sorted(round(length_px(path.points), -1) for path in found) == [100, 100]


def test_a_short_spur_is_dropped_and_a_long_branch_kept():
    lines = ((10, 60), (110, 60)), ((60, 60), (60, 45))
    assert len(paths(thin(drawn(*lines, width=1)), 20, 8)) == 1
    assert len(paths(thin(drawn(*lines, width=1)), 8, 8)) == 2
