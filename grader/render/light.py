"""Light: lamps, their mirror picture in wet stone, shading, and the shadows that stones cast."""

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

SIDE = 256  # px of the mirror picture


@dataclass(frozen=True)
class Lamp:
    """A lamp as it is seen from the table.

    Attributes
    ----------
    towards : unit vector to the lamp (x right, y down, z up).
    colour : linear rgb of mean 1.
    share : of the light that falls on the table.
    half_x, half_y : half angles, radians.
    shape : "disc", "panel" or "ring".
    """

    towards: NDArray[np.float64]
    colour: NDArray[np.float64]
    share: float
    half_x: float
    half_y: float
    shape: str = "panel"
    turn: float = 0.0


@dataclass(frozen=True)
class Lighting:
    """Lamps, the rest of the surround (linear rgb, what falls on the table from everywhere), and near or far lamps."""

    name: str
    lamps: tuple[Lamp, ...]
    surround: NDArray[np.float64]
    fall_off: float


def _white(kelvin_like: float) -> NDArray[np.float64]:
    """Return a light's colour: 0 neutral, towards 1 warm, towards -1 cool (open sky)."""
    warm, cool = np.array([1.45, 1.0, 0.5]), np.array([0.82, 1.0, 1.3])
    c = np.ones(3) + (warm - 1) * max(kelvin_like, 0) + (cool - 1) * max(-kelvin_like, 0)
    return c / c.mean()


def _towards(rng: np.random.Generator, low_deg: float, high_deg: float) -> NDArray[np.float64]:
    a, e = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(low_deg, high_deg))
    return np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])


def draw_lighting(rng: np.random.Generator, name: str) -> Lighting:
    """Return lighting of that name (an entry of the catalogue's lamps).

    Now and then the first lamp stands so high that even a level wet face mirrors it.
    """
    if name == "several":
        names = rng.choice(["sun", "window", "warm bulb", "led", "softboxes"], 2, replace=False)
        parts = [_LIGHTINGS[str(n)](rng) for n in names]
        lamps = [replace(lamp, share=lamp.share * 0.55) for part in parts for lamp in part[0]]
        rest, near = parts[0][1], parts[1][2]
    else:
        lamps, rest, near = _LIGHTINGS[name](rng)
    if rng.random() < 0.25:
        lamps[0] = replace(lamps[0], towards=_towards(rng, 66, 88))
    dark = max(0.08, 1 - sum(lamp.share for lamp in lamps))
    return Lighting(name, tuple(lamps), rest * dark, near)


def aimed(
    rng: np.random.Generator, lighting: Lighting, normal: NDArray, to_camera: NDArray
) -> Lighting:
    """Return the lighting with its first lamp where a face of that normal mirrors it to the camera.

    normal, to_camera : (3,), unit vectors; the third is up.
    """
    towards = 2 * (normal @ to_camera) * normal - to_camera + rng.normal(0, 0.04, 3)
    towards[2] = max(towards[2], 0.25)
    size = rng.uniform((0.05, 0.05), rng.choice([0.16, 0.35]) * np.ones(2))
    lamp = replace(
        lighting.lamps[0],
        towards=towards / np.linalg.norm(towards),
        half_x=max(lighting.lamps[0].half_x, size[0]),
        half_y=max(lighting.lamps[0].half_y, size[1]),
    )
    return replace(lighting, lamps=(lamp, *lighting.lamps[1:]))


def _sun(rng):
    share = rng.uniform(0.6, 0.88)
    lamp = Lamp(_towards(rng, 28, 75), _white(rng.uniform(0, 0.3)), share, 0.012, 0.012, "disc")
    return [lamp], _white(rng.uniform(-1.0, -0.2)), 0.0


def _open_shade(rng):
    sky, size = _white(rng.uniform(-1.1, -0.3)), rng.uniform((0.5, 0.3), (0.9, 0.7))
    return [Lamp(_towards(rng, 50, 85), sky, rng.uniform(0.3, 0.6), *size)], sky, 0.0


def _window(rng):
    size = rng.uniform((0.15, 0.2), (0.45, 0.5))
    day = _white(rng.uniform(-0.7, 0.1))
    lamp = Lamp(_towards(rng, 25, 60), day, rng.uniform(0.45, 0.8), *size, "panes")
    return [lamp], _room_white(rng), rng.uniform(0, 0.2)


def _softboxes(rng):
    colour, count = _white(rng.uniform(-0.15, 0.15)), int(rng.integers(1, 4))
    lamps = []
    for _ in range(count):
        size, turn = rng.uniform((0.08, 0.05), (0.42, 0.28)), rng.uniform(0, 3)
        share = rng.uniform(0.5, 0.8) / count
        lamps.append(Lamp(_towards(rng, 35, 80), colour, share, *size, "panel", turn))
    return lamps, _white(0), rng.uniform(0, 0.25)


def _warm_bulb(rng):
    warm = _white(rng.uniform(0.6, 1.1))
    lamp = Lamp(_towards(rng, 35, 75), warm, rng.uniform(0.5, 0.85), 0.05, 0.05, "disc")
    return [lamp], _white(rng.uniform(0.4, 0.9)), rng.uniform(0, 0.5)


def _led(rng):
    count = int(rng.integers(1, 4))
    lamps = []
    for _ in range(count):
        size, share = rng.uniform(0.02, 0.06), rng.uniform(0.5, 0.85) / count
        colour = _white(rng.uniform(-0.4, 0.2))
        lamps.append(Lamp(_towards(rng, 40, 85), colour, share, size, size, "disc"))
    return lamps, _room_white(rng), rng.uniform(0, 0.5)


def _tubes(rng):
    toward, turn = _towards(rng, 50, 85), rng.uniform(0, 3)
    colour = _white(rng.uniform(-0.4, 0.1)) * (0.97, 1.06, 0.97)
    aside = np.array([-np.sin(turn), np.cos(turn), 0])
    lamps = []
    for k in range(int(rng.integers(1, 3))):
        lamp_at = toward + 0.16 * k * aside
        lamps.append(Lamp(lamp_at / np.linalg.norm(lamp_at), colour, 0.3, 0.5, 0.02, "panel", turn))
    return lamps, _white(0), rng.uniform(0, 0.15)


def _ring(rng):
    colour, size = _white(rng.uniform(-0.3, 0.2)), rng.uniform(0.18, 0.35)
    lamp = Lamp(_towards(rng, 78, 90), colour, rng.uniform(0.5, 0.8), size, 0.03, "ring")
    return [lamp], _room_white(rng), rng.uniform(0, 0.5)


def _room_white(rng: np.random.Generator) -> NDArray[np.float64]:
    return _white(rng.uniform(-0.3, 0.5))


#: Lamps, colour of the surround, and how near the lamps are, by the catalogue's name.
_LIGHTINGS = {
    "sun": _sun,
    "open shade": _open_shade,
    "window": _window,
    "softboxes": _softboxes,
    "warm bulb": _warm_bulb,
    "led": _led,
    "tubes": _tubes,
    "ring": _ring,
}


def mirror_picture(
    rng: np.random.Generator, lighting: Lighting, ground: NDArray
) -> NDArray[np.float32]:
    """Return what a mirror-like wet surface shows, (SIDE, SIDE, 3), by the x, y part of its normal from -1 to 1.

    The camera looks straight down. Lamps, a dim room and the ground (its mean linear rgb) are
    mirrored with Fresnel's
    share for n = 1.52, by Schlick's approximation.
    """
    r, fresnel = _mirror_directions()
    up = np.clip(r[..., 2:] * 4 + 0.5, 0, 1)
    room = _room(rng, r) * lighting.surround.astype(np.float32) * np.float32(1.1)
    mirrored = room * up + ground.astype(np.float32) * (1 - up) * np.float32(0.4)
    for lamp in lighting.lamps:
        mirrored = mirrored + _lamp_seen(lamp, r)[..., None] * lamp.colour.astype(np.float32)
    picture = (mirrored * fresnel[..., None]).astype(np.float32)
    haze = rng.choice([0.0, rng.uniform(0.6, 3.5)])  # a polish that is not perfect
    return cv2.GaussianBlur(picture, (0, 0), haze) if haze else picture


@cache
def _mirror_directions() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return for each normal where the camera looks by way of the mirror, (SIDE, SIDE, 3), and how much comes back."""
    n = np.linspace(-1, 1, SIDE, dtype=np.float32)
    nx, ny = np.meshgrid(n, n)
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 1e-4, 1))
    r = np.stack([2 * nz * nx, 2 * nz * ny, 2 * nz * nz - 1], -1)
    # Held at 0.3: a real rim is bevelled and never quite grazing.
    return r, np.minimum(np.float32(0.042) + np.float32(0.958) * (1 - nz) ** 5, np.float32(0.3))


def _room(rng: np.random.Generator, r: NDArray) -> NDArray[np.float32]:
    """Return the unlit surround: darker and brighter directions, the photographer's dark shape above."""
    level = np.full(r.shape[:2], 0.9, np.float32)
    for _ in range(5):
        toward = rng.standard_normal(3)
        toward /= np.linalg.norm(toward)
        level += np.float32(rng.uniform(-0.5, 0.6)) * np.clip(
            (r @ toward.astype(np.float32) - 0.5) * 4, 0, 1
        )
    head = rng.normal(0, 0.25, 2)
    shape = np.hypot(r[..., 0] - head[0], (r[..., 1] - head[1]) * rng.uniform(0.6, 1))
    level *= 1 - np.float32(rng.uniform(0.2, 0.9)) * np.clip((0.35 - shape) * 8, 0, 1)
    return np.clip(level, 0.1, 2)[..., None]


def _lamp_seen(lamp: Lamp, r: NDArray) -> NDArray[np.float32]:
    """Return the radiance of the lamp in each direction, in units in which a white card shines with 1."""
    d = lamp.towards
    side = np.cross(d, [np.cos(lamp.turn), np.sin(lamp.turn), 0.1])
    side /= np.linalg.norm(side)
    other = np.cross(d, side)
    facing = np.maximum(r @ d.astype(np.float32), 1e-3)
    a, b = (r @ side.astype(np.float32)) / facing, (r @ other.astype(np.float32)) / facing
    half_x, half_y = max(lamp.half_x, 0.016), max(lamp.half_y, 0.016)
    edge = 0.016
    if lamp.shape == "disc":
        shape = np.clip((half_x - np.hypot(a, b)) / edge + 0.5, 0, 1)
        solid = np.pi * half_x**2
    elif lamp.shape == "ring":
        shape = np.clip((half_y - np.abs(np.hypot(a, b) - half_x)) / edge + 0.5, 0, 1)
        solid = 4 * np.pi * half_x * half_y
    else:
        shape = np.clip((half_x - np.abs(a)) / edge + 0.5, 0, 1) * np.clip(
            (half_y - np.abs(b)) / edge + 0.5, 0, 1
        )
        solid = 4 * half_x * half_y
        if lamp.shape == "panes":
            shape = shape * (1 - (np.abs(a) < half_x * 0.06)) * (1 - (np.abs(b) < half_y * 0.06))
    behind = (r @ d.astype(np.float32)) > 0.05
    if lamp.shape == "panel":  # brighter in the middle, as cloth before a bulb
        shape = shape * (1.25 - 0.5 * np.clip((a / half_x) ** 2 + (b / half_y) ** 2, 0, 1.5))
    return (shape * behind * np.float32(np.pi * lamp.share / solid / max(d[2], 0.25))).astype(
        np.float32
    )


def shade(
    lighting: Lighting,
    nx: NDArray,
    ny: NDArray,
    through: NDArray,
    hollow: NDArray,
    shadows: list[NDArray],
    bounce: NDArray,
) -> NDArray[np.float32]:
    """Return the light (h, w, 3) that falls on each px; 1 on a level, open, unshaded place.

    through : light that wraps around inside the stone, 0 to 1.   hollow : open share of the
    surround.
    shadows : one (h, w) layer per lamp, 1 where it shines.   bounce : mean linear rgb of the
    ground.
    """
    nz = np.sqrt(np.clip(1 - nx * nx - ny * ny, 0.01, 1))
    sky = (0.5 + 0.5 * nz) * hollow
    ground = (0.5 - 0.5 * nz) * hollow * np.float32(0.6)  # the stone stands in its own light
    layers, colours = [sky, ground], [lighting.surround, bounce * lighting.surround.mean()]
    for lamp, shadow in zip(lighting.lamps, shadows, strict=True):
        dx, dy, dz = lamp.towards.astype(np.float32)
        soft = np.clip(through + np.float32(0.5 * min(1.0, lamp.half_x + lamp.half_y)), 0, 0.9)
        facing = (nx * dx + ny * dy + nz * dz + soft) / (1 + soft)
        lit = np.maximum(facing, 0) * ((1 + soft) / (dz + soft))
        lit = (lit + _glow(nx, ny, through, lamp)) * shadow
        layers.append(lit)
        colours.append(lamp.colour * lamp.share)
    total = cv2.transform(
        cv2.merge([layer.astype(np.float32) for layer in layers[:4]]), np.float32(colours[:4]).T
    )
    for layer, colour in zip(layers[4:], colours[4:], strict=True):
        total += layer[..., None] * colour.astype(np.float32)
    return total


def _glow(nx: NDArray, ny: NDArray, through: NDArray, lamp: Lamp) -> NDArray[np.float32]:
    """Return the light that comes out on the far side of a see-through stone."""
    dx, dy = lamp.towards[:2].astype(np.float32)
    return np.float32(1.5) * through * through * np.maximum(-(nx * dx + ny * dy), 0)


def fall_off(
    rng: np.random.Generator, lamp: Lamp, strength: float, width: int, height: int
) -> NDArray[np.float32]:
    """Return how a near lamp's light falls off across the photo, 1 at its middle."""
    xs, ys = np.meshgrid(
        np.linspace(-1, 1, 32, dtype=np.float32),
        np.linspace(-1, 1, 24, dtype=np.float32) * np.float32(height / width),
    )
    near = 1 + strength * (lamp.towards[0] * xs + lamp.towards[1] * ys)
    return cv2.resize(
        np.clip(near, 0.3, 1.9).astype(np.float32) ** 1.5,
        (width, height),
        interpolation=cv2.INTER_LINEAR,
    )


def cast(
    stones: list[tuple[NDArray, float]], lamp: Lamp, width: int, height: int
) -> NDArray[np.float32]:
    """Return how much of a lamp's light reaches the ground, 0 to 1, beside stones (outline in photo px, rise in px)."""
    step = max(2, round(max(width, height) / 400))
    small = (height // step + 1, width // step + 1)
    dark = np.zeros(small, np.float32)
    run = np.hypot(*lamp.towards[:2]) / max(lamp.towards[2], 0.2)
    heading = -lamp.towards[:2] / max(np.hypot(*lamp.towards[:2]), 1e-6)
    spread = np.tan(min(0.9, max(lamp.half_x, lamp.half_y)))
    for outline, rise in stones:
        one = np.zeros(small, np.uint8)
        for k in range(9):
            share = k / 8
            shrunk = outline.mean(0) + (outline - outline.mean(0)) * (1 - 0.55 * share**2)
            cv2.fillPoly(
                one,
                [np.round((shrunk + heading * run * rise * share) / step * 16).astype(np.int32)],
                255,
                cv2.LINE_AA,
                4,
            )
        blur = max(0.6, rise * spread * 0.5 / step)
        dark = np.maximum(dark, cv2.GaussianBlur(one.astype(np.float32) / 255, (0, 0), blur))
    return 1 - cv2.resize(dark, (width, height), interpolation=cv2.INTER_LINEAR)
