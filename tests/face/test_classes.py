"""Colour classes move on evidence alone."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.face.classes import MARGINS, fit_classes
from grader.profile import load_profile

PROFILE = load_profile()


def lch(lightness, chroma, hue_deg, n=60, spread=1.0, seed=0):
    """CIELAB pixels around one colour."""
    h = np.radians(hue_deg)
    middle = [lightness, chroma * np.cos(h), chroma * np.sin(h)]
    return np.random.default_rng(seed).normal(middle, spread, (n, 3)).astype(np.float32)


def colour(profile, name):
    return next(c for c in profile.colours if c.name == name)


def holds(limits, value):
    return limits[0] <= value <= limits[1]


def test_what_nobody_marked_stays():
    fitted = fit_classes({"white": lch(85, 2, 90), "host": lch(40, 30, 55)}, PROFILE)
    assert colour(fitted, "blue") == colour(PROFILE, "blue")
    assert colour(fitted, "host") == colour(PROFILE, "host")


def test_marks_within_the_ranges_move_nothing_outwards():
    fitted = fit_classes({"blue": lch(45, 30, 270)}, PROFILE)
    assert colour(fitted, "blue") == colour(PROFILE, "blue")


def test_a_green_blue_is_taken_in():
    fitted = fit_classes({"blue": lch(45, 30, 165), "white": lch(85, 3, 90)}, PROFILE)
    low, high = colour(fitted, "blue").hue_deg
    assert low <= 165 - MARGINS[2] + 3
    assert holds((low, high), 270)


def test_a_host_inside_the_blue_range_draws_it_back():
    fitted = fit_classes({"blue": lch(40, 35, 280), "host": lch(40, 12, 300)}, PROFILE)
    blue = colour(fitted, "blue")
    hue = np.array([300.0, 280.0])
    inside = [
        holds(blue.chroma, c) and holds((blue.hue_deg[0], blue.hue_deg[1]), h)
        for c, h in zip((12.0, 35.0), hue, strict=True)
    ]
    assert inside == [False, True]


@settings(max_examples=40, deadline=None)
@given(
    lightness=st.floats(15, 90),
    chroma=st.floats(8, 60),
    hue=st.floats(0, 359),
    other_hue=st.floats(0, 359),
)
def test_a_fitted_class_holds_what_was_marked_as_it(lightness, chroma, hue, other_hue):
    marked = {"blue": lch(lightness, chroma, hue), "host": lch(50, 20, other_hue, seed=1)}
    blue = colour(fit_classes(marked, PROFILE), "blue")
    assert holds(blue.lightness, lightness)
    assert holds(blue.chroma, chroma)
    low, high = blue.hue_deg
    assert 0 <= low <= high <= 720
    assert any(holds((low - 1, high + 1), hue + turn) for turn in (0, 360))
