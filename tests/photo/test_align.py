"""How one picture is laid over another, held against homographies that are known."""

import cv2
import numpy as np
import pytest

from grader.photo.align import COARSE, FINE, align, correlation, find_keypoints


def picture(seed: int, side: int = 360, smooth_px: float = 2.0):
    """Bands and blots, L* 20 to 90, (side, side)."""
    rng = np.random.default_rng(seed)
    blots = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), smooth_px)
    broad = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), 12)
    bands = np.sin(np.linspace(0, 30, side)[:, None] + 40 * broad)
    return np.float32(np.clip(55 + 15 * bands + 8 * blots / blots.std(), 20, 90))


def tilted(turn_deg: float, side: int = 360):
    """A turn about the middle, a shift and a little perspective, for px whose centre is at a half."""
    turn = np.eye(3)
    turn[:2] = cv2.getRotationMatrix2D((side / 2, side / 2), turn_deg, 0.95)
    return np.array([[1, 0, 6.5], [0, 1, -3.25], [1e-4, -6e-5, 1]]) @ turn


def laid(lightness, matrix):
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    at_centres = np.linalg.inv(half) @ matrix @ half
    return cv2.warpPerspective(
        lightness, at_centres, lightness.shape[::-1], flags=cv2.INTER_CUBIC, borderValue=50
    )


@pytest.mark.parametrize("turn_deg", [0, 4, 90, 180])
def test_places_lie_within_a_px_of_the_true_ones_at_any_turn_under_another_lamp(turn_deg):
    first, matrix = picture(1), tilted(turn_deg)
    rng = np.random.default_rng(2)
    lamp = 1.2 - 0.5 * np.linspace(0, 1, 360)[None, :]  # light falls off to the right
    other = laid(first, matrix) * lamp + rng.normal(0, 1, first.shape)
    cv2.circle(other, (200, 150), 40, 100, -1)  # and is mirrored in the middle
    found = align(find_keypoints(first), find_keypoints(np.float32(other)))
    points = np.argwhere(np.ones((10, 10)))[:, ::-1] * 30.0 + 40
    error_px = found.to_other(points) - cv2.perspectiveTransform(points[None], matrix)[0]
    assert np.median(np.linalg.norm(error_px, axis=1)) < 0.5
    assert np.linalg.norm(error_px, axis=1).max() < 2
    assert found.error_px < 1


def test_a_smooth_picture_is_found_by_its_coarse_places():
    first, matrix = picture(3, smooth_px=9.0), tilted(6)
    found = align(
        find_keypoints(first, size=COARSE), find_keypoints(laid(first, matrix), size=COARSE)
    )
    points = np.array([[100.0, 100.0], [250.0, 90.0], [180.0, 260.0]])
    error_px = found.to_other(points) - cv2.perspectiveTransform(points[None], matrix)[0]
    assert np.abs(error_px).max() < 1.5


def test_what_is_not_looked_at_gives_no_places():
    where = np.zeros((360, 360), bool)
    where[100:200, 50:150] = True
    for size in (FINE, COARSE):
        x, y = find_keypoints(picture(4), where, size).points.T
        assert x.min() > 49 and x.max() < 151 and y.min() > 99 and y.max() < 201


@pytest.mark.parametrize("other", [picture(6), np.full((360, 360), 50, np.float32), -picture(5)])
def test_another_picture_an_empty_one_and_a_negative_are_not_aligned(other):
    assert align(find_keypoints(picture(5)), find_keypoints(other)) is None


def test_a_mirrored_picture_is_not_aligned():
    first = picture(7)
    assert (
        align(find_keypoints(first), find_keypoints(np.ascontiguousarray(first[:, ::-1]))) is None
    )


def test_correlation_is_one_with_itself_under_another_light_and_none_with_another():
    first, where = picture(8), np.ones((360, 360), bool)
    assert correlation(first, 0.6 * first + 20, where) > 0.98
    assert abs(correlation(first, picture(9), where)) < 0.2
    assert correlation(first, first, ~where) == 0
