"""Outlines of stones and their relief."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import blur, fbm

CAB_SHAPES = ("oval", "round", "pear", "heart", "cushion", "freeform", "drop rectangle")


def outline(rng: np.random.Generator, kind: str) -> NDArray[np.float64]:
    """Return an outline (n, 2) around 0, 0, of area pi, as x, y; turned at random."""
    shape = {"cab": lambda: rng.choice(CAB_SHAPES, p=[0.3, 0.13, 0.13, 0.09, 0.12, 0.15, 0.08])}
    points = _cab(rng, shape["cab"]()) if kind == "cab" else _rough(rng, kind)
    angle = rng.uniform(0, 2 * np.pi)
    points = points @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return normalised(points)


def normalised(points: NDArray) -> NDArray[np.float64]:
    """Return the outline moved to its centre of mass and scaled to the area of the unit circle."""
    x, y = points.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2
    centre = ((points + np.roll(points, -1, 0)) * cross[:, None]).sum(0) / (6 * area)
    return (points - centre) * np.sqrt(np.pi / abs(area))


def _cab(rng: np.random.Generator, shape: str) -> NDArray[np.float64]:
    a = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    c, s = np.cos(a), np.sin(a)
    if shape == "heart":
        notch = rng.uniform(0.5, 1.0)
        x, y = (
            16 * s**3,
            13 * c - 5 * notch * np.cos(2 * a) - 2 * notch * np.cos(3 * a) - np.cos(4 * a),
        )
        return np.stack([x, y], 1)
    if shape == "pear":
        squeeze = rng.uniform(0.35, 0.62)
        return np.stack([1.25 * c, s * (1 - squeeze * c) * rng.uniform(0.75, 0.95)], 1)
    if shape == "freeform":
        r = 1 + sum(
            rng.normal(0, 0.13 / k) * np.cos(k * a + rng.uniform(0, 7)) for k in (2, 3, 4, 5)
        )
        return np.stack([r * c, r * s * rng.uniform(0.6, 1)], 1)
    power = {
        "oval": 2.0,
        "round": 2.0,
        "cushion": rng.uniform(2.8, 4.5),
        "drop rectangle": rng.uniform(4.5, 9),
    }[shape]
    squash = {"oval": rng.uniform(0.55, 0.85), "drop rectangle": rng.uniform(0.5, 0.95)}.get(
        shape, rng.uniform(0.93, 1)
    )
    r = (np.abs(c) ** power + np.abs(s) ** power) ** (-1 / power)
    return np.stack([r * c, squash * r * s], 1)


def _rough(rng: np.random.Generator, kind: str) -> NDArray[np.float64]:
    """Return a broken or sawn outline: a random polygon, its corners worn, its sides chipped."""
    corners = int(rng.integers(5, 12))
    a = np.sort(
        np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.uniform(-0.4, 0.4, corners)
    )
    r = rng.uniform(0.72, 1.2, corners)
    points = np.stack([r * np.cos(a), r * np.sin(a) * rng.uniform(0.55, 1)], 1)
    if kind == "slab" and rng.random() < 0.35:  # a straight sawn side
        points[:, 1] = np.maximum(points[:, 1], -rng.uniform(0.25, 0.6))
    if kind == "chunk":
        points = cv2.convexHull(points.astype(np.float32))[:, 0].astype(np.float64)
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.linspace(0, along[-1], 720, endpoint=False)
    points = np.stack([np.interp(at, along, closed[:, i]) for i in (0, 1)], 1)
    wear = rng.choice([4, 10, 24])
    kernel = np.hanning(2 * wear + 1)
    points = np.stack([_ring_filter(points[:, i], kernel) for i in (0, 1)], 1)
    chips = sum(
        _ring_noise(rng, 720, cell) * size
        for cell, size in ((90, 0.05), (30, 0.025), (9, 0.010), (3, 0.005))
    )
    direction = points / np.linalg.norm(points, axis=1, keepdims=True)
    return points + direction * chips[:, None] * rng.uniform(0.3, 1.2)


def _ring_filter(values: NDArray, kernel: NDArray) -> NDArray:
    reach = len(kernel) // 2
    return np.convolve(
        np.concatenate([values[-reach:], values, values[:reach]]), kernel / kernel.sum(), "valid"
    )


def _ring_noise(rng: np.random.Generator, count: int, cell: int) -> NDArray:
    knots = rng.standard_normal(count // cell)
    return np.interp(np.arange(count) / cell, np.arange(len(knots) + 1), np.append(knots, knots[0]))


def fill(points: NDArray, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Return how much of each px (0 to 1) lies inside the outline (n, 2), x, y of px centres."""
    h, w = shape
    finer = (
        4 if h * w < 60_000 else 2
    )  # drawn finer and averaged: the library's smooth edges are 0.9 px too wide
    mask = np.zeros((h * finer, w * finer), np.uint8)
    at = (points + 0.5) * finer - 0.5
    cv2.fillPoly(mask, [np.round(at * 64).astype(np.int32)], 255, cv2.LINE_8, 6)
    return cv2.resize(mask, (w, h), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def depth_of(inside: NDArray) -> NDArray[np.float32]:
    """Return the distance (px) to the nearest px outside; 1e4 at most, as where none is outside."""
    return np.minimum(
        cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5), np.float32(1e4)
    )


def swell(points: NDArray, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Return a smooth swelling, 0 at the outline and 1 at its highest place: the shape of a soap skin.

    It solves Poisson's equation on a coarse grid, coarse to fine; on an ellipse it is 1 - r^2
    exactly. Close to the
    outline the coarse grid is too blunt: there it is the slope of the skin times the exact
    distance.

    Parameters
    ----------
    points : outline (n, 2), x, y in px; it may leave the picture, the skin is that of the whole
    outline.
    """
    low = np.floor(points.min(0)) - 2
    size = np.ceil(points.max(0)) + 3 - low
    skin, depth, cell = _coarse_skin(points - low, size)
    deep = (depth >= 3).astype(np.float32)
    slope = blur(skin / np.maximum(depth, 1) * deep, 2.5) / np.maximum(blur(deep, 2.5), 1e-3)
    to_coarse = np.float32(
        [[1 / cell, 0, 1 - low[0] / cell - 0.5], [0, 1 / cell, 1 - low[1] / cell - 0.5]]
    )
    back, size = cv2.WARP_INVERSE_MAP, shape[::-1]
    skin = cv2.warpAffine(blur(skin, 0.8), to_coarse, size, flags=back | cv2.INTER_CUBIC)
    slope = cv2.warpAffine(slope, to_coarse, size, flags=back | cv2.INTER_LINEAR)
    inside = (fill(points, shape) >= 0.5).astype(np.uint8)
    edge = cv2.GaussianBlur(depth_of(inside), (0, 0), 1.2) / np.float32(cell)
    inner = np.clip(edge / 4 - 0.5, 0, 1)
    inner = inner * inner * (3 - 2 * inner)
    skin = inner * skin + (1 - inner) * slope * edge
    return np.maximum(cv2.GaussianBlur(skin, (0, 0), max(0.6, cell * 0.5)), 0)


def _coarse_skin(points: NDArray, size: NDArray) -> tuple[NDArray, NDArray, float]:
    """Return the skin (greatest value 1) and the depth in cells, on a coarse grid with a border of one cell."""
    kernel = np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]], np.float32) / 4
    skin = np.zeros((3, 3), np.float32)
    for cells, rounds in ((16, 60), (32, 50), (64, 50), (112, 60)):
        cell = max(size) / cells
        cols, rows = (int(np.ceil(s / cell)) + 2 for s in size)
        inside = fill((points + 0.5) / cell + 0.5, (rows, cols))
        skin = cv2.resize(skin, (cols, rows), interpolation=cv2.INTER_LINEAR)
        for _ in range(rounds):
            skin = inside * (cv2.filter2D(skin, -1, kernel) + np.float32(1 / cells**2))
    depth = cv2.distanceTransform((inside >= 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    return skin / max(float(skin.max()), 1e-9), depth, float(cell)


def dome(rng: np.random.Generator, skin: NDArray, radius_px: float) -> NDArray[np.float32]:
    """Return the height (px) of a polished dome on that swelling: high or low, round or flat-topped."""
    rise = radius_px * rng.uniform(0.35, 0.9)
    power = rng.choice([rng.uniform(0.42, 0.6), rng.uniform(0.22, 0.35)], p=[0.75, 0.25])
    waves = fbm(rng, skin.shape, radius_px * rng.uniform(0.15, 0.5), 2) * np.float32(
        radius_px * rng.choice([0.0005, 0.002])
    )
    return (rise * (skin + 0.02) ** power + waves).astype(np.float32)


def broken(
    rng: np.random.Generator, u: NDArray, v: NDArray, radius_px: float
) -> tuple[NDArray, NDArray]:
    """Return the height (px) of a broken chunk and how far each px lies off its main face (0 on it).

    The main face is one plane; other fracture planes fall away from it along ragged edges.
    Ripples
    run out from where a blow fell, and thin flakes have come off in steps.
    """
    shape = u.shape
    ragged = np.float32(rng.uniform(0.02, 0.09))
    x = u + ragged * fbm(rng, shape, radius_px * 0.3, 5, 0.55)
    y = v + ragged * fbm(rng, shape, radius_px * 0.3, 5, 0.55)
    main = rng.normal(0, 0.15) * x + rng.normal(0, 0.15) * y
    height = main
    for _ in range(int(rng.integers(3, 10))):
        a = rng.uniform(0, 2 * np.pi)
        fall = rng.uniform(0.35, 1.3)
        plane = fall * (rng.uniform(0.3, 1.0) - x * np.cos(a) - y * np.sin(a))
        height = np.minimum(height, plane)
    off = main - height
    rough = fbm(rng, shape, radius_px * 0.6, 6, 0.52) * rng.uniform(0.03, 0.09)
    flakes = fbm(rng, shape, radius_px * rng.uniform(0.2, 0.5), 4) * rng.uniform(1.0, 2.5)
    step = np.floor(flakes) + np.clip((flakes - np.floor(flakes)) * 8, 0, 1)
    blow = np.hypot(x - rng.uniform(-1.5, 1.5), y - rng.uniform(-1.5, 1.5))
    ripple = np.sin(blow * rng.uniform(14, 40)) * rng.uniform(0, 0.006)
    height = height + rough + step * rng.uniform(0.0, 0.014) + ripple
    return (height * radius_px).astype(np.float32), off.astype(np.float32)


def slopes(height: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the x and y part of the unit normals of a height field in px."""
    dx = cv2.Scharr(height, cv2.CV_32F, 1, 0, scale=1 / 32)
    dy = cv2.Scharr(height, cv2.CV_32F, 0, 1, scale=1 / 32)
    length = np.sqrt(1 + dx * dx + dy * dy)
    return -dx / length, -dy / length
