"""Which drawn lines can be seen: contrasts set by hand, so that the answer is known beforehand."""

import cv2
import numpy as np
import pytest

from grader.render import render_photo
from grader.render.sight import (
    LEAST_CONTRAST_L,
    draw_seen,
    lightness_of,
    line_contrast,
    seen_points,
)
from grader.render.stroke import Stroke, seen_truth
from grader.render.truth import CRACK, FAINT, LINE_CODES, PATTERN_LINE

LINE = np.stack([np.arange(10, 90, 2.0), np.full(40, 30.0)], 1)
WIDTHS = np.full(40, 4.0)
ALL = np.ones(40, bool)


def surface(line_l=60.0, above=60.0, below=60.0):
    lightness = np.full((60, 100), above, np.float32)
    lightness[31:] = below
    lightness[28:33, 8:92] = line_l
    return lightness


@pytest.mark.parametrize(("line_l", "contrast"), [(50, 10), (72, 12), (58, 2)])
def test_the_contrast_of_a_valley_or_a_ridge_is_its_depth(line_l, contrast):
    found = line_contrast(surface(line_l), LINE, WIDTHS, ALL)
    np.testing.assert_allclose(found, contrast, atol=0.01)


def test_between_unlike_sides_the_less_different_one_counts():
    found = line_contrast(surface(50, above=60, below=54), LINE, WIDTHS, ALL)
    np.testing.assert_allclose(found, 4, atol=0.01)


def test_a_step_is_no_line():
    found = line_contrast(surface(50, above=60, below=40), LINE, WIDTHS, ALL)
    assert (found == 0).all()


def test_turning_the_photo_changes_no_contrast():
    rng = np.random.default_rng(0)
    light = surface(50) + rng.normal(0, 3, (60, 100)).astype(np.float32)
    turned = line_contrast(np.ascontiguousarray(light.T), LINE[:, ::-1], WIDTHS, ALL)
    np.testing.assert_allclose(turned, line_contrast(light, LINE, WIDTHS, ALL), atol=1e-3)


def test_a_line_that_fades_out_is_seen_as_far_as_it_shows():
    light = surface(50)
    light[:, 50:] = 60
    visible = seen_points(light, LINE, WIDTHS)
    assert visible[:15].all()
    assert not visible[-15:].any()


def test_noise_on_a_bare_surface_is_no_line():
    # A phone's noise, 3 L* at each px: the mean over a window is far below the limit.
    light = 60 + np.random.default_rng(1).normal(0, 3, (60, 100)).astype(np.float32)
    assert seen_points(light, LINE, np.full(40, 1.2)).mean() < 0.1


def test_what_does_not_lie_on_the_stone_is_not_seen():
    on = np.arange(40) < 20
    assert seen_points(surface(20), LINE, WIDTHS, on).tolist() == on.tolist()


def test_lightness_of_grey_by_the_definition():
    # CIE 15:2018, L* = 116 Y^(1/3) - 16: sRGB 119 is a luminance of 0.184, L* 50.0.
    assert lightness_of(np.full((1, 1, 3), 119, np.uint8))[0, 0] == pytest.approx(50.0, abs=0.2)


def test_faint_parts_are_marked_and_what_shows_lies_over_them():
    across = np.stack([np.full(20, 50.0), np.arange(10, 50, 2.0)], 1)
    strokes = (
        Stroke(LINE, WIDTHS, "crack", "tight", 0.6),
        Stroke(across, WIDTHS[:20], "healed", "pale", 0.6),
        Stroke(LINE + 9, WIDTHS, "hair", "dark", 0.6),
    )
    layer = np.zeros((60, 100), np.uint8)
    layer[:, 49:52], layer[29:32] = PATTERN_LINE, CRACK
    visible = [np.arange(40) < 10, np.ones(20, bool), None]
    truth = seen_truth(layer, strokes, visible)
    assert truth[30, 12] == CRACK
    assert truth[30, 80] == FAINT
    assert truth[30, 50] == truth[15, 50] == PATTERN_LINE
    assert (truth[layer == 0] == 0).all()
    assert (seen_truth(layer, strokes, [np.ones(40, bool), *visible[1:]]) == layer).all()


def test_in_a_dim_and_blurred_photo_fewer_of_the_same_lines_show():
    shares = []
    for blur_px in (0.5, 4.0):
        drawn = render_photo(
            np.random.default_rng(2), width_px=400, height_px=300, stones=1, kind="slab",
            cracks=4, healed=3, fill=0.5, blur_px=blur_px,
        )  # fmt: skip
        shares.append([line.seen_share for line in drawn.lines if line.kind in LINE_CODES])
        assert all(line.seen_share is None for line in drawn.lines if line.kind not in LINE_CODES)
    assert np.mean(shares[1]) < np.mean(shares[0])
    assert LEAST_CONTRAST_L == 3.0


def test_the_layer_of_a_photo_with_no_faint_line_is_as_drawn():
    drawn = render_photo(
        np.random.default_rng(5), width_px=300, height_px=240, stones=1, kind="slab", cracks=3,
        healed=0, pattern="all white", state="dry", blur_px=0.3, fill=0.5, strays=False,
    )  # fmt: skip
    cracks = [line for line in drawn.lines if line.kind == "crack"]
    middle = np.zeros(drawn.cracks.shape, np.uint8)
    for line in cracks:
        cv2.polylines(middle, [np.round(line.points).astype(np.int32)], False, 1, 1)
    on = (middle > 0) & (drawn.pieces > 0)
    visible_share = (drawn.cracks[on] == CRACK).mean()
    assert visible_share == pytest.approx(np.mean([line.seen_share for line in cracks]), abs=0.2)


def test_only_stretches_whose_both_ends_are_seen_are_drawn_at_their_width():
    layer, visible = np.zeros((60, 100), np.uint8), np.arange(40) < 20
    visible[5:8] = False
    draw_seen(layer, LINE, np.full(40, 3.0), visible)
    # Points lie 2 px apart from x = 10 on, so those at 20 to 24 are not seen.
    assert layer[29:32, 10:19].all()
    assert not layer[:, 21:24].any()
    assert layer[29:32, 26:49].all()
    assert not layer[:, 52:].any()
    assert not layer[:28].any()
    assert not layer[33:].any()
