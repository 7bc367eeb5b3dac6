"""Colour classes move on evidence alone."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.face.regions.classes import MARGINS, fit_classes
from grader.profile import load_profile

PROFILE = load_profile()
BLUE = PROFILE.colours[0]


def lch(lightness, chroma, hue_deg, n=60, spread=1.0, seed=0):
    """A spot: CIELAB pixels around one colour."""
    h = np.radians(hue_deg)
    middle = [lightness, chroma * np.cos(h), chroma * np.sin(h)]
    return np.random.default_rng(seed).normal(middle, spread, (n, 3)).astype(np.float32)


def colour(profile, name):
    return next(c for c in profile.colours if c.name == name)


def holds(limits, value):
    return limits[0] <= value <= limits[1]


def holds_hue(limits, hue_deg):
    return (hue_deg - limits[0]) % 360 <= limits[1] - limits[0]


def test_what_nobody_marked_stays():
    fitted = fit_classes({"white": [lch(85, 2, 90)], "host": [lch(40, 30, 55)]}, PROFILE)
    assert colour(fitted, "blue") == BLUE
    assert colour(fitted, "host") == colour(PROFILE, "host")


def test_marks_within_the_ranges_move_nothing():
    assert colour(fit_classes({"blue": [lch(45, 30, 270)]}, PROFILE), "blue") == BLUE


@pytest.mark.parametrize("host_hue", [60, 85, 90])
def test_marks_of_another_class_outside_the_ranges_move_nothing(host_hue):
    marked = {
        "blue": [lch(45, 30, 265)],
        "host": [lch(45, 20, host_hue)],
        "white": [lch(85, 2, 90)],
    }
    assert colour(fit_classes(marked, PROFILE), "blue") == BLUE


def test_a_green_blue_is_taken_in_and_nothing_is_lost():
    fitted = fit_classes({"blue": [lch(45, 30, 100)], "white": [lch(85, 3, 90)]}, PROFILE)
    assert colour(fitted, "blue").hue_deg[0] == pytest.approx(100 - MARGINS[2], abs=5)
    assert colour(fitted, "blue").hue_deg[1] == BLUE.hue_deg[1]


def test_one_point_counts_as_much_as_large_boxes():
    boxes = [lch(45, 30, 270, n=400, seed=k) for k in range(4)]
    blue = colour(fit_classes({"blue": [*boxes, lch(45, 30, 150, n=25)]}, PROFILE), "blue")
    assert holds_hue(blue.hue_deg, 150)


def test_a_few_noisy_pixels_give_a_white_no_hue():
    marked = {"white": [lch(85, 2.5, 270, n=400, spread=1.2)], "blue": [lch(40, 30, 270)]}
    assert colour(fit_classes(marked, PROFILE), "white").hue_deg == (0, 360)


def test_a_host_inside_the_blue_range_draws_it_back():
    marked = {"blue": [lch(40, 35, 280)], "host": [lch(40, 12, 300, seed=1)]}
    blue = colour(fit_classes(marked, PROFILE), "blue")
    assert holds(blue.chroma, 35) and holds_hue(blue.hue_deg, 280)
    assert not (holds(blue.chroma, 12) and holds_hue(blue.hue_deg, 300))


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(
    lightness=st.floats(15, 90),
    chroma=st.floats(8, 60),
    hue=st.floats(0, 359),
    start=st.floats(0, 359),
    width=st.floats(20, 340),
)
def test_without_marks_of_others_a_range_only_grows(lightness, chroma, hue, start, width):
    base = replace(
        PROFILE, colours=(replace(BLUE, hue_deg=(start, start + width)), *PROFILE.colours[1:])
    )
    blue = colour(fit_classes({"blue": [lch(lightness, chroma, hue)]}, base), "blue")
    assert holds(blue.lightness, lightness)
    assert holds(blue.chroma, chroma)
    low, high = blue.hue_deg
    assert 0 <= low <= high <= 720
    for inside in (hue, start + 0.1, start + width - 0.1):
        assert high - low >= 360 or holds_hue((low - 0.1, high + 0.1), inside)


@settings(max_examples=100, deadline=None)
@given(hue=st.floats(0, 359), other_hue=st.floats(0, 359), other_chroma=st.floats(0, 50))
def test_other_marks_never_push_out_the_own_ones(hue, other_hue, other_chroma):
    marked = {"blue": [lch(45, 30, hue)], "host": [lch(50, other_chroma, other_hue, seed=1)]}
    blue = colour(fit_classes(marked, PROFILE), "blue")
    assert holds(blue.lightness, 45)
    assert holds(blue.chroma, 30)
    assert holds_hue(blue.hue_deg, hue)
