"""The light of a photo, estimated: on pictures whose light is known, and against its published definitions."""

import numpy as np
import pytest

from grader.photo.colour import linear_srgb, srgb_encoding
from grader.photo.illuminant import (
    Illuminant,
    angle_deg,
    channel_ratios,
    estimate_illuminant,
    illuminant_features,
    shades_of_grey,
)
from grader.render import TRAINING, render_photo

WARM, COOL = np.array([1.4, 1.0, 0.6]), np.array([0.8, 1.0, 1.3])


def a_photo(seed=3, **choices):
    """A rendered photo as linear sRGB, darkened so that casts do not burn out, and the colour of its light."""
    rendered = render_photo(
        np.random.default_rng(seed), TRAINING, width_px=320, height_px=240, **choices
    )
    return linear_srgb(rendered.rgb, srgb_encoding()) * np.float32(0.6), rendered.white


def test_shades_of_grey_is_the_norm_of_each_channel():
    # Finlayson & Trezzi 2004, eq. 4: (integral f^p / integral 1)^(1/p) = k e, by hand on two pixels.
    linear = np.array([[[0.2, 0.4, 0.1], [0.6, 0.2, 0.3]]])
    by_hand = [((a**6 + b**6) / 2) ** (1 / 6) for a, b in ((0.2, 0.6), (0.4, 0.2), (0.1, 0.3))]
    assert shades_of_grey(linear) == pytest.approx(np.array(by_hand) / by_hand[1])
    # Norm 1 is grey world; a large norm is the largest value of each channel (the same paper).
    assert shades_of_grey(linear, 1) == pytest.approx([0.4 / 0.3, 1, 0.2 / 0.3])
    assert shades_of_grey(linear, 300) == pytest.approx([0.6 / 0.4, 1, 0.3 / 0.4], rel=0.01)


def test_the_angle_between_lights_is_that_between_vectors():
    assert angle_deg(np.array([1.0, 0, 0]), np.array([1.0, 1, 0])) == pytest.approx(45)
    assert angle_deg(WARM, 3 * WARM) == pytest.approx(0, abs=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("cast", [WARM, COOL])
def test_a_cast_moves_the_estimate_along(cast):
    off, plain = [], []
    for seed in range(8):
        linear, white = a_photo(seed, stones=1)
        found = estimate_illuminant(linear * cast.astype(np.float32))
        off.append(angle_deg(found.colour, white * cast))
        plain.append(angle_deg(np.ones(3), white * cast))
    assert np.median(off) < 5
    assert np.median(off) < np.median(plain) / 2


@pytest.mark.slow
def test_neutral_light_on_a_blue_cloth_is_not_taken_for_blue_light():
    off, textbook = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        rendered = render_photo(
            rng, TRAINING, width_px=320, height_px=240, stones=1, ground="grey felt"
        )
        linear = linear_srgb(rendered.rgb, srgb_encoding()) * np.float32(0.6)
        ground = (rendered.pieces == 0)[..., None]
        cloth = np.where(ground, linear * np.float32([0.45, 0.8, 1.6]), linear)
        off.append(angle_deg(estimate_illuminant(cloth).colour, rendered.white))
        textbook.append(angle_deg(shades_of_grey(cloth), rendered.white))
    assert np.median(off) < 4
    assert np.mean(off) < np.mean(textbook)


def test_a_plain_blue_face_from_edge_to_edge_is_not_greyed():
    rng = np.random.default_rng(1)
    for colour in ([0.10, 0.16, 0.42], [0.22, 0.30, 0.55]):
        face = np.float32(colour) * rng.uniform(0.7, 1.3, (90, 120, 1)).astype(np.float32)
        found = estimate_illuminant(face, whole=True)
        left = channel_ratios(face.mean((0, 1))) - channel_ratios(found.colour)
        # At least three quarters of its colour, as the ratio of blue to green, stay.
        assert left[1] > 0.75 * channel_ratios(np.array(colour))[1]


def test_less_to_go_by_is_less_sure():
    # One plain colour may be light or stone; a scene on white paper hardly.
    rng = np.random.default_rng(2)
    plain = np.float32([0.1, 0.16, 0.42]) * rng.uniform(0.9, 1.1, (90, 120, 1)).astype(np.float32)
    scene, _ = a_photo(5, stones=3, ground="white paper")
    assert estimate_illuminant(plain, whole=True).sd_deg > estimate_illuminant(scene).sd_deg


@pytest.mark.parametrize("level", [0.0, 0.5, 1.0])
def test_pictures_that_tell_nothing_get_an_answer(level):
    found = estimate_illuminant(np.full((40, 60, 3), level, np.float32))
    assert np.isfinite(found.colour).all() and (found.colour > 0).all()
    assert np.isfinite(found.sd).all()


def test_features_do_not_hang_on_exposure():
    linear, _ = a_photo(4, stones=1)
    (first, base), (darker, base_darker) = (
        illuminant_features(picture) for picture in (linear, linear * np.float32(0.9))
    )
    assert base == pytest.approx(base_darker, abs=1e-5)
    # All but how bright it is: the last four but one speak of that.
    assert first[:24] == pytest.approx(darker[:24], abs=0.05)


def test_how_far_off_is_an_angle():
    # exp(0.1) on red: the angle between (1, 1, 1) and (1.105, 1, 1), by hand.
    sure = Illuminant(np.ones(3), np.array([0.1, 0.0]))
    a = np.array([np.exp(0.1), 1, 1])
    by_hand = np.degrees(np.arccos(a.sum() / np.linalg.norm(a) / 3**0.5))
    assert sure.sd_deg == pytest.approx(by_hand)
