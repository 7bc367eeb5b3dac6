"""The rim of a template: an oval (a round too) or a rectangle."""

import numpy as np
from numpy.typing import NDArray


def rim(shape: str, size: tuple[float, float], points: int = 64) -> NDArray[np.float64]:
    """Return (points, 2) x, y along the rim of a template around (0, 0), not turned.

    shape : "oval" or "rectangle".   size : width and height, in any unit; the points are in the same.
    """
    angle = np.arange(points) * 2 * np.pi / points
    around = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    if shape != "oval":
        around /= np.abs(around).max(axis=1, keepdims=True)
    return around * np.array(size) / 2
