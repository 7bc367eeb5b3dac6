"""Colours of rendered stones, and water on them."""

import numpy as np
import pytest

from grader.render.pigment import FILM_OUTSIDE, HOSTS, draw_palette, lab_of, wetted


@pytest.mark.parametrize(
    "dry, wet",
    [(0.1, 0.0744), (0.2, 0.1341), (0.3, 0.2004), (0.5, 0.3577), (0.7, 0.5598), (0.9, 0.8289)],
)
def test_the_film_darkens_a_white_lit_albedo_as_computed(dry, wet):
    """Film model of Angstrom 1925 as in Lekner & Dorf 1988, Appl. Opt. 27:1278-1280, from memory, with inner reflection
    0.4749: computed apart from the model, no table of theirs. Whole albedo = surface + body.
    """
    assert float(wetted(np.float32(dry))) + FILM_OUTSIDE == pytest.approx(wet, abs=2e-4)


def test_a_wet_blue_is_darker_and_more_saturated():
    """Linear (0.25, 0.35, 0.55): Lab 65.21 0.48 -21.09 dry, 53.29 1.94 -22.87 wet; worked from
    the same model.
    """
    dry = np.float32([[[0.25, 0.35, 0.55]]])
    assert lab_of(dry)[0, 0] == pytest.approx([65.21, 0.48, -21.09], abs=0.4)
    assert lab_of(wetted(dry))[0, 0] == pytest.approx([53.29, 1.94, -22.87], abs=0.4)


def test_white_is_lighter_and_less_chromatic_than_blue_on_every_stone():
    rng = np.random.default_rng(0)
    for _ in range(300):
        palette = draw_palette(rng, str(rng.choice(list(HOSTS))))
        assert palette.white[0, 0] > palette.blue[0, 0] + 5
        assert np.hypot(*palette.white[0, 1:]) <= np.hypot(*palette.blue[0, 1:])
        assert np.hypot(*palette.white[0, 1:]) <= 22
