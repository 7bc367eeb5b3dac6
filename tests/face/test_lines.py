"""Line facts on drawn faces: ends, widths, and contacts along a drawn border."""

from dataclasses import replace

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.lines.lines import line_facts
from grader.face.measurements import Line, Regions
from grader.profile import load_profile

SIDE = 300
PROFILE = load_profile()


def face_of(lightness):
    lab = np.zeros((SIDE, SIDE, 3), np.float32)
    lab[..., 0] = lightness
    mask = np.pad(np.ones((SIDE - 20, SIDE - 20), bool), 10)
    return Face(np.zeros_like(lab), lab, mask, 1.0, (0.0, 0.0))


def facts(line, lightness=None, host_from=None):
    """Facts of one line on a pale face, host from that row down."""
    face = face_of(np.full((SIDE, SIDE), 70.0) if lightness is None else lightness)
    codes = face.mask.astype(np.uint8)
    if host_from is not None:
        codes[host_from:] = 3 * face.mask[host_from:]
    return line_facts((line,), face, Regions(codes, {}, {}, {}, 0.0), PROFILE)[0]


def level(x0, x1, y=150.0, kind="pattern line", width=2.0, chance=0.1):
    return Line(np.array([[x0, y], [x1, y]]), float(x1 - x0), width, kind, chance)


@pytest.mark.parametrize(
    ("x0", "x1", "ends"),
    [
        (100, 200, "inside"),
        (14, 200, "reaches the outline"),
        (100, 285, "reaches the outline"),
        (14, 285, "crosses the face"),
    ],
)
def test_ends_are_told_by_the_outline(x0, x1, ends):
    assert facts(level(x0, x1)).ends == ends


def test_a_ring_beside_the_outline_has_no_ends():
    turn = np.linspace(0, 2 * np.pi, 40)
    ring = np.column_stack([40 + 25 * np.cos(turn), 150 + 25 * np.sin(turn)])
    ring[-1] = ring[0]
    assert facts(Line(ring, 157.0, 2.0, "crack", 0.9)).ends == "inside"


def dark(widths):
    """A pale face with a dark line at row 150, as wide as told, column by column."""
    lightness = np.full((SIDE, SIDE), 70.0)
    for x, width in enumerate(widths):
        lightness[150 - width // 2 : 150 - width // 2 + width, x] = 30.0
    return lightness


def test_a_width_below_three_px_is_not_told():
    narrow = facts(level(40, 260, 150.5, width=2.9), dark([2] * SIDE))
    assert (narrow.reported_width_px, narrow.greatest_width_px) == (None, None)


def test_the_greatest_width_is_that_of_the_widest_stretch():
    widths = [5] * SIDE
    widths[150:190] = [9] * 40
    wide = facts(level(40, 260, 150.5, width=5.0), dark(widths))
    assert wide.reported_width_px == 5.0
    assert wide.greatest_width_px == pytest.approx(9, abs=1)


def test_a_dark_line_along_the_border_is_a_contact_and_one_across_it_is_not():
    lightness = dark([3] * SIDE)
    along = facts(level(60, 240, 150.5), lightness, host_from=150)
    assert along.kind == "contact"
    # Straight, longer than half of the face's width, and dark throughout: as likely as one can be.
    assert along.contact_chance == pytest.approx(0.6, abs=0.02)
    assert along.parting_chance == along.contact_chance
    down = Line(np.array([[150.0, 60.0], [150.0, 240.0]]), 180.0, 2.0, "pattern line", 0.1)
    assert facts(down, lightness, host_from=150).kind == "pattern line"


def test_a_short_or_pale_contact_hardly_parts():
    short = facts(level(130, 160, 150.5), dark([3] * SIDE), host_from=150)
    assert short.kind == "contact"
    assert short.contact_chance < 0.15
    assert facts(level(60, 240, 150.5), host_from=150).contact_chance == 0.0


def test_a_crack_and_a_line_of_the_sellers_keep_their_class():
    crack = level(60, 240, 150.5, kind="crack", chance=0.9)
    assert facts(crack, dark([3] * SIDE), host_from=150).kind == "crack"
    typed = replace(level(60, 240, 150.5), source="seller")
    assert facts(typed, dark([3] * SIDE), host_from=150).kind == "pattern line"


def test_a_line_far_from_the_border_is_no_contact():
    assert facts(level(60, 240, 120.5), dark([3] * SIDE), host_from=150).kind == "pattern line"
