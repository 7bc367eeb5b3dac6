"""Wet or dry, as far as one photo can tell."""

import numpy as np
import pytest

from grader.photo.colour import lab_from_linear, srgb_curve
from grader.photo.surface import STATES, State, read_state, state_from
from grader.render import TRAINING, render_photo

WHOLE = np.ones((60, 80), bool)
PLAIN = np.full((60, 80, 3), 50, np.float32)


@pytest.mark.parametrize("state", STATES)
def test_the_sellers_word_stands(state):
    assert read_state(PLAIN, WHOLE, state) == State(state, "seller")


def test_another_word_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="damp"):
        read_state(PLAIN, WHOLE, "damp")


def places(**counts) -> np.ndarray:
    """Chances to look wet of so many places each: wet, dry and open."""
    chance = {"wet": 0.97, "dry": 0.02, "open": 0.5}
    return np.concatenate([np.full(n, chance[name], np.float32) for name, n in counts.items()])


@pytest.mark.parametrize(
    ("counts", "value", "wet_share"),
    [
        ({"wet": 100}, "wet", 1.0),
        ({"dry": 100}, "dry", 0.0),
        ({"wet": 90, "dry": 10}, "wet", 0.9),
        ({"wet": 10, "dry": 90}, "dry", 0.1),
        ({"wet": 50, "dry": 50}, "patchy", 0.5),
        ({"wet": 30, "dry": 30, "open": 40}, "patchy", 0.5),
        ({"wet": 30, "open": 70}, "unknown", None),
        ({"open": 0}, "unknown", None),
    ],
)
def test_a_face_is_what_most_of_its_told_places_are(counts, value, wet_share):
    state = state_from(places(**counts))
    assert (state.value, state.source) == (value, "photo")
    assert state.wet_share == (wet_share if wet_share is None else pytest.approx(wet_share))


@pytest.fixture(scope="module")
def slabs():
    """One drawn slab wet, dry and half dried: CIELAB and mask by state."""
    found = {}
    for state in ("wet", "dry", "patchy"):
        drawn = render_photo(
            np.random.default_rng(41), TRAINING, width_px=640, height_px=480, stones=1, fill=0.4,
            kind="slab", state=state, pattern="coarse bands", pipeline="plain", lamp="softboxes", cut=False,
        )  # fmt: skip
        found[state] = lab_from_linear(srgb_curve()[drawn.rgb]), drawn.pieces == 1
    return found


@pytest.mark.parametrize("state", ["wet", "dry", "patchy"])
def test_a_slab_is_told_wet_dry_and_half_dried(slabs, state):
    assert read_state(*slabs[state]).value == state


def test_what_lies_beside_the_stone_does_not_count(slabs):
    lab, mask = slabs["wet"]
    other = np.where(mask[..., None], lab, np.float32([80, -30, 40]))
    assert read_state(other, mask) == read_state(lab, mask)
