"""Plain stones and stones of other kinds are drawn as told, and their appearance is taken within the true outline."""

import numpy as np
import pytest

from grader.grading.models.familiarity import APPEARANCE_NAMES
from grader.render import TRAINING
from grader.render.declared import DeclaredFace
from grader.render.pattern import Grid
from grader.train.appearances import plain_appearance, stone_appearance, stranger_appearance
from grader.train.plain_stones import draw_stone_photo, one_class
from grader.train.strangers import STRANGERS


def test_a_plain_stone_is_one_class_and_the_seed_settles_it():
    one = plain_appearance([1, 2])
    assert {*one} == {*APPEARANCE_NAMES} and one == plain_appearance([1, 2])
    drawn = draw_stone_photo(
        np.random.default_rng(3), TRAINING, {"kind": "slab"}, picture=one_class("white")
    )
    assert max(drawn.stones[0].shares, key=drawn.stones[0].shares.get) == "white"


def test_a_body_of_another_kind_has_its_own_colour():
    def green(rng: np.random.Generator, grid: Grid) -> np.ndarray:
        return np.broadcast_to(np.float32([50, -40, 30]), (*grid.shape, 3)).copy()

    said = {"picture": one_class("blue"), "body": green}
    drawn = draw_stone_photo(
        np.random.default_rng(4), TRAINING, {"lamp": "window", "glare": False}, **said
    )
    look = stone_appearance(drawn)
    assert look["redness"] < -15 and look["blue"] < 0.1 and look["odd_hue"] > 0.7
    assert DeclaredFace((60.0, 40.0), one_class("blue")).body is None


@pytest.mark.parametrize("kind", STRANGERS)
def test_a_stranger_is_a_body_in_cielab_that_the_seed_settles(kind):
    v, u = np.mgrid[-1:1:48j, -1:1:64j].astype(np.float32)
    grid = Grid(u, v, 32.0)
    one, again, other = (STRANGERS[kind](np.random.default_rng(n), grid) for n in (5, 5, 6))
    assert one.shape == (48, 64, 3) and np.isfinite(one).all()
    assert one[..., 0].min() >= 0 and one[..., 0].max() <= 100
    assert np.array_equal(one, again) and not np.allclose(one, other)


@pytest.mark.slow
def test_a_green_stranger_is_on_the_green_side_in_its_estimated_light():
    looks = [stranger_appearance([7, n], "green stone") for n in (1, 2)]
    # What is light and what is stone is guessed there, so a dull one keeps little of its green.
    assert all(look is not None and look["redness"] < 0 for look in looks)
