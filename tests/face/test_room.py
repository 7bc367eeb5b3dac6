"""What templates find on a face, counted on hand-drawn arrays."""

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.measurements import Line, RegionColour, Regions, Share
from grader.face.room import measure_room
from grader.profile import load_profile

PROFILE = load_profile()
BLUE, WHITE, HOST = 1, 2, 3
COLOURS = {
    "blue": RegionColour(35.0, 35.0, 280.0, 3.0),
    "white": RegionColour(88.0, 3.0, 90.0, 3.0),
    "host": RegionColour(45.0, 20.0, 60.0, 3.0),
}


def room(codes, lines=(), mm_per_px=0.2, lightness=0.0):
    """Of a face of 60 x 40 mm or so; ``lightness`` is added to each px's own."""
    codes = np.asarray(codes, np.uint8)
    names = dict(zip((BLUE, WHITE, HOST), COLOURS, strict=True))
    lab = np.zeros((*codes.shape, 3), np.float32)
    for code, name in names.items():
        lab[codes == code] = COLOURS[name].lab
    lab[..., 0] += lightness
    shares = {name: float((codes == code).mean()) for code, name in names.items()}
    regions = Regions(
        codes,
        {name: Share(v, v, v) for name, v in shares.items()},
        {},
        {name: COLOURS[name] if shares[name] else None for name in shares},
        0.0,
    )
    face = Face(None, lab, codes > 0, 1.0, (0.0, 0.0), mm_per_px)
    return measure_room(face, regions, lines, PROFILE)


def bands(shape=(200, 300), period=40):
    rows = np.arange(shape[0])[:, None]
    return np.broadcast_to(np.where(rows % period < period / 2, BLUE, WHITE), shape).copy()


def across(y, width=300):
    points = np.array([[0.0, y], [width, y]])
    return Line(points, float(width), 2.0, "crack", 1.0)


def test_a_banded_face_is_room_for_pattern_and_a_plain_one_for_colour_alone():
    banded, plain = room(bands()), room(np.full((200, 300), BLUE))
    assert banded.pattern_share > 0.9 and banded.colour_share == 0.0
    assert plain.pattern_share == 0.0 and plain.colour_share > 0.9
    # Blue and white as far apart as their colours are; a plain face has no two zones.
    assert banded.pattern_contrast > 40 and plain.pattern_contrast < 1


def test_a_good_half_counts_and_host_in_it_does_not_lessen_it():
    codes = bands()
    codes[:, 150:] = HOST
    assert room(codes).pattern_share == pytest.approx(0.5, abs=0.12)
    assert room(np.full((200, 300), HOST)).pattern_share == 0.0


def test_lines_that_leave_no_room_for_a_template_take_it_all():
    free = room(bands()).pattern_share
    one = room(bands(), [across(100)]).pattern_share
    # Every 12 mm: the smallest oval is 13 mm high.
    many = room(bands(), [across(y) for y in range(20, 200, 60)]).pattern_share
    assert free > one > many == 0.0


def test_a_face_too_small_for_the_smallest_oval_has_no_room():
    assert room(bands(), mm_per_px=0.05).pattern_share == 0.0


def test_pale_froth_within_one_blue_is_a_pattern_and_light_and_shade_are_none():
    plain = np.full((200, 300), BLUE)
    rows = np.arange(200)[:, None] * np.ones((1, 300))
    froth = np.where(rows % 40 < 16, 16.0, 0.0)
    frothy = room(plain, lightness=froth)
    assert frothy.pattern_contrast > 12 and frothy.pattern_share > 0.9 and frothy.colour_share > 0.9
    assert room(plain, lightness=rows / 200 * 16).pattern_contrast < 8


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_face_changes_nothing(turns):
    codes = bands()
    codes[:90, 180:] = HOST
    straight, turned = room(codes), room(np.rot90(codes, turns))
    assert turned.pattern_share == pytest.approx(straight.pattern_share, abs=0.02)
    assert turned.pattern_contrast == pytest.approx(straight.pattern_contrast, abs=0.5)
