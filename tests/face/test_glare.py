"""Glare on drawn faces: what is mirrored, and what is only white."""

import cv2
import numpy as np
import pytest

from grader.face.face import Face
from grader.face.regions.regions import find_regions
from grader.face.sight.glare import find_glare
from grader.measures import UNREADABLE
from grader.photo.colour import lab_from_linear, srgb_curve
from grader.profile import load_profile
from grader.render import TRAINING, render_photo

SIZE = 320


def face_of(linear, mask=None):
    linear = np.asarray(linear, np.float32)
    mask = np.ones(linear.shape[:2], bool) if mask is None else mask
    return Face(linear, lab_from_linear(linear), mask, 1.0, (0.0, 0.0))


def blue(seed=1):
    """A mottled blue face."""
    rng = np.random.default_rng(seed)
    level = 1 + 0.08 * rng.normal(0, 1, (SIZE, SIZE, 1))
    return (np.array([0.05, 0.09, 0.26]) * level).clip(0.01, 1)


def test_a_lamps_mirror_is_glare_and_the_stone_beside_it_is_not():
    y, x = np.mgrid[:SIZE, :SIZE]
    distance_px = np.hypot(x - 160, y - 150)
    spot = np.clip((26 - distance_px) / 4 + 0.5, 0, 1)[..., None]
    chance = find_glare(face_of(blue() * (1 - spot) + spot))
    assert chance.shape == (SIZE, SIZE)
    assert np.mean(chance[distance_px < 20] > 0.5) > 0.9
    assert np.mean(chance[distance_px > 40] > 0.5) < 0.01


def test_white_bands_are_no_glare_once_both_looks_have_spoken():
    rng, linear = np.random.default_rng(3), blue()
    for top in range(40, SIZE, 80):
        linear[top : top + 30] = np.array([0.72, 0.72, 0.69]) + rng.normal(0, 0.04, (30, SIZE, 1))
    face = face_of(cv2.GaussianBlur(linear, (0, 0), 1.0))
    found = find_regions(face, find_glare(face), load_profile())
    assert found.glare_share < 0.01
    assert found.shares["white"].value == pytest.approx(4 * 30 / SIZE, abs=0.04)


def test_chances_lie_between_0_and_1_and_a_turn_changes_little():
    linear = blue(2)
    linear[100:120, 60:90] = 1
    chance, turned = find_glare(face_of(linear)), find_glare(face_of(np.rot90(linear).copy()))
    assert chance.min() >= 0
    assert chance.max() <= 1
    assert np.mean((chance > 0.5) != (np.rot90(turned, -1) > 0.5)) < 0.01


@pytest.mark.slow
def test_drawn_sparks_and_spots_are_found_more_often_than_invented_though_many_are_missed():
    right_px = found_px = true_px = 0
    for number in range(8):
        shot = render_photo(
            np.random.default_rng([77, number]),
            TRAINING,
            width_px=800,
            height_px=600,
            stones=1,
            glare=True,
        )
        for stone in shot.stones:
            x, y, w, h = stone.box
            cut = np.s_[y : y + h, x : x + w]
            mask, drawn = shot.pieces[cut] == stone.id, shot.regions[cut] == 9
            face = face_of(srgb_curve()[shot.rgb[cut]], mask)
            found = find_regions(face, find_glare(face), load_profile()).codes == UNREADABLE
            right_px += (found & drawn & mask).sum()
            found_px += (found & mask).sum()
            true_px += (drawn & mask).sum()
    # Measured here: two thirds of what a check says is true, a sixth of the truth is found.
    assert right_px > 0.6 * found_px
    assert right_px > 0.15 * true_px
