import numpy as np
import pytest

from grader.face.size import size_class, takes_oval

#: Sizes of cabs: common practice, no source.
OVALS = ((18, 13), (25, 18), (30, 22), (40, 30))


def _oval(long_px, short_px, turn_deg, side=420):
    y, x = np.mgrid[:side, :side] - side / 2 + 0.5
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    along, across = c * x + s * y, c * y - s * x
    return (along / (long_px / 2)) ** 2 + (across / (short_px / 2)) ** 2 <= 1


@pytest.mark.parametrize("turn", [0, 11, 33.7, 90, 141])
@pytest.mark.parametrize("oval", OVALS)
def test_an_oval_takes_itself_and_not_one_a_twentieth_larger(oval, turn):
    mask = _oval(8 * oval[0], 8 * oval[1], turn)
    assert takes_oval(mask, 1.02 / 8, oval)
    assert not takes_oval(mask, 0.95 / 8, oval)


def test_a_drawn_rectangle_takes_what_its_short_side_allows():
    mask = np.zeros((300, 600), bool)
    mask[20:260, 30:530] = True  # 50 x 24 mm
    assert size_class(mask, 0.1, OVALS) == "30x22"
    assert size_class(np.rot90(mask), 0.1, OVALS) == "30x22"


def test_a_long_splinter_takes_none():
    assert size_class(np.ones((90, 900), bool), 0.1, OVALS) == "under 18x13"


def test_two_halves_are_not_one_face():
    mask = np.ones((320, 420), bool)
    mask[150:162] = False  # 42 x 32 mm with a gap of 1.2 mm
    assert size_class(mask, 0.1, OVALS) == "18x13"


def test_without_scale_there_is_no_size():
    assert size_class(np.ones((9, 9), bool), None, OVALS) is None


def test_an_empty_mask_takes_none():
    assert size_class(np.zeros((9, 9), bool), 10.0, OVALS) == "under 18x13"
