"""More variety than the renderer draws, laid over finished renders: other grounds, rims and copies."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import cell_values, cells


def other_ground(
    rgb: NDArray[np.uint8], stone: NDArray[np.bool_], rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Return the picture with all that is not stone replaced by a made-up pattern that keeps the shadows.

    What a ground may look like is endless; the network must learn what a stone is, not which grounds there are.
    """
    h, w = stone.shape
    grey = rgb.mean(axis=-1)
    outside = (~stone).astype(np.float32)
    sigma = 0.012 * max(h, w)
    # Only the slow part of the old ground's light is kept, taken over the ground alone.
    weight = cv2.GaussianBlur(outside, (0, 0), sigma) + 1e-3
    shade = cv2.GaussianBlur((grey * outside).astype(np.float32), (0, 0), sigma) / weight
    shade = np.clip(shade / max(1.0, float(np.median(shade))), 0.15, 1.6)[..., None]
    pattern = np.clip(_pattern(h, w, rng) * shade, 0, 255)
    edge = cv2.GaussianBlur(stone.astype(np.float32), (0, 0), 0.7)[..., None]
    return np.rint(rgb * edge + pattern * (1 - edge)).astype(np.uint8)


def _pattern(h: int, w: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """A ground of one material or two that meet, bare or strewn; (h, w, 3), about 0 to 255, not clipped."""
    ground = _material(h, w, rng)
    if rng.random() < 0.2:
        y, x = np.mgrid[:h, :w].astype(np.float32)
        turn, wide = rng.uniform(0, 2 * np.pi), max(h, w)
        along = (x - w / 2) * np.float32(np.cos(turn)) + (y - h / 2) * np.float32(np.sin(turn))
        along += _noise(h, w, wide / 4, wide / 4, rng) * np.float32(rng.uniform(0, 0.08) * wide)
        beyond = (along > rng.uniform(-0.35, 0.35) * wide)[..., None]
        ground = np.where(beyond, _material(h, w, rng), ground)
    if rng.random() < 0.25:
        # Calm ones: with bands of their own they would be slabs.
        things = _material(h, w, rng, spreads=(6,))
        ground = np.where(_strewn(h, w, rng)[..., None], things, ground)
    if rng.random() < 0.5:
        # Threads, fibres or grit: what any material has close up, whatever its colours.
        fine_px = rng.uniform(0.7, 4)
        ground = ground + _noise(h, w, fine_px, fine_px, rng)[..., None] * np.float32(
            rng.uniform(2, 22)
        )
    return ground


def _material(
    h: int, w: int, rng: np.random.Generator, spreads: tuple[int, ...] = (6, 20, 60, 60)
) -> NDArray[np.float32]:
    """One material of 2 to 4 colours at any grain: cloudy, grained, striped, pebbled or dotted; (h, w, 3)."""
    colours = _colours(int(rng.integers(2, 5)), rng.choice(spreads), rng)
    grain_px = float(np.exp(rng.uniform(np.log(1.5), np.log(max(2.0, 0.12 * max(h, w))))))
    field = rng.choice([_clouds, _stripes, _pebbles, _dots, _rough], p=[0.4, 0.2, 0.18, 0.1, 0.12])(
        h, w, grain_px, rng
    )
    field = (field - field.min()) / max(1e-6, float(np.ptp(field)))
    if rng.random() < 0.4:
        # Grains with borders of their own instead of a slow change.
        steps = int(rng.integers(2, 7))
        field = np.floor(field * steps) / max(1, steps - 1)
    place = np.clip(field, 0, 1) * (len(colours) - 1)
    below = np.minimum(place.astype(np.intp), len(colours) - 2)
    part = (place - below)[..., None]
    ground = colours[below] * (1 - part) + colours[below + 1] * part
    return ground + rng.normal(0, rng.uniform(0, 7), (h, w, 1)).astype(np.float32)


def _clouds(h: int, w: int, grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Soft blotches, drawn out one way."""
    stretch = float(np.exp(rng.normal(0, 0.6)))
    return _noise(h, w, grain_px * stretch, grain_px / stretch, rng)


def _stripes(h: int, w: int, grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Stripes at any turn, straight or wavy."""
    field = _clouds(h, w, grain_px, rng)
    y, x = np.mgrid[:h, :w].astype(np.float32)
    turn = rng.uniform(0, np.pi)
    along = x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn))
    waves = np.sin(
        along * np.float32(2 * np.pi / (grain_px * 3 + 3)) + field * np.float32(rng.uniform(0, 3))
    )
    return waves * np.float32(1.4) + field * np.float32(0.4)


def _pebbles(h: int, w: int, grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Grains, each of a tone of its own that changes from its middle outwards."""
    distance, labels = cells(rng, (h, w), max(3.0, grain_px * 2))
    gap = np.clip(distance / np.float32(grain_px), 0, 1.5) * np.float32(rng.uniform(-1.2, 1.2))
    return cell_values(rng, labels) + gap


def _dots(h: int, w: int, grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Dots in rows, as printed or punched."""
    y, x = np.mgrid[:h, :w].astype(np.float32)
    turn, pitch = rng.uniform(0, np.pi), grain_px * 3 + 4
    c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    u, v = (c * x + s * y) / pitch, (c * y - s * x) / pitch
    u = u + np.float32(0.5) * (np.floor(v) % 2)
    distance = np.hypot(u - np.floor(u) - 0.5, v - np.floor(v) - 0.5)
    return np.clip((np.float32(rng.uniform(0.15, 0.42)) - distance) * pitch, -1, 1)


def _rough(h: int, w: int, grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Noise whose power falls with the frequency at any rate: from grit to slow clouds."""
    side = 512
    up = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None]) + 1 / side
    waves = np.fft.rfft2(rng.normal(0, 1, (side, side))) * up ** -rng.uniform(0, 1.6)
    field = np.fft.irfft2(waves).astype(np.float32)
    zoom = max(grain_px / 8, max(h, w) / side, 1.0)
    part = field[: max(2, round(h / zoom)), : max(2, round(w / zoom))]
    return cv2.resize(part, (w, h), interpolation=cv2.INTER_CUBIC)


def _strewn(h: int, w: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Where flat things lie: paper, leaves, tools, coins; round or with corners."""
    where = np.zeros((h, w), np.uint8)
    for _ in range(int(rng.integers(1, 12))):
        centre = rng.uniform(0, 1, 2) * (w, h)
        reach = np.exp(rng.uniform(np.log(0.02), np.log(0.25), 2)) * max(h, w)
        if rng.random() < 0.4:
            cv2.ellipse(
                where, [*np.intp(centre)], [*np.intp(reach + 1)], rng.uniform(0, 180), 0, 360, 1, -1
            )
        else:
            angles = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(3, 7))))
            corners = centre + reach * np.stack([np.cos(angles), np.sin(angles)], 1)
            cv2.fillPoly(where, [np.int32(corners)], 1)
    return where > 0


def _colours(count: int, spread: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Colours near each other, as one material has them, or far apart, as a print has them."""
    first = rng.uniform(10, 245, 3)
    first = first.mean() + (first - first.mean()) * rng.choice([0.15, 0.4, 1.0])
    return np.clip(
        first + rng.normal(0, spread, (count, 1)) + rng.normal(0, spread / 2, (count, 3)), 3, 252
    ).astype(np.float32)


def _noise(
    h: int, w: int, wide_px: float, high_px: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Smooth noise of that grain with two finer layers over it."""
    total = np.zeros((h, w), np.float32)
    for share, finer in ((1.0, 1), (0.5, 2.3), (0.3, 5)):
        rows, cols = (
            max(2, round(h * finer / max(1, high_px))),
            max(2, round(w * finer / max(1, wide_px))),
        )
        grid = rng.normal(0, 1, (min(rows, h), min(cols, w))).astype(np.float32)
        total += np.float32(share) * cv2.resize(grid, (w, h), interpolation=cv2.INTER_CUBIC)
    return total


def shaded_rim(
    linear: NDArray[np.float32], mask: NDArray[np.bool_], rng: np.random.Generator
) -> NDArray[np.float32]:
    """Return the face with its rim sunk into the shade and the glow of the ground on one side, as on a polished dome.

    Such a rim is still blue or white: neutral or brownish shade on a dome is not host.
    """
    padded = np.pad(mask.astype(np.uint8), 1)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, 5)[1:-1, 1:-1]
    reach = rng.uniform(0.08, 0.45) * max(1.0, float(depth.max()))
    y, x = np.mgrid[: mask.shape[0], : mask.shape[1]].astype(np.float32)
    side = rng.normal(0, 1, 2)
    towards = (x / mask.shape[1] - 0.5) * side[0] + (y / mask.shape[0] - 0.5) * side[1]
    # Fading slowly inwards, or ending where the dome turns level.
    steep = rng.uniform(1, 4)
    fade = np.exp(-((depth / reach) ** steep))
    amount = fade * np.clip(0.45 + towards * rng.uniform(0.7, 2), 0, 1) * rng.uniform(0.3, 0.95)
    ground = rng.uniform(0.02, 0.6) * (
        1 + rng.normal(0, 0.12, 3) + np.array([0.12, 0, -0.12]) * rng.uniform(-0.3, 1.5)
    )
    if rng.random() < 0.5 and (~mask).sum() > 50:
        # What stands around the stone in this picture.
        ground = linear[~mask].mean(axis=0) * rng.uniform(0.5, 2.0)
    glow = rng.uniform(0, 0.35)
    sunk = amount[..., None].astype(np.float32)
    return np.where(
        mask[..., None], linear * (1 - sunk) + np.float32(ground * glow).clip(0) * sunk, linear
    ).astype(np.float32)


def poorer(rgb: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """Return the picture as a small web copy of itself: few px, blocky colours."""
    side = int(rng.integers(110, 420))
    if max(rgb.shape) < side * 1.2:
        return rgb
    small = cv2.resize(
        rgb, None, fx=side / max(rgb.shape), fy=side / max(rgb.shape), interpolation=cv2.INTER_AREA
    )
    # Channel order does not matter to the coder as long as it comes back the same.
    _, coded = cv2.imencode(
        ".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 93))]
    )
    return cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1]
