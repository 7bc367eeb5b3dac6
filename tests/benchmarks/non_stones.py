"""Drawn pictures of what is no stone: bricks, concrete, cloth, a hand, wood, gravel. Test objects of our own making.

They share no code with the grader's renderer. Colours and sizes are round numbers by eye, not measured ones.
"""

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

#: Height and width of each picture, px.
SIZE = (480, 640)

Picture = NDArray[np.uint8]


def draw_bricks(rng: np.random.Generator) -> Picture:
    """A wall of bricks with mortar between them."""
    h, w = SIZE
    course, length = int(rng.integers(28, 60)), int(rng.integers(80, 150))
    joint = int(rng.integers(3, 9))
    base = np.array([150, 75, 55]) + rng.normal(0, 18, 3)
    rgb = np.full((h, w, 3), rng.uniform(140, 190), float)
    for row, y in enumerate(range(0, h, course)):
        for x in range(-(row % 2) * length // 2, w, length):
            colour = base + rng.normal(0, 14)
            x0, x1 = max(0, x + joint), max(0, x + length)
            rgb[y + joint : y + course, x0:x1] = colour
    rgb = cv2.GaussianBlur(rgb, (0, 0), 1.2) + 14 * _clouds(rng, 6)[..., None]
    return _taken(rgb, rng)


def draw_concrete(rng: np.random.Generator) -> Picture:
    """A slab of concrete with pores and stains."""
    grey = rng.uniform(110, 185) + rng.uniform(6, 16) * _clouds(rng, 60) + 9 * _clouds(rng, 2)
    rgb = np.repeat(grey[..., None], 3, axis=2) + rng.normal(0, 4, 3)
    for _ in range(int(rng.integers(20, 120))):
        x, y, r = rng.integers(SIZE[1]), rng.integers(SIZE[0]), rng.integers(1, 4)
        cv2.circle(rgb, (int(x), int(y)), int(r), tuple(3 * [float(grey.mean() - 50)]), -1)
    return _taken(rgb, rng)


def draw_cloth(rng: np.random.Generator) -> Picture:
    """Woven cloth of one colour, plain or with stripes, with folds."""
    h, w = SIZE
    y, x = np.mgrid[:h, :w].astype(float)
    pitch = rng.uniform(3, 8)
    weave = 0.5 * (np.sin(2 * np.pi * x / pitch) + np.sin(2 * np.pi * y / pitch))
    colour = _any_colour(rng)
    rgb = colour[None, None] * (1 + 0.16 * weave[..., None] + 0.18 * _clouds(rng, 70)[..., None])
    if rng.random() < 0.5:
        stripe = (
            np.sin(
                2
                * np.pi
                * (x * np.cos(a := rng.uniform(0, np.pi)) + y * np.sin(a))
                / rng.uniform(30, 90)
            )
            > 0.3
        )
        rgb[stripe] = rgb[stripe] * 0.4 + 0.6 * _any_colour(rng)
    return _taken(rgb, rng)


def draw_hand(rng: np.random.Generator) -> Picture:
    """The palm of a hand: skin, its creases, fingers on a plain ground."""
    h, w = SIZE
    skin = np.array([205, 155, 130]) * rng.uniform(0.45, 1.1)
    rgb = np.full((h, w, 3), rng.uniform(60, 230), float)
    hand = np.zeros((h, w), np.uint8)
    cv2.ellipse(hand, (w // 2, int(0.68 * h)), (int(0.2 * w), int(0.3 * h)), 0, 0, 360, 255, -1)
    for k in range(4):
        x = int(w * (0.36 + 0.095 * k))
        cv2.line(
            hand,
            (x, int(0.55 * h)),
            (x + (k - 1) * 12, int(0.12 * h + 22 * abs(k - 1.3))),
            255,
            int(0.07 * w),
        )
    cv2.line(
        hand, (int(0.35 * w), int(0.72 * h)), (int(0.17 * w), int(0.48 * h)), 255, int(0.075 * w)
    )
    depth = cv2.GaussianBlur(hand.astype(float) / 255, (0, 0), 14)
    shade = 0.72 + 0.34 * depth + 0.05 * _clouds(rng, 25)
    for _ in range(3):
        start = np.array([0.33 * w, rng.uniform(0.5, 0.8) * h])
        points = start + np.cumsum(rng.normal((26, 4), 9, (8, 2)), axis=0)
        crease = np.zeros((h, w), np.float32)
        cv2.polylines(crease, [points.astype(np.int32)], False, 1.0, 2)
        shade -= 0.16 * cv2.GaussianBlur(crease, (0, 0), 1.5)
    on = hand > 0
    rgb[on] = (skin * shade[..., None] + 3 * _clouds(rng, 2)[..., None])[on]
    return _taken(cv2.GaussianBlur(rgb, (0, 0), 1.0), rng)


def draw_wood(rng: np.random.Generator) -> Picture:
    """A board with its grain along it."""
    h, w = SIZE
    y, x = np.mgrid[:h, :w].astype(float)
    bent = y + 26 * _clouds(rng, 110) + 0.04 * rng.normal() * x
    ring = np.sin(2 * np.pi * bent / rng.uniform(14, 38)) + 0.4 * np.sin(
        2 * np.pi * bent / rng.uniform(4, 9)
    )
    fibre = cv2.GaussianBlur(rng.normal(size=(h, w)), (0, 0), sigmaX=18, sigmaY=0.7)
    colour = np.array([170, 120, 75]) * rng.uniform(0.5, 1.2) + rng.normal(0, 8, 3)
    return _taken(colour * (1 + 0.1 * ring + 0.9 * fibre)[..., None], rng)


def draw_gravel(rng: np.random.Generator) -> Picture:
    """Small stones side by side, each of its own grey or brown."""
    h, w = SIZE
    n = int(rng.integers(250, 1200))
    seeds = np.zeros((h, w), np.uint8)
    xy = np.stack([rng.integers(0, w, n), rng.integers(0, h, n)], axis=1)
    seeds[xy[:, 1], xy[:, 0]] = 255
    far, labels = cv2.distanceTransformWithLabels(
        255 - seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    light = rng.uniform(60, 200, labels.max() + 1)
    warm = rng.normal(4, 7, labels.max() + 1)
    rgb = light[labels][..., None] + warm[labels][..., None] * np.array([1.0, 0.3, -0.8])
    rgb *= np.clip(1.15 - far / (1.5 * far.mean() + 1e-9) * 0.28, 0.35, 1.15)[..., None]
    return _taken(cv2.GaussianBlur(rgb, (0, 0), 0.9) + 8 * _clouds(rng, 2)[..., None], rng)


NON_STONES: dict[str, Callable[[np.random.Generator], Picture]] = {
    "bricks": draw_bricks,
    "concrete": draw_concrete,
    "cloth": draw_cloth,
    "hand": draw_hand,
    "wood": draw_wood,
    "gravel": draw_gravel,
}


def _any_colour(rng: np.random.Generator) -> NDArray:
    return np.array([rng.uniform(30, 225) for _ in range(3)])


def _clouds(rng: np.random.Generator, size_px: float) -> NDArray:
    """Smooth noise of mean 0 and spread 1, its grain so wide."""
    h, w = SIZE
    small = rng.normal(size=(max(2, int(h / size_px) + 2), max(2, int(w / size_px) + 2)))
    noise = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    return (noise - noise.mean()) / (noise.std() + 1e-9)


def _taken(rgb: NDArray, rng: np.random.Generator) -> Picture:
    """As a camera takes it: uneven light, a cast, a little noise."""
    h, w = SIZE
    y, x = np.mgrid[:h, :w] / max(h, w)
    light = 1 + rng.uniform(-0.2, 0.2) * (x - 0.5) + rng.uniform(-0.2, 0.2) * (y - 0.5)
    cast = 1 + rng.normal(0, 0.03, 3)
    noisy = rgb * light[..., None] * cast + rng.normal(0, 2.5, (h, w, 3))
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
