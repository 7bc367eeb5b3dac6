"""Lamps in angle space: Fresnel's share by handbook values, the law of mirrors, and light that blur does not lose."""

import numpy as np
import pytest

from grader.render import environment as env
from grader.train.reflections import HELD_OUT_RELIEFS, RELIEFS

AHEAD, RIGHT = np.float32([0, 0, 1]), np.float32([1, 0, 0])


@pytest.mark.parametrize(
    ("index", "percent"), [(1.333, 2.0), (1.54, 4.5), (1.5, 4.0), (2.417, 17.2)]
)
def test_normal_reflectance_is_the_handbooks(index, percent):
    # Water, quartz, crown glass, diamond: optics handbooks, to a tenth of a percent (from memory).
    assert 100 * env.normal_reflectance(index) == pytest.approx(percent, abs=0.1)


@pytest.mark.parametrize(
    ("degrees", "percent"), [(0, 4.0), (30, 4.2), (45, 5.0), (56.31, 7.4), (60, 8.9), (70, 17.1)]
)
def test_glass_mirrors_by_angle_as_textbooks_have_it(degrees, percent):
    # Unpolarised light on glass of n = 1.5; at Brewster's angle it is half of 14.8 % (Hecht, Optics; from memory).
    share = env.fresnel(np.cos(np.radians(np.float32([degrees]))), 1.5)[0]
    assert 100 * share == pytest.approx(percent, abs=0.1)


def lamp(shape="panel", half=(0.2, 0.1), edge=0.01):
    return env.AreaLight(AHEAD, RIGHT, half, np.float32([9, 9, 9]), edge, shape)


def looking(half_rad=0.6, side=301):
    """Rays within that angle of straight ahead, and the angle of a px."""
    a, b = np.meshgrid(*[np.linspace(-half_rad, half_rad, side, dtype=np.float32)] * 2)
    ray = np.stack([np.tan(a), np.tan(b), np.ones_like(a)], -1)
    return ray / np.linalg.norm(ray, axis=-1, keepdims=True), 2 * half_rad / (side - 1)


def room_with(*lights, ground=0.0):
    black = np.zeros(3, np.float32)
    return env.Environment(lights, np.float32([0, -1, 0]), black + ground, black, 0.01)


def test_a_mirror_turned_by_an_angle_looks_twice_as_far_aside():
    turned = np.float32([np.sin(0.2), 0, np.cos(0.2)])
    ray = env.mirrored_ray(turned, AHEAD)
    assert ray == pytest.approx([np.sin(0.4), 0, np.cos(0.4)], abs=1e-6)


def test_a_panel_is_seen_as_wide_as_it_is():
    ray, px = looking()
    dark = np.zeros(3, np.float32)
    lamps, _ = env.radiance_along(env.Environment((lamp(),), AHEAD, dark, dark, 0.01), ray, 0.0)
    seen = lamps[..., 0]
    assert seen.max() == pytest.approx(9, rel=0.01)
    assert (seen > 4.5).any(axis=0).sum() * px == pytest.approx(0.4, abs=0.02)
    assert (seen > 4.5).any(axis=1).sum() * px == pytest.approx(0.2, abs=0.02)


@pytest.mark.parametrize("shape", ["panel", "window", "blind"])
def test_a_rough_face_spreads_a_lamp_and_keeps_its_light(shape):
    ray, _ = looking()
    sky = env.Environment(
        (lamp(shape),), AHEAD, np.zeros(3, np.float32), np.zeros(3, np.float32), 0.01
    )
    sharp, soft = (env.radiance_along(sky, ray, blur)[0][..., 0] for blur in (0.0, 0.1))
    assert soft.max() < 0.9 * sharp.max()
    assert soft.sum() == pytest.approx(sharp.sum(), rel=0.15)


def test_below_the_horizon_there_is_ground_and_no_lamp():
    ray, _ = looking()
    seen = sum(env.radiance_along(room_with(lamp(half=(0.5, 0.5)), ground=0.7), ray, 0.0))[..., 0]
    # y goes down, so what looks down is seen in the lower half.
    assert seen[-20:].max() == pytest.approx(0.7, abs=0.02)
    assert seen[60, 150] == pytest.approx(9, abs=0.2)


def test_what_is_held_out_is_never_learned_from():
    assert not set(env.SHAPES) & set(env.HELD_OUT_SHAPES)
    assert not set(RELIEFS) & set(HELD_OUT_RELIEFS)
    aims = np.float32([[0, 0, 1]])
    drawn = [
        env.draw_environment(np.random.default_rng(k), tuple(env.SHAPES), aims, 5)
        for k in range(20)
    ]
    assert {light.shape for one in drawn for light in one.lights} == set(env.SHAPES)


def test_a_card_beside_the_stone_is_about_white():
    aims = np.float32([[0, 0, 1]])
    level = []
    for k in range(200):
        room = env.draw_environment(np.random.default_rng(k), tuple(env.SHAPES), aims, 1 + k % 5)
        level.append(env.lamplight(room, room.up[None, None], 0.0).mean())
    assert 0.5 < np.median(level) < 1.5
