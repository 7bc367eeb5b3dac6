"""Other surfaces: stone all over, with cracks whose truth can be seen."""

import numpy as np
import pytest

from grader.render import TRAINING
from grader.render.truth import CRACK, FAINT, PATTERN_LINE
from grader.train import surfaces
from grader.train.examples import CRACKS_PX, IGNORE, surface_examples


@pytest.fixture(scope="module")
def some():
    return [surfaces.draw_surface(np.random.default_rng(k), TRAINING, 160) for k in range(14)]


def test_the_same_seed_gives_the_same_surface(some):
    again = surfaces.draw_surface(np.random.default_rng(3), TRAINING, 160)
    np.testing.assert_array_equal(again.rgb, some[3].rgb)
    np.testing.assert_array_equal(again.cracks, some[3].cracks)


def test_surfaces_differ_in_tone_and_most_are_grey_to_brown(some):
    tones = np.array([s.rgb.reshape(-1, 3).mean(0) for s in some])
    assert tones.mean(1).std() > 15
    assert (np.ptp(tones, axis=1) < 80).mean() > 0.5


def test_most_surfaces_are_cracked_and_the_cracks_are_darker_than_what_lies_about(some):
    cracked = [s for s in some if (s.cracks == CRACK).sum() > 60]
    assert len(cracked) >= len(some) // 2
    darker = [s.rgb[s.cracks == CRACK].mean() < s.rgb[s.cracks == 0].mean() for s in cracked]
    assert np.mean(darker) > 0.7
    assert {int(v) for s in some for v in np.unique(s.cracks)} <= {0, FAINT, PATTERN_LINE, CRACK}


def test_a_coursed_surface_has_joints_and_a_plain_one_has_none(monkeypatch):
    for chance in (0.0, 1.0):
        monkeypatch.setattr(surfaces, "COURSED", chance)
        drawn = surfaces.draw_surface(np.random.default_rng(5), TRAINING, 128)
        assert (drawn.materials == 2).any() == bool(chance)


def test_an_example_of_a_surface_is_stone_all_over():
    for example in surface_examples(np.random.default_rng(2), TRAINING, 2):
        assert example.picture.shape == (CRACKS_PX, CRACKS_PX, 3)
        assert not (example.target == IGNORE).any()
