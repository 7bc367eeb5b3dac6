"""From the photo to the table and back: tilt, perspective, lens distortion.

Table coordinates are px too: one table px is one photo px at the middle of the photo.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class View:
    """How the camera looks at the table.

    width, height : of the photo, px.   focal_px : focal length.   axes : (3, 3) rows are the
    table's x, y and its
    normal as the camera sees them (x right, y down, z away from the camera).   barrel : radial
    distortion.
    """

    width: int
    height: int
    focal_px: float
    axes: NDArray[np.float64]
    barrel: float

    def to_table(self, points: NDArray) -> NDArray[np.float64]:
        """Return (..., 2) table points seen at photo points (..., 2)."""
        p = (np.asarray(points, np.float64) - (self.width / 2, self.height / 2)) / self.focal_px
        p = p * (1 + self.barrel * (p**2).sum(-1, keepdims=True))
        ray = np.concatenate([p, np.ones_like(p[..., :1])], -1)
        depth = self.focal_px * self.axes[2, 2] / (ray @ self.axes[2])
        return (ray * depth[..., None] - (0, 0, self.focal_px)) @ self.axes[:2].T

    def to_photo(self, points: NDArray) -> NDArray[np.float64]:
        """Return (..., 2) photo points of table points (..., 2)."""
        ray = np.asarray(points, np.float64) @ self.axes[:2] + (0, 0, self.focal_px)
        wanted = ray[..., :2] / ray[..., 2:]
        p = wanted
        for _ in range(6):
            p = wanted / (1 + self.barrel * (p**2).sum(-1, keepdims=True))
        return p * self.focal_px + (self.width / 2, self.height / 2)

    def table_grid(self, box: tuple[int, int, int, int]) -> tuple[NDArray, NDArray]:
        """Return table x and y (float32) of every px centre in the photo box x, y, w, h."""
        x0, y0, w, h = box
        step = 8  # the lens is straight enough between: the error is below 0.01 px
        coarse = np.stack(
            np.meshgrid(x0 + step * np.arange(w // step + 2), y0 + step * np.arange(h // step + 2)),
            -1,
        )
        table = self.to_table(coarse).astype(np.float32)
        x, y = (_between(table[..., i], step, w, h) for i in (0, 1))
        return x, y

    def towards_camera(self, points: NDArray) -> NDArray[np.float64]:
        """Return unit vectors (..., 3) in the table's axes (third is up) from table points to the camera."""
        ray = np.asarray(points, np.float64) @ self.axes[:2] + (0, 0, self.focal_px)
        back = (ray @ self.axes.T) * (-1, -1, 1)
        return back / np.linalg.norm(back, axis=-1, keepdims=True)

    def scale_at(self, point: NDArray) -> float:
        """Return photo px per table px around a table point (geometric mean of both directions)."""
        p = np.asarray(point, np.float64)
        corners = self.to_photo(np.add(p, [[0, 0], [1, 0], [0, 1]]))
        ex, ey = corners[1] - corners[0], corners[2] - corners[0]
        return float(np.sqrt(abs(ex[0] * ey[1] - ex[1] * ey[0])))


def draw_view(rng: np.random.Generator, width: int, height: int) -> View:
    """Return a view as people hold phones: mostly from above, at times tilted up to 40 degrees."""
    tilt = np.radians(
        rng.choice(
            [rng.uniform(0, 6), rng.uniform(4, 20), rng.uniform(18, 40)], p=[0.5, 0.35, 0.15]
        )
    )
    turn = rng.normal(0, 0.5)
    # The table leans away from the camera at the top of the photo, roughly.
    down = np.array([np.sin(turn), np.cos(turn)])
    normal = np.array([np.sin(tilt) * down[0], np.sin(tilt) * down[1], np.cos(tilt)])
    x_axis = np.cross([0, 1, 0], normal)
    x_axis /= np.linalg.norm(x_axis)
    y_axis = np.cross(normal, x_axis)
    focal = max(width, height) * rng.uniform(0.8, 2.0)
    barrel = rng.choice([rng.uniform(-0.06, 0.1), 0.0], p=[0.75, 0.25])
    return View(width, height, float(focal), np.array([x_axis, y_axis, normal]), float(barrel))


def _between(coarse: NDArray[np.float32], step: int, w: int, h: int) -> NDArray[np.float32]:
    """Return the field given every ``step`` px at all (h, w) px, linear between."""
    rows, cols = coarse.shape
    ty, tx = np.arange(h, dtype=np.float32) / step, np.arange(w, dtype=np.float32) / step
    iy, ix = ty.astype(int), tx.astype(int)
    wide = coarse[:, ix] + (coarse[:, np.minimum(ix + 1, cols - 1)] - coarse[:, ix]) * (
        tx - ix
    ).astype(np.float32)
    return (
        wide[iy]
        + (wide[np.minimum(iy + 1, rows - 1)] - wide[iy]) * (ty - iy).astype(np.float32)[:, None]
    )
