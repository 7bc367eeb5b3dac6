"""Sound stone on drawn faces whose parts can be counted, and ovals held against a brute search and geometry."""

from dataclasses import replace

import numpy as np
import pytest

from grader.face.lines.lines import p21
from grader.face.lines.sound import (
    CLEAR_STEPS,
    _Room,
    clear_step,
    sound_stone,
    weights_g,
)
from grader.face.measurements import Line

SIDE = 200
SQUARE = np.pad(np.ones((SIDE, SIDE), bool), 10)
MIDDLE = 10 + SIDE / 2
OVALS = ((18.0, 13.0), (40.0, 30.0))


def line(*points, chance=1.0, kind="crack"):
    points = np.array(points, float)
    return Line(points, float(np.hypot(*np.diff(points, axis=0).T).sum()), 2.0, kind, chance)


ACROSS = line((12, MIDDLE), (SIDE + 8, MIDDLE))
DOWN = line((MIDDLE, 12), (MIDDLE, SIDE + 8))


def parts_of(*lines, mm_per_px=None):
    return sound_stone(SQUARE, lines, mm_per_px, OVALS)


def test_a_line_across_a_square_halves_it_and_two_quarter_it():
    assert parts_of().parts == (1.0,)
    assert parts_of(ACROSS).parts == pytest.approx((0.5, 0.5), abs=0.005)
    quarters = parts_of(ACROSS, DOWN)
    assert quarters.parts == pytest.approx((0.25,) * 4, abs=0.005)
    assert quarters.largest.value == pytest.approx(0.25, abs=0.005)


def test_the_labels_lie_where_the_parts_lie():
    labels = parts_of(line((12, 60), (SIDE + 8, 60))).labels
    assert labels.shape == SQUARE.shape
    assert labels[0, 0] == 0
    # A line at 50 of 200: the larger part lies below it.
    assert (labels[64:209, 12:208] == 1).all()
    assert (labels[12:56, 12:208] == 2).all()
    assert (labels[SQUARE] > 0).mean() > 0.98


def test_a_line_that_ends_inside_parts_nothing_and_one_that_stops_at_another_does():
    assert parts_of(line((12, MIDDLE), (MIDDLE, MIDDLE))).parts == (1.0,)
    stops = line((12, MIDDLE), (MIDDLE - 2, MIDDLE))
    assert parts_of(DOWN, stops).parts == pytest.approx((0.5, 0.25, 0.25), abs=0.005)


def test_a_doubtful_line_counts_by_its_chance():
    # With 1 in 2 it is one square, else a half: 0.75 is to be expected.
    largest = parts_of(replace(ACROSS, probability=0.5, kind="uncertain")).largest
    assert largest.value == pytest.approx(0.75, abs=0.005)
    assert (largest.low, largest.high) == pytest.approx((0.5, 1.0), abs=0.005)
    # The surer line parts first: 0.6 x 0.25 + 0.2 x 0.5 + 0.2 x 1.
    two = parts_of(replace(ACROSS, probability=0.8), replace(DOWN, probability=0.6)).largest
    assert two.value == pytest.approx(0.45, abs=0.005)


def test_pattern_lines_never_part_and_contacts_part_by_their_chance():
    assert parts_of(replace(ACROSS, kind="pattern line", probability=0.2)).largest.value == 1.0
    contact = replace(ACROSS, kind="contact", probability=0.0, contact_chance=0.6)
    assert parts_of(contact).largest.value == pytest.approx(0.7, abs=0.005)


def test_without_scale_no_oval_is_tried():
    sound = parts_of(ACROSS)
    assert (sound.clear, sound.usable) == ((), None)


def test_a_part_too_small_for_the_smallest_oval_is_not_usable():
    # 0.2 mm a px: 40 x 40 mm, cut off at 12 mm of height: an oval of 18 x 13 mm finds no room there.
    sound = parts_of(line((12, 70), (SIDE + 8, 70)), mm_per_px=0.2)
    assert sound.usable.value == pytest.approx(0.7, abs=0.005)
    # Nor does one of 40 x 30 mm anywhere: 28 mm are left.
    assert [clear.oval_mm for clear in sound.clear] == list(OVALS)
    assert 0.65 < sound.clear[0].share < 0.7
    assert sound.clear[1].share == 0.0


def test_a_line_inside_keeps_ovals_away_though_it_parts_nothing():
    inside = line((60, MIDDLE), (160, MIDDLE), chance=0.5, kind="uncertain")
    # 20 x 20 mm, the line in the middle of it: 10 mm are left to both sides.
    sound = parts_of(inside, mm_per_px=0.1)
    assert sound.parts == (1.0,)
    assert sound.clear[0].share < 0.3
    assert sound.clear[0].high == parts_of(mm_per_px=0.1).clear[0].share > 0.8


def brute(free, long_px, short_px, turns):
    """Every place and turn, px by px, on a mask that has free room around it."""
    covered, centres = np.zeros_like(free), np.zeros_like(free)
    rows, cols = np.indices(free.shape)
    for y, x in np.argwhere(free):
        for turn in turns:
            along = np.cos(turn) * (cols - x) + np.sin(turn) * (rows - y)
            across = np.cos(turn) * (rows - y) - np.sin(turn) * (cols - x)
            reach = (along / (long_px / 2 - 0.5)) ** 2 + (across / (short_px / 2 - 0.5)) ** 2
            oval = reach <= 1 + 1e-9
            if (free | ~oval).all():
                covered |= oval
                centres[y, x] = True
    return covered, centres


def test_ovals_find_the_same_room_as_a_search_of_every_place():
    rng = np.random.default_rng(4)
    free = np.zeros((36, 40), bool)
    free[2:34, 1:38] = True
    free[rng.integers(0, 36, 5), rng.integers(0, 40, 5)] = False
    covered, centres = _Room(free.shape, 13.0, 9.0).within(free)
    turns = np.arange(12) * np.pi / 12
    expected, places = brute(free, 13.0, 9.0, turns)
    assert places.any()
    assert (covered == expected).all()
    assert (centres == places).all()


@pytest.mark.parametrize("radius", [40, 90])
def test_a_disc_is_wholly_covered_by_a_smaller_disc(radius):
    # Exact geometry: a disc eroded and dilated by a smaller disc is itself again.
    y, x = np.mgrid[:200, :200] - 99.5
    disc = np.hypot(x, y) <= radius
    covered, centres = _Room(disc.shape, 30.0, 30.0).within(disc)
    assert covered[disc].mean() > 0.98
    assert not covered[~disc].any()
    # Its centres fill a disc smaller by the other's radius.
    assert centres.sum() == pytest.approx(np.pi * (radius - 15) ** 2, rel=0.06)


def test_the_corners_of_a_square_take_no_disc():
    # Exact geometry: a square of side a opened by a disc of radius r loses (4 - pi) r².
    square = np.pad(np.ones((160, 160), bool), 4)
    covered, _ = _Room(square.shape, 80.0, 80.0).within(square)
    assert covered.sum() == pytest.approx(160**2 - (4 - np.pi) * 40**2, rel=0.01)


def ragged():
    """A face of no symmetry with three lines, one of them doubtful."""
    y, x = np.mgrid[:600, :480]
    mask = ((x - 230) / 200) ** 2 + ((y - 300) / (240 + 0.1 * x)) ** 2 < 1
    lines = (
        line((60, 180), (250, 260), (425, 210)),
        line((240, 265), (300, 520), chance=0.6),
        line((120, 380), (170, 420), chance=0.4, kind="uncertain"),
    )
    return mask, lines


def shares(sound):
    return [
        *sound.parts,
        *(getattr(sound.largest, key) for key in ("value", "low", "high")),
        *(getattr(sound.usable, key) for key in ("value", "low", "high")),
        *(v for clear in sound.clear for v in (clear.share, clear.high)),
    ]


def test_turning_the_face_changes_nothing():
    mask, lines = ragged()
    unturned = shares(sound_stone(mask, lines, 0.1, OVALS))
    for _ in range(3):
        # A quarter turn clockwise takes x, y to h - y, x.
        h = mask.shape[0]
        mask = np.rot90(mask, -1)
        lines = tuple(
            replace(one, points=np.column_stack([h - one.points[:, 1], one.points[:, 0]]))
            for one in lines
        )
        assert shares(sound_stone(mask, lines, 0.1, OVALS)) == pytest.approx(unturned, abs=0.006)


def test_a_photo_of_twice_the_size_gives_the_same_shares():
    mask, lines = ragged()
    small = sound_stone(mask, lines, 0.1, OVALS)
    twice = np.kron(mask, np.ones((2, 2), bool))
    lines = tuple(replace(one, points=2 * one.points) for one in lines)
    large = sound_stone(twice, lines, 0.05, OVALS)
    assert shares(large) == pytest.approx(shares(small), abs=0.01)


def test_one_line_more_never_leaves_more_sound_stone():
    mask, lines = ragged()
    before = sound_stone(mask, lines[:2], 0.1, OVALS)
    after = sound_stone(mask, lines, 0.1, OVALS)
    assert after.largest.value <= before.largest.value
    assert after.usable.value <= before.usable.value
    assert after.clear[0].share <= before.clear[0].share


def test_length_per_area_of_a_worked_example():
    # P21 of Dershowitz & Herda 1992, from memory: 3 lines of 20, 30 and 50 mm on 50 cm2 are 20 per m.
    assert p21([20, 30, 50], 5000) == pytest.approx(0.02)
    assert p21([0.020, 0.030, 0.050], 50e-4) == pytest.approx(20)
    assert p21([1.0], 0) is None


def test_steps_of_clear_face_are_those_of_board_grades():
    # Hardwood board rules (summaries of the NHLA's grades, edition not noted, from memory):
    # 83 1/3, 66 2/3, 50 and 33 1/3 % of clear face.
    assert pytest.approx((0.8333, 0.6667, 0.5, 0.3333), abs=1e-4) == CLEAR_STEPS
    assert [clear_step(s) for s in (0.9, 2 / 3, 0.49, 0.3)] == [5 / 6, 2 / 3, 1 / 3, None]


def test_weights_go_by_area():
    assert weights_g((0.75, 0.25), 400) == (300, 100)


def test_a_face_of_nothing_leaves_nothing():
    sound = sound_stone(np.zeros((20, 20), bool), (), 0.1, OVALS)
    assert (sound.parts, sound.largest.value) == ((), 0.0)
