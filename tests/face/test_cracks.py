"""Lines on drawn faces: what is one, what is none, and how long it is."""

import cv2
import numpy as np
import pytest
from skimage import data

from grader.face.face import Face
from grader.face.lines.cracks import find_cracks
from grader.face.measurements import Regions

SIZE = 400


def surface(lightness=70.0, chroma_b=-6.0, seed=0):
    """A plain face with the noise of a phone photo, as L*, a*, b*."""
    lab = np.zeros((SIZE, SIZE, 3), np.float32)
    lab[..., 0], lab[..., 2] = lightness, chroma_b
    return lab + np.random.default_rng(seed).normal(0, 0.5, lab.shape).astype(np.float32)


def drawn(lab, points, width_px, lightness, colour=None, closed=False):
    """Draw a soft-edged line of that lightness; without a colour it fades what lies below, as a
    shadow does.
    """
    cover = np.zeros(lab.shape[:2], np.uint8)
    cv2.polylines(cover, [np.array(points, np.int32)], closed, 255, width_px, cv2.LINE_AA)
    share = cv2.GaussianBlur(cover.astype(np.float32) / 255, (0, 0), 0.7)[..., None]
    target = (
        lab * (lightness + 16) / (lab[..., :1] + 16)
        if colour is None
        else np.zeros_like(lab) + colour
    )
    target[..., 0] = lightness
    return (lab * (1 - share) + target * share).astype(np.float32)


def lines_of(lab, glare=None):
    y, x = np.mgrid[:SIZE, :SIZE] - SIZE / 2
    mask = np.hypot(x, y) < SIZE / 2 - 5
    codes = mask.astype(np.uint8)
    if glare is not None:
        codes[mask & glare] = 9
    return find_cracks(
        Face(np.zeros_like(lab), lab, mask, 1.0, (0.0, 0.0)), Regions(codes, {}, {}, {}, 0.0)
    )


def cracks_of(lab, glare=None):
    return [line for line in lines_of(lab, glare) if line.kind == "crack"]


@pytest.mark.parametrize("width_px", [2, 3, 5, 8])
@pytest.mark.parametrize(
    "points",
    [
        [(90, 120), (190, 200), (300, 260)],
        [(200, 80), (207, 150), (195, 230), (202, 310)],
        [(80, 200), (170, 180), (240, 230), (320, 215)],
    ],
)
def test_a_dark_line_is_a_crack_with_its_length(points, width_px):
    found = cracks_of(drawn(surface(), points, width_px, 35))
    assert len(found) == 1
    true_length = np.hypot(*np.diff(np.array(points, float), axis=0).T).sum()
    assert found[0].length_px == pytest.approx(true_length, rel=0.05 if width_px <= 5 else 0.1)
    assert 0.5 <= found[0].probability <= 1


@pytest.mark.parametrize("width_px", [2, 3, 5, 8])
def test_a_single_straight_line_can_be_a_crack(width_px):
    found = cracks_of(drawn(surface(), [(90, 120), (300, 260)], width_px, 35))
    assert sum(line.length_px for line in found) == pytest.approx(np.hypot(210, 140), rel=0.15)


@pytest.mark.parametrize("width_px", [2, 3, 5, 8])
def test_the_width_is_that_at_half_depth(width_px):
    lab = surface()
    # Stone does not break along a ruler.
    for x in range(80, 320):
        y = 200 + round(4 * np.sin(x / 30) + 2 * np.sin(x / 9))
        lab[y : y + width_px, x] -= np.float32([35, 0, 0])
    longest = cracks_of(cv2.GaussianBlur(lab, (0, 0), 0.7))[0]
    assert longest.length_px > 150
    assert longest.width_px == pytest.approx(width_px, abs=0.5)


def test_a_line_runs_through_the_middle_of_its_px():
    # Columns 199 to 201 are dark: they span 199 to 202.
    upright = cracks_of(drawn(surface(), [(200, 80), (200, 310)], 3, 35))[0]
    level = cracks_of(drawn(surface(), [(80, 200), (310, 200)], 3, 35))[0]
    assert upright.points[:, 0].mean() == pytest.approx(200.5, abs=0.25)
    assert level.points[:, 1].mean() == pytest.approx(200.5, abs=0.25)


def test_points_lie_on_the_line_drawn():
    (found,) = cracks_of(drawn(surface(), [(90, 120), (300, 260)], 3, 35))
    x, y = found.points.T
    assert np.abs((y - 120) * 210 - (x - 90) * 140).max() / np.hypot(210, 140) < 2


def test_a_plain_face_has_no_line():
    assert lines_of(surface()) == ()


@pytest.mark.parametrize("turn", [0, 1])
def test_a_border_between_two_colours_is_a_step_and_no_line(turn):
    lab = surface()
    lab[:200] += np.float32([-30, 0, -25])
    lab = cv2.GaussianBlur(lab, (0, 0), 1.0)
    assert lines_of(np.rot90(lab, turn).copy()) == ()


def test_a_pale_seam_is_no_crack():
    assert cracks_of(drawn(surface(55), [(90, 120), (300, 260)], 3, 85)) == []


def test_a_round_hole_is_no_crack():
    lab = surface()
    cv2.circle(lab, (200, 200), 9, (20, 0, -2), -1, cv2.LINE_AA)
    assert cracks_of(lab) == []


def test_thin_blue_bands_are_no_cracks():
    lab, bands = surface(80, -3), range(90, 320, 16)
    for y in bands:
        lab = drawn(lab, [(20, y), (380, y + 6)], 4, 52, colour=(52, 3, -34))
    assert sum(line.length_px for line in cracks_of(lab)) < 0.02 * 360 * len(bands)


@pytest.mark.parametrize("width_px", [6, 8, 10])
def test_a_gaping_crack_is_seen_by_the_second_look(width_px):
    found = cracks_of(drawn(surface(), [(90, 120), (300, 260)], width_px, 30))
    assert sum(line.length_px for line in found) == pytest.approx(252, rel=0.15)


def test_a_set_of_saw_marks_is_no_set_of_cracks():
    lab = surface()
    for y in range(80, 330, 14):
        lab = drawn(lab, [(20, y), (380, y)], 2, 62)
    assert cracks_of(lab) == []


def test_the_rim_is_no_line():
    y, x = np.mgrid[:SIZE, :SIZE] - SIZE / 2
    lab = surface()
    lab[np.abs(np.hypot(x, y) - 193) < 2.5] -= np.float32([35, 0, 0])
    assert lines_of(lab) == ()


def test_the_edge_of_glare_is_no_line():
    y, x = np.mgrid[:SIZE, :SIZE] - SIZE / 2
    lab, spot = surface(), np.hypot(x, y) < 40
    lab[spot] = (100, 0, 0)
    lab[~spot & (np.hypot(x, y) < 43)] -= np.float32([20, 0, 0])
    assert lines_of(lab, glare=spot) == ()


def test_a_crack_across_a_band_border_stays_one_line():
    lab = surface()
    lab[200:] += np.float32([-25, 0, -25])
    lab = drawn(cv2.GaussianBlur(lab, (0, 0), 0.8), [(150, 90), (250, 310)], 3, 15)
    found = cracks_of(lab)
    assert sum(line.length_px for line in found) == pytest.approx(np.hypot(100, 220), rel=0.08)


@pytest.mark.slow
def test_turning_the_face_keeps_the_crack():
    lab = drawn(surface(), [(90, 120), (210, 160), (300, 260)], 3, 35)
    lengths = [cracks_of(np.rot90(lab, turns).copy())[0].length_px for turns in range(4)]
    assert max(lengths) - min(lengths) < 0.03 * max(lengths)


def test_an_empty_or_tiny_face_gives_nothing():
    lab = surface()
    codes = np.zeros((SIZE, SIZE), np.uint8)
    face = Face(np.zeros_like(lab), lab, codes > 0, 1.0, (0.0, 0.0))
    assert find_cracks(face, Regions(codes, {}, {}, {}, 0.0)) == ()
    tiny = Face(np.zeros((7, 5, 3)), surface()[:7, :5], np.ones((7, 5), bool), 1.0, (0.0, 0.0))
    assert find_cracks(tiny, Regions(np.ones((7, 5), np.uint8), {}, {}, {}, 0.0)) == ()


@pytest.mark.parametrize("name", ["coins", "grass", "brick", "gravel"])
def test_photographs_that_scikit_image_ships_get_no_crack(name):
    """Outside: public pictures of scikit-image, without a download; joints, blades and rims, and no crack in a stone.

    By ``check --whole`` none either; there it calls up to four short lines patterns.
    """
    grey = getattr(data, name)()
    rgb = np.dstack([grey] * 3)[:320, :320]
    lab = cv2.cvtColor(rgb.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    everywhere = np.ones(grey[:320, :320].shape, bool)
    face = Face(np.zeros_like(lab), lab, everywhere, 1.0, (0.0, 0.0))
    found = find_cracks(face, Regions(everywhere.astype(np.uint8), {}, {}, {}, 0.0))
    assert [line.length_px for line in found if line.kind == "crack"] == []
