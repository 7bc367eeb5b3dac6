"""Templates laid on the largest map: where, how turned, how far beyond the face, and what each of them shows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.outline import rim
from grader.face.scene.maps import Board, Map
from grader.face.scene.parts import OFF
from grader.face.scene.templates import Template
from grader.measures import UNREADABLE

#: The map with px nearest to this share of a picture's cell is read: finer px would show grain, coarser ones steps.
CELL_PX = 2.0
#: Cells are read about so many at a time.
CELLS_AT_ONCE = 32_768
#: Poses are scored so many at a time.
POSES_AT_ONCE = 1024


@dataclass(frozen=True)
class Poses:
    """A template laid n times, in px of the largest map.

    centre : (n, 2) x, y.   turn_deg : (n,) direction of the picture's right-hand side, counter-clockwise.
    """

    template: Template
    centre: NDArray
    turn_deg: NDArray

    def __len__(self) -> int:
        return len(self.turn_deg)

    def __getitem__(self, which) -> "Poses":
        return Poses(self.template, self.centre[which], self.turn_deg[which])

    def axes(self) -> tuple[NDArray, NDArray]:
        """Return unit vectors x, y to the right and down in the picture, (n, 2) each."""
        angle = np.radians(self.turn_deg)
        c, s = np.cos(angle), np.sin(angle)
        return np.stack([c, -s], axis=1), np.stack([s, c], axis=1)

    def shows(self, points: NDArray, share: float = 1.0) -> NDArray[np.bool_]:
        """Return whether points (m, 2) lie in that share of each picture around its middle, (n, m)."""
        right, down = self.axes()
        # One array a coordinate: pairs along a last axis are added several times slower.
        x, y = (points[None, :, k] - self.centre[:, k, None] for k in (0, 1))
        w, h = (side * share / 2 for side in self.template.size_px)
        across = (x * right[:, :1] + y * right[:, 1:]) / w
        below = (x * down[:, :1] + y * down[:, 1:]) / h
        if self.template.shape == "oval":
            return across * across + below * below <= 1
        return (np.abs(across) <= 1) & (np.abs(below) <= 1)

    def shifted(self, moves: Sequence[tuple], step_px: float, degrees: float) -> "Poses":
        """Return each pose after each of the k moves, (n k,): steps across, down, turned counter-clockwise."""
        moves = np.array(moves, float)
        right, down = self.axes()
        shift = moves[None, :, :1] * right[:, None] + moves[None, :, 1:2] * down[:, None]
        centre = self.centre[:, None] + shift * step_px
        turn = self.turn_deg[:, None] + moves[None, :, 2] * degrees
        return Poses(self.template, centre.reshape(-1, 2), turn.ravel() % 360)

    def with_neighbours(self, step_px: float, degrees: float) -> "Poses":
        """Return each pose with its 26 neighbours, (27 n,), itself first."""
        moves = [(x, y, t) for x in (0, -1, 1) for y in (0, -1, 1) for t in (0, -1, 1)]
        return self.shifted(moves, step_px, degrees)

    def parcels(self) -> Iterator["Poses"]:
        """Return the poses some at a time, so that their pictures stay in the processor's cache."""
        for at in range(0, len(self), POSES_AT_ONCE):
            yield self[at : at + POSES_AT_ONCE]


def turned_by(a, b):
    """Return the angle between directions in degrees, 0 to 180."""
    return np.abs((a - b + 180) % 360 - 180)


def fits(board: Board, poses: Poses) -> NDArray[np.bool_]:
    """Return whether no point of each rim lies outside the face, but for the outline's own grain, (n,)."""
    return overhang(board, poses) == 0


def overhang(board: Board, poses: Poses) -> NDArray[np.float64]:
    """Return how far each rim leaves the face beyond the outline's own grain, px of the map, (n,)."""
    around = rim(poses.template.shape, poses.template.size_px, 48).T
    right, down = poses.axes()
    x, y = (
        np.floor(
            poses.centre[:, k, None] + around[0] * right[:, k, None] + around[1] * down[:, k, None]
        ).astype(int)
        for k in (0, 1)
    )
    h, w = board.outside.shape
    # Beyond the map's edge it is as far as to the edge, and on.
    inner_x, inner_y = np.clip(x, 0, w - 1), np.clip(y, 0, h - 1)
    beyond = np.maximum(np.abs(x - inner_x), np.abs(y - inner_y))
    off = np.take(board.outside.ravel(), inner_y * w + inner_x) + beyond
    slack = 1.0 + 0.01 * poses.template.size_px[0]
    return np.maximum(off - slack, 0).max(axis=1)


def grid_of(template: Template, cells: int) -> tuple[int, int]:
    """Return rows and columns of what a template shows in about so many cells."""
    rows = max(round(np.sqrt(cells / template.ratio)), 4)
    return rows, max(round(rows * template.ratio), 4)


def pictures(board: Board, poses: Poses, cells: int) -> NDArray[np.uint8]:
    """Return what each template shows, upright: (n, rows, columns) of OFF to SHORE, UNREADABLE.

    The same cell of all pictures lies side by side in memory, for cells are added up over all of them at once.

    cells : of a picture, about.
    """
    template = poses.template
    rows, cols = grid_of(template, cells)
    largest = board.maps[-1].scale
    cell_px = template.size_px[1] / rows
    small = min(board.maps, key=lambda m: abs(np.log(cell_px * m.scale / largest / CELL_PX)))
    factor = small.scale / largest
    y = (np.arange(rows) + 0.5) / rows - 0.5
    x = (np.arange(cols) + 0.5) / cols - 0.5
    on = np.ones((rows, cols), bool)
    if template.shape == "oval":
        on = (2 * x) ** 2 + (2 * y[:, None]) ** 2 <= 1
    x, y = (np.float32(factor) * a * side
            for a, side in zip((x, y), template.size_px, strict=True))  # fmt: skip
    right, down = (a.astype(np.float32).T for a in poses.axes())
    centre = (poses.centre * factor).astype(np.float32).T
    # Columns of all pictures, and what leads from them to each row.
    (x, x_down), (y, y_down) = (
        (centre[k] + right[k] * x[:, None], down[k] * y[:, None]) for k in (0, 1)
    )
    # A rim as wide as the pictures reach beyond the map, so that no cell is to be held within it.
    h, w = small.readings.shape
    out = np.max([_beyond(x, x_down, w), _beyond(y, y_down, h)])
    read = np.where(small.readings == OFF, UNREADABLE, small.readings).astype(np.uint8)
    read = cv2.copyMakeBorder(read, out, out, out, out, cv2.BORDER_REPLICATE)
    flat, width = read.ravel(), read.shape[1]
    # Some rows at a time: what fits the processor's cache is read many times faster.
    shown = np.empty((rows, cols, len(poses)), np.uint8)
    step = max(CELLS_AT_ONCE // (cols * max(len(poses), 1)), 1)
    for row in range(0, rows, step):
        some = slice(row, row + step)
        at = (y + y_down[some, None]).astype(np.int32)
        at *= width
        at += (x + x_down[some, None]).astype(np.int32)
        at += out * (width + 1)
        # All lie within; told so, NumPy checks none and copies none.
        np.take(flat, at, out=shown[some], mode="clip")
    shown[~on] = OFF
    return shown.transpose(2, 0, 1)


def _beyond(cols: NDArray, rows: NDArray, side: int) -> int:
    """How far cells lie beyond 0 or a map's side, px: (cols, n) of the first row, (rows, n) from it to the others."""
    low = float((cols.min(axis=0) + rows.min(axis=0)).min(initial=0))
    high = float((cols.max(axis=0) + rows.max(axis=0)).max(initial=0))
    return max(int(np.ceil(-low)), int(np.ceil(high)) - side, 0) + 1


def places_on(small: Map, poses: Poses, side: int, factor: float) -> NDArray[np.intp]:
    """Return places of a map, counted row by row, that lie evenly within each picture: (n, m).

    side : places across and down a picture.   factor : px of the map for one px of the largest.
    """
    at = (np.arange(side) + 0.5) / side - 0.5
    y, x = (grid.ravel() for grid in np.meshgrid(at, at, indexing="ij"))
    if poses.template.shape == "oval":
        on = (2 * x) ** 2 + (2 * y) ** 2 <= 1
        x, y = x[on], y[on]
    right, down = poses.axes()
    width, height = poses.template.size_px
    points = (
        poses.centre[:, None]
        + right[:, None] * (x * width)[:, None]
        + down[:, None] * (y * height)[:, None]
    ) * factor
    h, w = small.readings.shape
    column, row = (np.clip(points[..., k].astype(np.intp), 0, n - 1) for k, n in ((0, w), (1, h)))
    return row * w + column
