"""What stands around a stone and is mirrored in it: lamps, panes and soft boxes in angle space, and the bright ground.

Radiance is told in units in which a white card beside the stone shines with 1. The camera looks along -z of its own
frame: x right, y down, z towards the camera.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Refractive index of quartz, agate and feldspars, and of water at 589 nm (handbook values).
STONE_INDEX, WATER_INDEX = 1.54, 1.333
#: A real rim is bevelled and never quite grazing.
MOST_MIRRORED = 0.3
#: Of all lamps together a white card has this much of its light at most; the rest comes from the room.
MOST_LAMPLIGHT = 0.95
#: Radiance of a lamp, at least and at most.
LAMP_RADIANCE = (2.0, 80.0)


@dataclass(frozen=True)
class AreaLight:
    """A lamp, pane or cloth that shines.

    towards, across : unit vectors, to its middle and along its width.
    half_rad : half its width and height, radians.
    radiance : linear rgb.
    edge_rad : how softly it ends.
    shape : a name in ``SHAPES`` or ``HELD_OUT_SHAPES``.
    """

    towards: NDArray[np.float32]
    across: NDArray[np.float32]
    half_rad: tuple[float, float]
    radiance: NDArray[np.float32]
    edge_rad: float
    shape: str


@dataclass(frozen=True)
class Environment:
    """All that a stone can mirror.

    up : unit vector, away from the ground.   ground, room : linear rgb.   horizon_rad : how softly the ground ends.
    """

    lights: tuple[AreaLight, ...]
    up: NDArray[np.float32]
    ground: NDArray[np.float32]
    room: NDArray[np.float32]
    horizon_rad: float


def normal_reflectance(index: float) -> float:
    """Return the share of light that a smooth surface mirrors at normal incidence: ((n - 1) / (n + 1))² (Fresnel)."""
    return ((index - 1) / (index + 1)) ** 2


def fresnel(cosine: NDArray[np.float32], index: float) -> NDArray[np.float32]:
    """Return the mirrored share of unpolarised light by its cosine of incidence (Fresnel's equations); at most 0.3."""
    out = np.clip(cosine, 0, 1).astype(np.float32)
    inside = np.sqrt(1 - (1 - out * out) / np.float32(index**2))
    across = (out - index * inside) / (out + index * inside)
    along = (inside - index * out) / (inside + index * out)
    return np.minimum((across * across + along * along) / 2, np.float32(MOST_MIRRORED))


def mirrored_ray(normals: NDArray[np.float32], view: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return where each place looks by way of its mirror, unit vectors: 2 (n·v) n - v.

    normals, view : (..., 3) unit vectors, the second towards the camera.
    """
    facing = np.einsum("...c,...c->...", normals, view)[..., None]
    return 2 * facing * normals - view


def radiance_along(
    surround: Environment, ray: NDArray[np.float32], blur_rad: NDArray[np.float32] | float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return what shines along each ray beyond the plain room, linear rgb: of the lamps, and of the ground.

    Parameters
    ----------
    ray : (h, w, 3) unit vectors.
    blur_rad : how far roughness spreads a ray: 0 mirror to about 0.4 satin; one number or (h, w).
    """
    edge = np.hypot(np.float32(surround.horizon_rad), blur_rad) + np.float32(0.01)
    below = _fall(ray @ surround.up, edge)
    lamps = np.zeros(ray.shape, np.float32)
    for light in surround.lights:
        lamps += (_shape_seen(light, ray, blur_rad) * (1 - below))[..., None] * light.radiance
    return lamps, below[..., None] * surround.ground


def lamplight(surround: Environment, normals: NDArray[np.float32], wrap: float) -> NDArray:
    """Return the light that falls on each place, (h, w, 3); about 1 for a place that faces room and lamps alike.

    wrap : how far light reaches round an edge inside the stone, 0 to 1.
    """
    height = (normals @ surround.up)[..., None]
    total = (0.5 + 0.5 * height) * surround.room + (0.5 - 0.5 * height) * surround.ground * 0.5
    for light in surround.lights:
        facing = np.maximum((normals @ light.towards + wrap) / (1 + wrap), 0)[..., None]
        total = total + facing * light.radiance * np.float32(solid_angle(light) / np.pi)
    return total.astype(np.float32)


def solid_angle(light: AreaLight) -> float:
    """Return about how much of the sphere a light fills, steradian."""
    round_ = light.shape in ("disc", "umbrella")
    return 4 * light.half_rad[0] * light.half_rad[1] * (np.pi / 4 if round_ else 1.0)


def _fall(x: NDArray, edge: NDArray | float) -> NDArray[np.float32]:
    """1 well below 0, 0 well above it."""
    return (0.5 - 0.5 * np.tanh(x / edge)).astype(np.float32)


def _box(x: NDArray, half: float, edge: NDArray | float) -> NDArray[np.float32]:
    """1 within half of 0, with soft sides; a narrow one that is blurred wide grows dim and keeps its light."""
    return 0.5 * (np.tanh((x + half) / edge) - np.tanh((x - half) / edge))


def _shape_seen(light: AreaLight, ray: NDArray, blur_rad: NDArray | float) -> NDArray[np.float32]:
    edge = np.hypot(np.float32(light.edge_rad), blur_rad) + np.float32(0.004)
    facing = np.maximum(ray @ light.towards, 1e-3)
    # Angles from its middle, along its width and height; what stands behind is far off.
    behind = (ray @ light.towards < 0.05) * np.float32(9)
    a = np.arctan((ray @ light.across) / facing) + behind
    b = np.arctan((ray @ np.cross(light.towards, light.across).astype(np.float32)) / facing)
    return {**SHAPES, **HELD_OUT_SHAPES}[light.shape](a, b, light.half_rad, edge)


def _panel(a, b, half, edge):
    return _box(a, half[0], edge) * _box(b, half[1], edge)


def _cloth(a, b, half, edge):
    """Cloth before a bulb: brighter in the middle."""
    middle = np.exp(-((a / half[0]) ** 2) - (b / half[1]) ** 2)
    return _panel(a, b, half, edge) * (0.6 + 0.8 * middle)


def _disc(a, b, half, edge):
    away = np.hypot(a * np.float32(half[1] / half[0]), b)
    # Blurred far beyond its size it keeps its light.
    dim = np.minimum(1, (half[1] / edge) ** 2 + 0.5)
    return _box(away, half[1], edge) * dim


def _window(a, b, half, edge):
    """A pane with a bar each way."""
    bar = np.float32(0.07)
    bars = (1 - _box(a, half[0] * bar, edge)) * (1 - _box(b, half[1] * bar, edge))
    return _panel(a, b, half, edge) * bars


def _tall_window(a, b, half, edge):
    """A pane with two bars across, one half drawn over with a curtain."""
    bars = 1.0
    for at in (-0.33, 0.33):
        bars = bars * (1 - _box(b - half[1] * np.float32(at), half[1] * 0.05, edge))
    curtain = 1 - 0.6 * _fall(a, edge)
    return _panel(a, b, half, edge) * bars * curtain


def _twin(a, b, half, edge):
    """Two tubes side by side."""
    aside = half[1] * np.float32(2.5)
    return _panel(a, b - aside, half, edge) + _panel(a, b + aside, half, edge)


def _ring(a, b, half, edge):
    away = np.hypot(a * np.float32(half[1] / half[0]), b)
    return _box(away - half[1] * 0.8, half[1] * 0.2, edge)


def _blind(a, b, half, edge):
    """A window behind a blind: many thin strips."""
    slats = 0.5 + 0.5 * np.cos(b * np.float32(9 * np.pi / half[1]))
    soft = np.exp(-((edge * 9 / half[1]) ** 2))
    return _panel(a, b, half, edge) * (0.55 + (slats - 0.55) * soft)


def _umbrella(a, b, half, edge):
    """Eight sides with the shade of its ribs and of the bulb in the middle."""
    away, turn = np.hypot(a * np.float32(half[1] / half[0]), b), np.arctan2(b, a)
    side = np.cos((turn + np.pi / 8) % (np.pi / 4) - np.pi / 8)
    ribs = 1 - 0.25 * np.exp(-((side - 1) ** 2) / 1e-4)
    hole = 1 - _box(away, half[1] * 0.15, edge)
    return _box(away * side, half[1], edge) * ribs * hole


def _dots(a, b, half, edge):
    """A board of bulbs, four by three."""
    total = 0.0
    for column in (-0.75, -0.25, 0.25, 0.75):
        for row in (-0.7, 0.0, 0.7):
            away = np.hypot(a - half[0] * np.float32(column), b - half[1] * np.float32(row))
            total = total + _box(away, min(half) * 0.18, edge)
    return np.minimum(total, 1)


Seen = Callable[[NDArray, NDArray, tuple[float, float], NDArray | float], NDArray[np.float32]]
#: How a light is seen by its angles from the middle (radians), its half width and height, and how soft its edge is.
SHAPES: dict[str, Seen] = {
    "panel": _panel, "cloth": _cloth, "disc": _disc, "window": _window, "tall window": _tall_window, "twin": _twin,
}  # fmt: skip
#: Shapes that no network learns from.
HELD_OUT_SHAPES: dict[str, Seen] = {
    "ring": _ring, "blind": _blind, "umbrella": _umbrella, "dots": _dots,
}  # fmt: skip


def draw_environment(
    rng: np.random.Generator, shapes: tuple[str, ...], aims: NDArray[np.float32], count: int
) -> Environment:
    """Return a room with that many lamps of these shapes over a dark or bright ground.

    aims : (n, 3) unit vectors along which the stone mirrors; most lamps stand near one, so that they are seen in it.
    """
    tilt, turn = rng.uniform(0, 1.15), rng.normal(0, 0.5)
    up = np.float32([np.sin(tilt) * np.sin(turn), -np.sin(tilt) * np.cos(turn), np.cos(tilt)])
    shares = rng.dirichlet(np.ones(max(count, 1))) * rng.uniform(0.3, MOST_LAMPLIGHT)
    family = _tint(rng, 0.12)
    lights = tuple(
        _draw_light(rng, str(rng.choice(shapes)), aims, float(share), family, up)
        for share in shares[:count]
    )
    rest = 1 - sum(float(light.radiance.mean()) * solid_angle(light) / np.pi for light in lights)
    room = np.float32(max(0.1, rest)) * _tint(rng, 0.1)
    bright = rng.choice([rng.uniform(0.02, 0.2), rng.uniform(0.1, 0.4), rng.uniform(0.4, 1.0)])
    ground = np.float32(bright) * _tint(rng, 0.15)
    return Environment(lights, up, ground, room, float(np.exp(rng.uniform(-4, -0.7))))


def _draw_light(
    rng: np.random.Generator, shape: str, aims: NDArray, share: float, family: NDArray, up: NDArray
) -> AreaLight:
    towards = aims[rng.integers(len(aims))] + rng.normal(0, 0.12, 3)
    if rng.random() < 0.3:  # anywhere above the table
        towards = rng.normal(0, 1, 3) + 1.2 * up
    towards = (towards / np.linalg.norm(towards)).astype(np.float32)
    across = np.cross(towards, rng.normal(0, 1, 3))
    across = (across / np.linalg.norm(across)).astype(np.float32)
    wide = float(np.exp(rng.uniform(np.log(0.04), np.log(0.7))))
    slim = float(rng.choice([rng.uniform(0.02, 0.15), rng.uniform(0.15, 1.0)]))  # a strip, or not
    if shape in ("disc", "ring", "umbrella"):
        wide, slim = min(wide, 0.5), rng.uniform(0.75, 1)
    elif shape in ("window", "tall window", "blind", "dots"):
        wide, slim = max(wide, 0.12), rng.uniform(0.4, 1)
    half = (wide, max(0.01, wide * slim))
    area = 4 * half[0] * half[1]
    # As bright as its share of the light and its size make it.
    level = np.pi * share / area * np.exp(rng.uniform(-0.2, 1.2))
    level = float(np.clip(level, *LAMP_RADIANCE))
    edge = float(np.exp(rng.uniform(np.log(0.003), np.log(0.12))))
    own = family * _tint(rng, 0.04) if rng.random() < 0.8 else _tint(rng, 0.2)
    return AreaLight(towards, across, half, np.float32(level) * own, edge, shape)


def _tint(rng: np.random.Generator, spread: float) -> NDArray[np.float32]:
    """Linear rgb of mean 1, warm or cool and a little green or pink."""
    warm, green = rng.normal(0, spread), rng.normal(0, spread * 0.3)
    colour = np.exp(np.array([warm, green, -warm * 1.2]))
    return (colour / colour.mean()).astype(np.float32)
