"""Stones of other kinds than the seller's, and wood and cloth, drawn as his stones are, so that they are told from his.

Colours and grains are round numbers by eye; no source.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from grader.render import Rendered, Style
from grader.render.noise import cell_values, cells, grain, net, soft_step
from grader.render.pattern import Grid
from grader.train.plain_stones import draw_stone_photo, one_class

#: Returns CIELAB (h, w, 3) of a body on a grid in stone radii.
Body = Callable[[np.random.Generator, Grid], NDArray[np.float32]]

#: Lowest and highest value.
Range = tuple[float, float]


def draw_stranger(rng: np.random.Generator, style: Style, kind: str) -> Rendered:
    """Return a photo of one stone of a kind in :data:`STRANGERS`."""
    # The body covers the blue; only the finish and the lines upon it are a seller's stone's.
    return draw_stone_photo(rng, style, {}, picture=one_class("blue"), body=STRANGERS[kind])


def _tone(rng: np.random.Generator, light: Range, chroma: Range, hue: Range) -> NDArray[np.float32]:
    """One colour in CIELAB, drawn from ranges of L*, C*ab and h_ab."""
    lightness, strength = rng.uniform(*light), rng.uniform(*chroma)
    turn = np.radians(rng.uniform(*hue))
    return np.float32([lightness, strength * np.cos(turn), strength * np.sin(turn)])


def _laid(
    lab: NDArray[np.float32], tone: NDArray[np.float32], weight: NDArray
) -> NDArray[np.float32]:
    """Lay a colour over a body, so strongly (h, w, 0 to 1)."""
    return lab + weight[..., None].astype(np.float32) * (tone - lab)


def _mottled(
    rng: np.random.Generator, grid: Grid, tone: NDArray, rough: Range, cell: Range = (0.08, 0.5)
) -> NDArray[np.float32]:
    """One colour, lighter and darker in clouds and in fine grain, so many L* strong."""
    lab = np.empty((*grid.shape, 3), np.float32)
    lab[:] = tone
    lab[..., 0] += rng.uniform(*rough) * grid.noise(rng, rng.uniform(*cell), 5, 0.6)
    lab[..., 0] += 0.4 * rng.uniform(*rough) * grain(rng, grid.shape, 0.9)
    return _held(lab)


def _held(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same, no darker than a black stone and no lighter than a white one."""
    lab[..., 0] = np.clip(lab[..., 0], 4, 97)
    return lab


def _specks(rng: np.random.Generator, grid: Grid, size: float, share: float) -> NDArray[np.float32]:
    """Weight (h, w) of grains of about that size, in stone radii, over a share of the face."""
    field = grid.noise(rng, size, 3, 0.7)
    return soft_step(field - np.float32(np.quantile(field, 1 - share)), 0.5)


def _web(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Weight (h, w) of dark veins around cells of uneven size."""
    distance = net(rng, grid.shape, grid.radius_px * rng.uniform(0.12, 0.6))
    width = grid.radius_px * rng.uniform(0.008, 0.03) * np.exp(0.5 * grid.noise(rng, 0.4, 3))
    return soft_step(width - distance, 0.02 * grid.radius_px) * soft_step(
        grid.noise(rng, 0.7, 3) + rng.uniform(-0.3, 1.2), 0.6
    )


def _turquoise(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Sky blue to green all over; often with a web or patches of dark matrix."""
    lab = _mottled(rng, grid, _tone(rng, (48, 78), (18, 45), (165, 228)), (0.5, 4))
    lab = _laid(lab, _tone(rng, (48, 78), (15, 42), (160, 222)), _specks(rng, grid, 0.7, 0.4))
    matrix = _tone(rng, (12, 45), (2, 26), (40, 80))
    if rng.random() < 0.6:
        lab = _laid(lab, matrix, _web(rng, grid) * rng.uniform(0.6, 1))
    if rng.random() < 0.25:
        lab = _laid(lab, matrix, _specks(rng, grid, 0.4, rng.uniform(0.03, 0.2)))
    return lab


def _lapis(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Deep blue with specks of gold, and at times with cloudy white."""
    lab = _mottled(rng, grid, _tone(rng, (14, 36), (25, 62), (284, 303)), (2, 7), (0.05, 0.3))
    if rng.random() < 0.5:
        pale = _tone(rng, (50, 80), (3, 14), (250, 300))
        lab = _laid(lab, pale, 0.8 * _specks(rng, grid, 0.3, rng.uniform(0.02, 0.2)))
    gold = _tone(rng, (55, 78), (25, 50), (72, 92))
    size, share = rng.uniform(0.03, 0.1), rng.uniform(0.01, 0.08)
    where = _specks(rng, grid, size, share) * soft_step(grid.noise(rng, 0.5, 3) + 0.6, 0.8)
    return _laid(lab, gold, where)


def _jasper(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Red, yellow, brown or green, in patches or flowing layers of two or three tones, at times with veins."""
    hues = {"red": (18, 48), "yellow": (62, 90), "brown": (40, 70), "green": (105, 160)}
    chosen = rng.choice(list(hues), 3, p=[0.4, 0.25, 0.25, 0.1])
    tones = [_tone(rng, (24, 66), (16, 52), hues[name]) for name in chosen]
    lab = _mottled(rng, grid, tones[0], (1.5, 6))
    stretch = rng.uniform(0.06, 0.5), rng.uniform(0.3, 1.0)
    field = grid.noise(rng, 1.0, 3) + np.sin(
        (grid.v + 0.3 * grid.noise(rng, 0.8, 4)) / stretch[0]
    ) * (rng.random() < 0.5)
    for tone, share in zip(tones[1:], (0.4, 0.15), strict=True):
        bound = np.float32(np.quantile(field, 1 - share))
        lab = _laid(lab, tone, soft_step(field - bound, rng.uniform(0.05, 0.6)))
    if rng.random() < 0.4:
        lab = _laid(lab, _tone(rng, (60, 90), (0, 12), (40, 100)), 0.8 * _web(rng, grid))
    return lab


def _glass(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Even and strong in any hue, darker where it is thick, with a few bubbles."""
    tone = _tone(rng, (22, 72), (20, 70), (0, 360))
    lab = _mottled(rng, grid, tone, (0.0, 0.6), (0.5, 1.0))
    turn = rng.uniform(0, 2 * np.pi)
    lab[..., 0] += rng.uniform(3, 14) * (np.cos(turn) * grid.u + np.sin(turn) * grid.v)
    lab[..., 0] -= rng.uniform(0, 12) * (grid.u**2 + grid.v**2)
    if rng.random() < 0.6:
        bubbles = _specks(rng, grid, rng.uniform(0.03, 0.08), rng.uniform(0.002, 0.02))
        lab[..., 0] += rng.uniform(6, 25) * bubbles
    return _held(lab)


def _grey_blue(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Mottled grey and dull blue, in blotches that run no way, with dark and pale grains."""
    lab = _mottled(rng, grid, _tone(rng, (35, 65), (3, 14), (235, 292)), (2, 6))
    for light, share in (((20, 45), 0.3), ((60, 82), 0.2)):
        tone = _tone(rng, light, (1, 12), (220, 300))
        size = np.exp(rng.uniform(np.log(0.05), np.log(0.4)))
        lab = _laid(lab, tone, rng.uniform(0.4, 0.9) * _specks(rng, grid, size, share))
    return lab


def _pebble(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """A plain grey river pebble: nearly without colour, finely speckled, at times with a pale vein."""
    lab = _mottled(rng, grid, _tone(rng, (28, 75), (0, 7), (40, 300)), (0.8, 4), (0.02, 0.3))
    if rng.random() < 0.3:
        lab = _laid(lab, _tone(rng, (70, 92), (0, 6), (60, 110)), 0.8 * _web(rng, grid))
    return lab


def _granite(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Grains side by side: white, grey, black, and flesh or brown ones."""
    _, labels = cells(rng, grid.shape, grid.radius_px * rng.uniform(0.03, 0.12))
    value = cell_values(rng, labels)
    lab = _mottled(rng, grid, _tone(rng, (60, 85), (0, 6), (50, 110)), (1, 3))
    flesh = _tone(rng, (45, 70), (6, 28), (25, 70))
    lab = _laid(lab, flesh, value < rng.uniform(0.1, 0.45))
    return _laid(lab, _tone(rng, (8, 25), (0, 5), (0, 360)), value > rng.uniform(0.7, 0.92))


def _green(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Green, in layers as malachite or clouded as serpentine and jade."""
    lab = _mottled(rng, grid, _tone(rng, (25, 65), (12, 48), (110, 172)), (1, 5))
    other = _tone(rng, (15, 75), (8, 45), (105, 175))
    if rng.random() < 0.4:
        waves = np.sin((grid.u + 0.25 * grid.noise(rng, 0.6, 3)) / rng.uniform(0.02, 0.08))
        return _laid(lab, other, soft_step(waves, 0.8))
    return _laid(lab, other, _specks(rng, grid, rng.uniform(0.1, 0.6), 0.35))


def _pink(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Pink to purple: rose quartz, rhodonite with black veins, amethyst."""
    tone = _tone(rng, (25, 75), (8, 42), (308, 380))
    lab = _mottled(rng, grid, tone, (0.8, 5))
    lab = _laid(lab, _tone(rng, (35, 88), (3, 30), (305, 375)), _specks(rng, grid, 0.5, 0.4))
    if rng.random() < 0.35:
        lab = _laid(lab, _tone(rng, (6, 25), (0, 8), (0, 360)), _web(rng, grid))
    return lab


def _honey(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Honey and amber: clear yellow to orange, even or in soft layers."""
    lab = _mottled(rng, grid, _tone(rng, (35, 75), (24, 70), (55, 90)), (0.5, 3))
    if rng.random() < 0.6:
        waves = np.sin((grid.v + 0.2 * grid.noise(rng, 0.8, 3)) / rng.uniform(0.03, 0.15))
        lab = _laid(lab, _tone(rng, (40, 90), (8, 50), (45, 92)), soft_step(waves, 1.0))
    return lab


def _wood(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """A worn piece of wood: brown, with its grain along it."""
    lab = _mottled(rng, grid, _tone(rng, (25, 72), (8, 34), (48, 80)), (0.5, 2))
    rings = np.sin((grid.v + 0.2 * grid.noise(rng, 1.5, 3)) / rng.uniform(0.015, 0.06))
    fibre = grid.noise(rng, 0.05, 2)
    lab[..., 0] += rng.uniform(2, 9) * rings + rng.uniform(0, 3) * fibre
    return _held(lab)


def _cloth(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Woven stuff of any colour, plain or with stripes, with folds."""
    lab = _mottled(rng, grid, _tone(rng, (20, 85), (0, 45), (0, 360)), (1, 6), (0.4, 1.0))
    pitch = max(rng.uniform(0.006, 0.03), 0.8 / grid.radius_px)
    weave = np.sin(grid.u / pitch) + np.sin(grid.v / pitch)
    if rng.random() < 0.4:
        stripe = soft_step(np.sin(grid.u / rng.uniform(0.04, 0.2)) - rng.uniform(-0.5, 0.7), 0.1)
        lab = _laid(lab, _tone(rng, (20, 85), (0, 45), (0, 360)), stripe)
    lab[..., 0] += rng.uniform(1, 6) * weave
    return _held(lab)


#: Bodies by the name of their kind. The order settles the seeds of the starter's.
STRANGERS: dict[str, Body] = {
    "turquoise": _turquoise,
    "lapis with gold": _lapis,
    "jasper": _jasper,
    "glass": _glass,
    "mottled grey-blue": _grey_blue,
    "grey pebble": _pebble,
    "granite": _granite,
    "green stone": _green,
    "pink and purple stone": _pink,
    "honey and amber": _honey,
    "wood": _wood,
    "cloth": _cloth,
}
