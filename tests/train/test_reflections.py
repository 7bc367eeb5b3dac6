"""Drawn reflections: where they lie is known exactly, and honest white stones have none."""

import numpy as np
import pytest

from grader.measures import UNREADABLE
from grader.render import HELD_OUT, TRAINING
from grader.train import reflections
from grader.train.examples import IGNORE, UNJUDGED, reflection_examples


@pytest.fixture(scope="module")
def drawn():
    rng = np.random.default_rng(4)
    return [one for _ in range(10) for one in reflections.draw_reflections(rng, TRAINING)]


def test_the_same_seed_gives_the_same_pictures_and_each_style_its_own():
    first, again, other = (
        reflections.draw_reflections(np.random.default_rng(8), style)
        for style in (TRAINING, TRAINING, HELD_OUT)
    )
    for one, two in zip(first, again, strict=True):
        np.testing.assert_array_equal(one.rgb, two.rgb)
        np.testing.assert_array_equal(one.hidden, two.hidden)
    assert not np.array_equal(first[0].rgb, other[0].rgb)


def test_what_is_hidden_lies_on_the_stone_and_apart_from_the_veil(drawn):
    for one in drawn:
        assert not (one.hidden & ~one.mask).any()
        assert not (one.hidden & one.veiled).any()
        assert one.hidden.sum() <= reflections.MOST_HIDDEN * one.mask.sum()
        assert max(one.mask.shape) <= reflections.SIDE_PX
    assert any(one.hidden.any() for one in drawn)
    assert any(not one.hidden.any() and not one.veiled.any() for one in drawn)


@pytest.mark.parametrize(
    ("body", "lamp", "ground", "hidden", "veiled"),
    [
        (0.2, 0.0, 0.0, False, False),
        (0.2, 0.1, 0.0, False, True),  # a third is mirrored
        (0.2, 0.3, 0.0, True, False),  # three fifths
        (0.005, 0.02, 0.0, False, True),  # most of what is nearly black: no eye sees it
        (0.98, 0.0, 0.0, False, False),  # honest white, full
        (0.85, 0.1, 0.0, False, True),  # full, and a tenth of it mirrored
        (0.7, 0.3, 0.0, True, False),  # full by what is mirrored
        (0.2, 0.0, 0.3, False, True),  # the ground's glow along a rim
        (0.05, 0.0, 0.2, True, False),  # the ground and hardly any stone
    ],
)
def test_truth_follows_the_shares_of_light(body, lamp, ground, hidden, veiled):
    light = (np.full((9, 9, 3), level, np.float32) for level in (body, lamp, ground))
    assert [bool(layer[4, 4]) for layer in reflections._truth(*light)] == [hidden, veiled]


def test_a_speck_below_a_reflection_does_not_end_it():
    body, lamp = np.full((200, 200, 3), 0.2, np.float32), np.zeros((200, 200, 3), np.float32)
    lamp[50:150, 50:150] = 0.35
    body[98:102, 98:102] = 0.5
    hidden, _ = reflections._truth(body, lamp, 0 * lamp)
    assert hidden[60:140, 60:140].all()
    assert not hidden[:40].any()


@pytest.mark.slow
def test_many_stones_are_white_or_cream_and_none_is_hidden_for_it():
    pale = hidden = 0
    for seed in range(40):
        stone = reflections.draw_stone(np.random.default_rng(seed), TRAINING)
        level = np.median(stone.reflect[stone.mask].min(axis=-1))
        pale += level > 0.45
        hidden += reflections._truth(stone.reflect, 0 * stone.reflect, 0 * stone.reflect)[0].any()
    assert pale >= 5
    assert hidden == 0


def test_examples_ask_for_what_is_hidden_and_not_for_the_veil():
    made = reflection_examples(np.random.default_rng(2), TRAINING, stones=3)
    assert len(made) == 3 * reflections.LIGHTINGS
    for one in made:
        assert one.picture.shape == (reflections.SIDE_PX, reflections.SIDE_PX, 3)
        assert set(np.unique(one.target)) <= {0, 1, UNJUDGED, IGNORE}
        assert (one.picture[one.target == IGNORE] == 0).all()
    assert UNREADABLE not in {int(v) for one in made for v in np.unique(one.target)}
