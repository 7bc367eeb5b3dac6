"""What lies on or in a face without changing its class: dust, bruises, pits, specks, moss, drill holes."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import blur, fbm, grain, soft_step


def bruise(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    height: NDArray[np.float32],
    inside: NDArray,
    radius: float,
) -> None:
    """Powder the stone where a hammer struck: pale, grainy, shallow; the class beneath stays."""
    for _ in range(int(rng.integers(1, 4))):
        y, x = _somewhere(rng, inside)
        r = radius * rng.uniform(0.05, 0.2)
        box, dist = _around(reflect.shape[:2], x, y, r * 1.8)
        ragged = dist / r + 0.35 * fbm(rng, dist.shape, max(3.0, r * 0.5), 4, 0.6)
        hold = soft_step(1 - ragged, 0.9) * np.float32(rng.uniform(0.45, 0.9))
        hold *= np.clip(0.8 + 0.3 * grain(rng, dist.shape, 0.7), 0.2, 1)
        pale = np.float32(rng.uniform(0.5, 0.75)) * np.float32(
            [1.0, rng.uniform(0.97, 1.0), rng.uniform(0.92, 1.02)]
        )
        reflect[box] = reflect[box] * (1 - hold[..., None]) + pale * hold[..., None]
        height[box] -= hold * np.float32(r * 0.05) * (1 + 0.15 * grain(rng, dist.shape, 1.0))


def pits(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    height: NDArray[np.float32],
    inside: NDArray,
    radius: float,
) -> None:
    """Sink small holes into the face, their bottoms dark or dusty."""
    for _ in range(int(rng.integers(3, 40))):
        y, x = _somewhere(rng, inside)
        r = max(0.8, radius * rng.uniform(0.004, 0.022))
        box, dist = _around(reflect.shape[:2], x, y, r * 2.5)
        hold = soft_step(1.2 - dist / r * np.float32(rng.uniform(0.8, 1.2)), 0.8)
        reflect[box] *= 1 - hold[..., None] * np.float32(rng.uniform(0.3, 0.8))
        height[box] -= hold * np.float32(r * 0.8)


def specks(
    rng: np.random.Generator, reflect: NDArray[np.float32], shape: tuple[int, int], radius: float
) -> NDArray[np.float32]:
    """Sprinkle metal-like specks, denser in clouds; return where they are (0 to 1), since they mirror light."""
    size = max(1.0, radius * rng.uniform(0.003, 0.009))
    dense = fbm(rng, shape, radius * 0.3, 3)
    hold = soft_step(fbm(rng, shape, size * 2, 3, 0.8) + 0.6 * dense - rng.uniform(2.3, 3.2), 0.25)
    gold = np.float32([0.55, 0.43, 0.17]) * np.float32(rng.uniform(0.7, 1.3))
    reflect[:] = reflect * (1 - hold[..., None]) + gold * hold[..., None]
    return hold


def moss(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    classes: NDArray[np.uint8],
    radius: float,
) -> None:
    """Strew dark branching flecks, in rows along the borders of classes or in clouds, as manganese grows in agate."""
    shape = classes.shape
    size = max(1.2, radius * rng.uniform(0.008, 0.03))
    flecks = fbm(rng, shape, size * 2, 4, 0.75)
    border = np.zeros(shape, np.uint8)
    border[:, 1:] |= (
        (classes[:, 1:] != classes[:, :-1]) & (classes[:, 1:] > 0) & (classes[:, :-1] > 0)
    )
    border[1:] |= (classes[1:] != classes[:-1]) & (classes[1:] > 0) & (classes[:-1] > 0)
    cloud = fbm(rng, shape, radius * rng.uniform(0.2, 0.6), 3)
    dense = 0.9 * cloud - 2.0
    if border.any() and rng.random() < 0.8:
        distance = cv2.distanceTransform(1 - border, cv2.DIST_L2, 3)
        dense = np.exp(-distance / np.float32(size * rng.uniform(0.8, 3))) * 2.2 - 1.6 + 0.5 * cloud
    hold = soft_step(flecks + dense - np.float32(rng.uniform(0.0, 0.9)), 0.5)[..., None]
    hold = hold * np.float32(rng.uniform(0.5, 0.95))
    tint = np.float32([0.03, 0.022, 0.018]) * np.float32(rng.uniform(0.5, 3, 3))
    reflect[:] = reflect * (1 - hold) + tint * hold


def drill_hole(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    height: NDArray[np.float32],
    inside: NDArray,
    radius: float,
) -> None:
    """Bore one round hole, dark inside with a bright lip."""
    y, x = _somewhere(rng, cv2.erode(inside.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0)
    r = max(2.0, radius * rng.uniform(0.03, 0.09))
    box, dist = _around(reflect.shape[:2], x, y, r * 1.6)
    hold = soft_step(r - dist, 1.5)
    reflect[box] *= 1 - hold[..., None] * np.float32(rng.uniform(0.75, 0.95))
    height[box] -= hold * np.float32(r * 0.8)


def dust(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    height: NDArray[np.float32],
    radius: float,
) -> None:
    """Lay thin pale dust over the face: more in hollows, with lint and crumbs."""
    shape = reflect.shape[:2]
    low = blur(height, max(2.0, radius * 0.03)) - height
    hold = (
        0.12 * fbm(rng, shape, radius * 0.5, 5)
        + 0.12 * np.clip(low, -1, 1)
        + rng.uniform(0.02, 0.25)
    )
    crumbs = soft_step(grain(rng, shape, 1.0) - 3.0, 0.4) * np.float32(0.7)
    hold = np.clip(np.maximum(hold, crumbs), 0, 0.8)[..., None]
    pale = np.float32([0.58, 0.56, 0.52]) * np.float32(rng.uniform(0.75, 1.1))
    reflect[:] = reflect * (1 - hold) + pale * hold


def _somewhere(rng: np.random.Generator, inside: NDArray[np.bool_]) -> tuple[int, int]:
    at = np.flatnonzero(inside[::4, ::4])
    if not len(at):
        return inside.shape[0] // 2, inside.shape[1] // 2
    row, col = divmod(int(at[rng.integers(len(at))]), inside[::4, ::4].shape[1])
    return row * 4, col * 4


def _around(shape: tuple[int, int], x: float, y: float, reach: float):
    """Return the slices of the box around a place, and the distance to it within the box."""
    x0, x1 = int(max(0, x - reach)), int(min(shape[1], x + reach + 1))
    y0, y1 = int(max(0, y - reach)), int(min(shape[0], y + reach + 1))
    ys, xs = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    return (slice(y0, y1), slice(x0, x1)), np.hypot(xs - np.float32(x), ys - np.float32(y))
