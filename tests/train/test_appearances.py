"""Plain stones and stones of other kinds are drawn as told, and their appearance is taken within the true outline."""

import numpy as np

from grader.grading.models.familiarity import APPEARANCE_NAMES
from grader.render import TRAINING
from grader.render.declared import DeclaredFace
from grader.render.pattern import Grid
from grader.train.appearances import plain_appearance, stone_appearance
from grader.train.plain_stones import draw_stone_photo, one_class


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
