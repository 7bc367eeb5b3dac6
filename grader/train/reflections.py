"""Faces that mirror lamps, panes and the ground, with exact truth of what is mirrored; and honest ones beside them.

Height fields of domes, facets and broken planes give normals; along each mirrored view the surround is looked up, times
Fresnel's share. Below lie stones of all hues, many of them white or cream. For the network of glare.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.camera import Camera, balance, draw_camera, expose
from grader.render.environment import (
    HELD_OUT_SHAPES,
    LAMP_RADIANCE,
    SHAPES,
    STONE_INDEX,
    WATER_INDEX,
    Environment,
    draw_environment,
    fresnel,
    lamplight,
    mirrored_ray,
    normal_reflectance,
    radiance_along,
)
from grader.render.noise import cell_values, cells, fbm, soft_step
from grader.render.pattern import Grid, draw_pattern
from grader.render.pigment import reflectance
from grader.render.shape import broken, fill, outline, slopes
from grader.render.style import HELD_OUT_PATTERNS, HELD_OUT_PIPELINES, TRAINING, Style

#: Side of a picture, px.
SIDE_PX = 320
#: Longer side of a stone in it, at least, and by how much it is shorter than the picture's, px.
LONG_PX, ROOM_PX = 120, 10
#: Ground around it, px.
MARGIN_PX = 4
#: What a lamp mirrors hides the stone from this share of the luminance on, or where the light is full by it;
HIDDEN_SHARE = 0.5
#: from this share on it is left out of the loss, since eyes differ;
VEIL_SHARE = 0.2
#: and so is where the light is full and this much of it is mirrored.
FULL_VEIL_SHARE = 0.08
#: The ground shines along the rim, where an eye takes it for the stone unless it is most of the light.
GROUND_SHARE, GROUND_LIGHT = 0.7, 0.15
#: Light from which a channel is full; mirrored light that an eye sees on black.
FULL_LIGHT, SEEN_LIGHT = 0.92, 0.07
#: The stone's light is taken over so much of the picture's longer side: a reflection ends at no speck.
NEAR_SHARE = 0.025
#: How many lamps are mirrored, with what weight; a dull face mirrors none.
LAMPS = {0: 0.08, 1: 0.3, 2: 0.27, 3: 0.17, 4: 0.1, 5: 0.08}
#: How often a face is dull; cut from edge to edge; wet and rough; gives two pictures of a stone.
DULL, WHOLE, WET = 0.24, 0.1, 0.2
LIGHTINGS = 2
#: Most of a face that may be hidden: of more nothing is to be learned.
MOST_HIDDEN = 0.7
LUMINANCE = np.float32([0.2126, 0.7152, 0.0722])

#: How a face is shaped, with its weight.
RELIEFS = {"dome": 0.5, "cushion": 0.14, "table": 0.1, "facets": 0.1, "broken": 0.1, "flat": 0.06}
HELD_OUT_RELIEFS = ("saddle", "cone", "step")
#: What a stone is by its colour, with its weight: L*, C*ab, h_ab of its main colour.
COLOURS = {
    "blue": (0.24, (14, 66), (14, 50), (225, 305)),
    "pale blue": (0.1, (60, 84), (6, 24), (250, 300)),
    "white": (0.15, (78, 97), (0, 4), (0, 360)),
    "cream": (0.1, (70, 94), (5, 18), (65, 105)),
    "black": (0.12, (4, 16), (0, 9), (0, 360)),
    "grey": (0.06, (28, 72), (0, 6), (0, 360)),
    "any": (0.23, (18, 86), (8, 60), (0, 360)),
}  # fmt: skip
#: L*, C*ab, h_ab of a dark polished stone; how much smaller its lamps are; how far its polish spreads a ray, radians.
POLISHED, SMALLER, POLISH_RAD = ((4, 34), (0, 45), (0, 360)), (0.2, 0.7), (0.003, 0.03)


@dataclass(frozen=True)
class Lesson:
    """What is drawn for one stretch of training; as it stands, what is drawn for checks.

    side_px : of a picture.   mottled : how often a stone is.   polished : how often a dark mirror for small lamps.
    """

    side_px: int = SIDE_PX
    mottled: float = 0.5
    polished: float = 0.0


CHECKED = Lesson()


@dataclass(frozen=True)
class Stone:
    """A stone without light.

    reflect : (side, side, 3) linear rgb.   normals : (side, side, 3) unit vectors, z to the camera.   mask : bool.
    polished : a mirror for small lamps.
    """

    reflect: NDArray[np.float32]
    normals: NDArray[np.float32]
    mask: NDArray[np.bool_]
    polished: bool = False


@dataclass(frozen=True)
class Reflection:
    """One picture.

    rgb : (side, side, 3) uint8.   mask : the stone.   hidden : what the mirrored light hides.   veiled : where eyes may
    differ.
    """

    rgb: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    hidden: NDArray[np.bool_]
    veiled: NDArray[np.bool_]


def draw_reflections(
    rng: np.random.Generator, style: Style, lesson: Lesson = CHECKED
) -> list[Reflection]:
    """Return ``LIGHTINGS`` pictures of one stone, each under other lamps, or dull and mirroring none.

    style : the held-out one has lamps, reliefs, patterns and cameras of its own, and no others.
    """
    stone = draw_stone(rng, style, lesson)
    pictures = []
    while len(pictures) < LIGHTINGS:
        picture = _lit(rng, stone, style)
        if picture.hidden.sum() <= MOST_HIDDEN * stone.mask.sum():
            pictures.append(picture)
    return pictures


def draw_stone(rng: np.random.Generator, style: Style, lesson: Lesson = CHECKED) -> Stone:
    """Return a stone of any colour and relief, upright in its picture."""
    points = outline(rng, str(rng.choice(["cab", "slab", "chunk"], p=[0.7, 0.12, 0.18])))
    points *= rng.uniform(LONG_PX, lesson.side_px - ROOM_PX) / np.ptp(points, axis=0).max()
    points += MARGIN_PX - points.min(0)
    width, height = (int(side) for side in points.max(0) + MARGIN_PX)
    mask = fill(points, (height, width)) >= 0.5
    whole = rng.random() < WHOLE
    if whole:
        mask[:] = True
    radius = max(width, height) / 2 - MARGIN_PX
    y, x = np.mgrid[:height, :width].astype(np.float32)
    middle = np.float32(points.mean(0))
    grid = Grid((x - middle[0]) / np.float32(radius), (y - middle[1]) / np.float32(radius), radius)
    # Of a stone that is cut at the picture's edge no outline is seen.
    depth = _depth(points, grid, middle) * np.float32(0.55 if whole else 1)
    relief = _relief(rng, grid, depth, style) * np.float32(radius)
    # Drawn only where asked for: checks keep their draws.
    polished = bool(lesson.polished) and rng.random() < lesson.polished
    bumps = 0 if polished else _bumps(rng, grid)
    nx, ny = slopes((relief + bumps).astype(np.float32))
    turn = rng.normal(0, 0.12, 2)  # no stone lies quite level
    nz = np.sqrt(np.clip(1 - nx * nx - ny * ny, 1e-3, 1))
    normals = _unit(nx + np.float32(turn[0]), ny + np.float32(turn[1]), nz)
    return Stone(_colours(rng, grid, style, lesson.mottled, polished), normals, mask, polished)


def _unit(x: NDArray, y: NDArray, z: NDArray) -> NDArray[np.float32]:
    """Unit vectors, (h, w, 3)."""
    length = np.sqrt(x * x + y * y + z * z)
    return cv2.merge([x / length, y / length, z / length])


def _depth(points: NDArray, grid: Grid, middle: NDArray) -> NDArray[np.float32]:
    """0 in the middle, 1 at the outline, seen along each ray from the middle."""
    way = (points - middle) / grid.radius_px
    turn, away = np.arctan2(way[:, 1], way[:, 0]), np.hypot(way[:, 0], way[:, 1])
    order = np.argsort(turn)
    reach = np.interp(
        np.linspace(-np.pi, np.pi, 721), turn[order], away[order], period=2 * np.pi
    ).astype(np.float32)
    # Of a ragged outline only the slow part: its teeth do not reach the middle.
    reach = cv2.blur(np.tile(reach, (1, 3)), (31, 1))[0, 721:1442]
    step = (np.arctan2(grid.v, grid.u) + np.pi) * (720 / (2 * np.pi))
    return np.hypot(grid.u, grid.v) / np.maximum(
        reach[np.clip(np.rint(step), 0, 720).astype(int)], 0.05
    )


def _relief(
    rng: np.random.Generator, grid: Grid, depth: NDArray[np.float32], style: Style
) -> NDArray[np.float32]:
    """Height in stone radii."""
    if style.name != TRAINING.name:
        return _held_out_relief(rng, grid, depth)
    kind = str(rng.choice(list(RELIEFS), p=list(RELIEFS.values())))
    u, v = _turned(rng, grid)
    rise = float(np.exp(rng.uniform(np.log(0.06), np.log(0.95))))
    if kind == "flat":
        return rng.normal(0, 0.05) * u * v + rng.normal(0, 0.04) * u * u
    if kind == "broken":
        height, _ = broken(rng, u, v, grid.radius_px)
        return cv2.GaussianBlur(height, (0, 0), rng.uniform(0.6, 5)) / np.float32(grid.radius_px)
    if kind == "facets":
        height = rng.uniform(0.2, 0.6) + rng.normal(0, 0.06) * u + rng.normal(0, 0.06) * v
        for _ in range(int(rng.integers(3, 10))):
            a, fall = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 1.2)
            plane = fall * (rng.uniform(0.4, 1.4) - u * np.cos(a) - v * np.sin(a))
            height = np.minimum(height, plane)
        return cv2.GaussianBlur(height.astype(np.float32), (0, 0), rng.uniform(0.5, 14))
    power, root = rng.uniform(1.8, 7), rng.uniform(1.2, 3)
    if kind == "cushion":
        px, py = (float(power) for power in rng.uniform(1.6, 6, 2))
        depth = np.abs(u) ** px * rng.uniform(0.3, 1) + np.abs(v) ** py * rng.uniform(0.3, 1)
        power = 1.0
    height = rise * np.clip(1 - np.minimum(depth, 1) ** power, 0, 1) ** (1 / root)
    if kind == "table":
        height = np.minimum(height, rise * rng.uniform(0.4, 0.9))
        height = cv2.GaussianBlur(height.astype(np.float32), (0, 0), rng.uniform(1, 10))
    return height.astype(np.float32)


def _held_out_relief(rng: np.random.Generator, grid: Grid, depth: NDArray) -> NDArray[np.float32]:
    u, v = _turned(rng, grid)
    kind, rise = str(rng.choice(HELD_OUT_RELIEFS)), rng.uniform(0.15, 0.7)
    if kind == "saddle":
        height = rise * (u * u - 0.7 * v * v) - 0.5 * rise * np.minimum(depth, 1) ** 6
    elif kind == "cone":
        height = rise * (1 - np.sqrt(np.minimum(depth, 1) ** 2 + rng.uniform(0.02, 0.2)))
    else:  # two levels with a round step between them
        height = rise * np.tanh((u + rng.uniform(-0.4, 0.4)) * rng.uniform(2, 6)) * 0.4
        height = height - rise * np.minimum(depth, 1) ** 4
    return height.astype(np.float32)


def _turned(rng: np.random.Generator, grid: Grid) -> tuple[NDArray, NDArray]:
    turn = rng.uniform(0, 2 * np.pi)
    c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    return c * grid.u + s * grid.v, c * grid.v - s * grid.u


def _bumps(rng: np.random.Generator, grid: Grid) -> NDArray[np.float32]:
    """Height in px of waves, of dents and of what a saw or a break leaves: at three scales, each by its slope."""
    height = np.zeros(grid.shape, np.float32)
    finish = float(rng.choice([0, 0.3, 1, 3], p=[0.6, 0.22, 0.12, 0.06]))
    for cells_of, steep in (((0.3, 0.9), 0.12), ((0.08, 0.3), 0.08), ((0.02, 0.08), 0.03)):
        cell = max(2.0, rng.uniform(*cells_of) * grid.radius_px)
        slope = steep * rng.uniform(0, 1) ** 2 * finish
        if slope:
            height += fbm(rng, grid.shape, cell, 2) * np.float32(slope * cell * 0.5)
    return height


def _colours(
    rng: np.random.Generator, grid: Grid, style: Style, mottled: float, polished: bool
) -> NDArray[np.float32]:
    """Linear reflectance of a stone, (side, side, 3): plain, mottled, banded, veined, speckled."""
    names = list(COLOURS)
    weights = np.array([COLOURS[name][0] for name in names])
    kind = str(rng.choice(names, p=weights / weights.sum()))
    base = _draw_lab(rng, POLISHED if polished else COLOURS[kind][1:])
    second = base + rng.normal(0, (9, 5, 5))
    like = rng.random()
    if like < 0.45:  # white beside it, as pure as the stone has it
        second = np.array(
            [rng.uniform(72, 97), *(base[1:] * rng.uniform(0, 0.35) + rng.normal(0, 2, 2))]
        )
    elif like < 0.75:
        second = _draw_lab(rng, COLOURS["any"][1:])
    host = _draw_lab(rng, COLOURS["any"][1:]) if rng.random() < 0.6 else base * 0.6
    lab = np.empty((*grid.shape, 3), np.float32)
    lab[:] = base
    patterns = TRAINING.patterns if style.name == TRAINING.name else HELD_OUT_PATTERNS
    if rng.random() < 0.75:
        figure = draw_pattern(rng, str(rng.choice(patterns)), grid)
        strength = np.float32(rng.choice([1.0, rng.uniform(0.2, 1)]))
        for weight, colour in ((figure.white, second), (figure.host, host)):
            lab += (weight * strength)[..., None] * (np.float32(colour) - lab)
        lab[..., 0] += figure.tone
    if rng.random() < mottled:
        _mottle(rng, lab, grid, second)
    lab[..., 0] += grid.noise(rng, rng.uniform(0.05, 0.8), 4) * np.float32(rng.uniform(0, 4))
    for channel in (1, 2):
        lab[..., channel] += grid.noise(rng, rng.uniform(0.1, 0.8), 2) * np.float32(
            rng.uniform(0, 3)
        )
    if rng.random() < 0.3:
        _speckle(rng, lab, grid)
    if rng.random() < 0.15:
        _pale_blots(rng, lab, grid)
    lab[..., 0] = np.clip(lab[..., 0], 3, 98)
    return reflectance(lab)


def _mottle(rng: np.random.Generator, lab: NDArray, grid: Grid, pale: NDArray) -> None:
    """All steps from the stone's colour to a pale one, in clouds, streaks or grains, soft or hard."""
    for _ in range(int(rng.integers(1, 3))):
        u, _ = _turned(rng, grid)
        cell = float(np.exp(rng.uniform(np.log(0.03), np.log(0.7))))
        stretch = float(np.exp(rng.normal(0, 0.7)))
        size = (cell * grid.radius_px * stretch, cell * grid.radius_px / stretch)
        field = fbm(rng, grid.shape, size, 5, rng.uniform(0.4, 0.75))
        if rng.random() < 0.3:  # drawn out along a bent run
            field = (
                fbm(rng, grid.shape, 0.5 * grid.radius_px, 2) + np.float32(rng.uniform(2, 9)) * u
            )
            field = np.sin(field * np.float32(rng.uniform(1, 4))) + 0.5 * fbm(
                rng, grid.shape, size, 4
            )
        soft = rng.choice([rng.uniform(0.1, 0.5), rng.uniform(0.5, 3)])
        hold = soft_step(field + np.float32(rng.uniform(-1, 1)), soft)[..., None]
        lab += hold * np.float32(rng.uniform(0.15, 1)) * (np.float32(pale) - lab)


def _draw_lab(rng: np.random.Generator, ranges) -> NDArray:
    lightness, chroma, hue = (rng.uniform(*r) for r in ranges)
    hue = np.radians(hue)
    return np.array([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])


def _speckle(rng: np.random.Generator, lab: NDArray, grid: Grid) -> None:
    """Flecks of another colour, white or metal-bright among them."""
    colour = np.float32(_draw_lab(rng, ((8, 97), (0, 30), (0, 360))))
    size = max(1.3, rng.uniform(0.006, 0.05) * grid.radius_px)
    distance, labels = cells(rng, grid.shape, size * rng.uniform(2, 6))
    hold = soft_step(size * cell_values(rng, labels) - distance, 1.2)
    hold *= cell_values(rng, labels) > rng.uniform(0, 0.8)
    lab += hold[..., None] * (colour - lab)


def _pale_blots(rng: np.random.Generator, lab: NDArray, grid: Grid) -> None:
    """Pale patches and streaks in the stone that have a lamp's outline and none of its light."""
    for _ in range(int(rng.integers(1, 5))):
        u, v = _turned(rng, grid)
        at = np.float32(rng.uniform(-0.7, 0.7, 2))
        half = np.exp(np.float32(rng.uniform(np.log(0.02), np.log(0.4), 2)))
        away = np.hypot((u - at[0]) / half[0], (v - at[1]) / half[1])
        soft = rng.uniform(0.1, 1.2)
        hold = soft_step(1 - away + 0.15 * grid.noise(rng, 0.1, 3), soft)[..., None]
        colour = np.array([rng.uniform(70, 94), *(lab.mean((0, 1))[1:] * rng.uniform(0, 0.8))])
        lab += hold * np.float32(rng.uniform(0.4, 1)) * (np.float32(colour) - lab)


def _lit(rng: np.random.Generator, stone: Stone, style: Style) -> Reflection:
    """The stone under lamps of its own, photographed."""
    held_out = style.name != TRAINING.name
    shapes = tuple(HELD_OUT_SHAPES if held_out else SHAPES)
    h, w = stone.mask.shape
    near = rng.uniform(0, 0.25) / max(h, w) * 2  # how near the camera stands
    ys, xs = np.mgrid[:h, :w].astype(np.float32)
    xs, ys = (w / 2 - xs) * np.float32(near), (h / 2 - ys) * np.float32(near)
    view = _unit(xs, ys, np.ones_like(xs))
    ray = mirrored_ray(stone.normals, view)
    inside = np.flatnonzero(stone.mask)
    aims = ray.reshape(-1, 3)[inside[rng.integers(len(inside), size=40)]]
    count = int(rng.choice(list(LAMPS), p=list(LAMPS.values())))
    surround = draw_environment(rng, shapes, aims, count)
    if stone.polished:
        surround = _with_small_lamps(rng, surround)
    body = stone.reflect * lamplight(surround, stone.normals, rng.uniform(0, 0.4))
    # A clear stone glows on one side, a near lamp lights one more than the other.
    body *= np.clip(1 + _slope(rng, stone.mask.shape), 0.4, 2)[..., None]
    dull = rng.random() < DULL
    wet = rng.random() < WET
    index = WATER_INDEX if wet else STONE_INDEX
    share = fresnel(np.einsum("hwc,hwc->hw", stone.normals, view), index)[..., None]
    # The plain room lies over all of the stone alike: an eye takes it for the stone.
    plain = surround.room * np.float32(normal_reflectance(index) * rng.uniform(0.2, 1))
    body = body * (1 - share) + plain
    blur = _blur(rng, stone.mask.shape)
    blur = np.clip(blur, *POLISH_RAD) if stone.polished else blur
    lamps, ground = radiance_along(surround, ray, blur)
    if dull:
        share = 0 * share
    return _photographed(rng, stone.mask, (body, share * lamps, share * ground), surround, held_out)


def _with_small_lamps(rng: np.random.Generator, surround: Environment) -> Environment:
    """The same lamps, each smaller and as much brighter as a lamp can be."""
    lights = []
    for light in surround.lights:
        factor = rng.uniform(*SMALLER)
        half = tuple(factor * side for side in light.half_rad)
        radiance = np.minimum(light.radiance / np.float32(factor**2), LAMP_RADIANCE[1])
        lights.append(replace(light, half_rad=half, radiance=radiance, edge_rad=light.edge_rad / 2))
    return replace(surround, lights=tuple(lights))


def _slope(rng: np.random.Generator, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A plane or a shallow bowl over the picture, of mean about 0."""
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
    a, b, bowl = np.float32(rng.normal(0, (0.15, 0.15, 0.2)))
    return a * x + b * y + bowl * (x * x + y * y - np.float32(0.5))


def _blur(rng: np.random.Generator, shape: tuple[int, int]) -> NDArray[np.float32] | np.float32:
    """How far the polish spreads a ray, radians; at times in patches."""
    blur = np.float32(np.exp(rng.triangular(np.log(0.003), np.log(0.012), np.log(0.3))))
    if rng.random() < 0.7:
        return blur
    return blur * np.exp(fbm(rng, shape, rng.uniform(15, 120), 3) * np.float32(0.6))


def _photographed(
    rng: np.random.Generator,
    mask: NDArray[np.bool_],
    parts: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
    surround: Environment,
    held_out: bool,
) -> Reflection:
    """Balanced, exposed and kept as a phone or a web page does; and the truth of it.

    parts : light of the stone's body, of the lamps it mirrors and of the ground it mirrors.
    """
    body = parts[0]
    light = surround.room + sum(
        (lamp.radiance * 0.3 for lamp in surround.lights), np.zeros(3, np.float32)
    )
    gains = balance(np.float64(light), rng.uniform(0.5, 1)) * np.exp(rng.normal(0, 0.04, 3))
    # The stone, or the picture, is exposed for: a white one seldom runs full, a black one is seldom lifted to grey.
    bright = max(float(np.percentile(body[mask] @ LUMINANCE, 95)), 0.02)
    level = bright ** rng.uniform(-0.5, 0) * np.exp(rng.normal(-0.1, 0.2))
    gains = np.float32(gains * min(level, rng.uniform(0.7, 1.0) / bright, 5.0))
    body, lamps, ground_seen = (part * gains for part in parts)
    camera = _camera(rng, held_out)
    total = body + lamps + ground_seen
    ground = np.float32(surround.ground * gains * rng.uniform(0.3, 1.2))
    if rng.random() < 0.3:
        ground = np.float32(rng.uniform(0.8, 1.2, 1) * np.ones(3))
    rgb = expose(rng, camera, np.where(mask[..., None], total, ground).astype(np.float32))
    hidden, veiled = _truth(body, lamps, ground_seen)
    return Reflection(rgb, mask, hidden & mask, veiled & mask)


def _camera(rng: np.random.Generator, held_out: bool) -> Camera:
    names = HELD_OUT_PIPELINES if held_out and rng.random() < 0.3 else TRAINING.pipelines
    return draw_camera(rng, str(rng.choice(names)), 1.0, None)


def _truth(
    body: NDArray[np.float32], lamps: NDArray[np.float32], ground: NDArray[np.float32]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What the mirrored light hides, and where it is a veil that one eye sees through and the next does not."""
    own = cv2.GaussianBlur(body @ LUMINANCE, (0, 0), NEAR_SHARE * max(body.shape[:2]))
    lamp, rim = lamps @ LUMINANCE, ground @ LUMINANCE
    total = np.maximum(own + lamp + rim, 1e-6)
    red, green, blue = cv2.split(body + lamps + ground)
    full = np.minimum(np.minimum(red, green), blue) >= FULL_LIGHT
    hidden = (lamp > HIDDEN_SHARE * total) & (lamp > SEEN_LIGHT)
    hidden |= full & (lamp > VEIL_SHARE * total)
    hidden |= (lamp + rim > GROUND_SHARE * total) & (rim > GROUND_LIGHT)
    mirrored = (lamp + rim) / total
    veiled = (mirrored > VEIL_SHARE) | (full & (mirrored > FULL_VEIL_SHARE))
    return hidden, veiled & ~hidden
