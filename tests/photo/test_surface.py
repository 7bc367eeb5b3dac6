"""Wet or dry, as far as one photo can tell."""

import numpy as np
import pytest

from grader.photo.colour import lab_from_linear
from grader.photo.surface import STATES, State, read_state
from grader.render.pigment import wetted

SIDE_PX = 100


def _read(body, gloss_share=0.0, spot=0.95, given=None):
    """State of a face of one body colour (linear light) with a mirrored lamp on a share of it."""
    light = np.empty((SIDE_PX, SIDE_PX, 3), np.float32)
    light[:] = body
    glare = np.zeros((SIDE_PX, SIDE_PX), bool)
    glare.ravel()[: round(gloss_share * SIDE_PX**2)] = True
    light[glare] = spot
    mask = np.ones((SIDE_PX, SIDE_PX), bool)
    return read_state(light, lab_from_linear(light), mask, glare, given)


# Linear light of a dry face, and of the same under a film of water after Angstrom 1925 and Lekner & Dorf 1988, Appl.
# Opt. 27:1278-1280, computed: tests/render/test_pigment.py holds the film to the same numbers.
DRY, WET = (0.25, 0.35, 0.55), (0.1459, 0.2159, 0.3829)


def test_the_inputs_are_those_of_the_film():
    assert wetted(np.float32(DRY)) == pytest.approx(WET, abs=3e-3)


@pytest.mark.parametrize("state", STATES)
def test_the_sellers_word_stands(state):
    assert _read(DRY, 0.02, given=state) == State(state, "seller")


def test_another_word_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="damp"):
        _read(DRY, given="damp")


def test_a_mirrored_lamp_says_wet():
    assert _read(WET, 0.02) == State("wet", "photo")


def test_a_matt_pale_face_says_dry():
    assert _read(DRY) == State("dry", "photo")


def test_deep_colour_without_gloss_stays_unknown():
    assert _read(WET) == State("unknown", "photo")


def test_a_single_glint_says_neither():
    assert _read(DRY, 0.002) == State("unknown", "photo")


def test_unreadable_parts_that_mirror_no_light_do_not_say_wet():
    assert _read(DRY, 0.05, spot=0.2).value == "unknown"


def test_a_face_wholly_under_glare_stays_unknown():
    assert _read(DRY, 1.0) == State("unknown", "photo")


def test_patchy_is_never_guessed():
    light = np.empty((SIDE_PX, SIDE_PX, 3), np.float32)
    light[:50], light[50:] = DRY, WET
    mask = np.ones((SIDE_PX, SIDE_PX), bool)
    assert read_state(light, lab_from_linear(light), mask, ~mask).value != "patchy"
