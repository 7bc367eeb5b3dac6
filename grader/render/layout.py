"""Where the stones lie: one large or many small, apart, touching, or cut by the frame."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.lens import View
from grader.render.shape import outline
from grader.render.style import KINDS, weighted


@dataclass(frozen=True)
class Spot:
    """Kind and place of one stone; outline (n, 2) around ``centre``, all in table px; radius : of its area's circle."""

    kind: str
    outline: NDArray[np.float64]
    centre: NDArray[np.float64]
    radius: float


@dataclass(frozen=True)
class Layout:
    spots: tuple[Spot, ...]
    touching: bool


def place(
    rng: np.random.Generator,
    view: View,
    count: int,
    kind: str | None,
    fill: float | None,
    touching: bool | None,
    cut: bool | None,
) -> Layout:
    """Return where ``count`` stones lie, all at least partly in the photo.

    fill : share of the photo that they cover; touching, cut : whether some touch, or leave the
    frame.
    """
    if count == 0:
        return Layout((), False)
    common = weighted(rng, KINDS)
    kinds = [common if rng.random() < 0.85 else weighted(rng, KINDS) for _ in range(count)]
    kinds = [kind or k for k in kinds]
    share = fill if fill is not None else _share(rng, count)
    sizes = np.exp(rng.normal(0, 0.25, count))
    sizes *= np.sqrt(share * view.width * view.height / (np.pi * (sizes**2).sum()))
    touch = _drawn_unless(touching, rng, 0.45)
    leave = _drawn_unless(cut, rng, 0.12 if count == 1 else 0.2)
    taken = _Taken(view)
    spots: list[Spot] = []
    touched = False
    for i in np.argsort(-sizes):
        shape = outline(rng, kinds[i]) * sizes[i]
        neighbours = spots and touch and rng.random() < 0.6
        beside = spots[rng.integers(len(spots))] if neighbours else None
        centre, size = taken.find(rng, shape, leave and not spots, beside, share > 1)
        if centre is None:
            continue
        touched |= bool(neighbours)
        spot = Spot(kinds[i], shape * size, centre, float(sizes[i] * size))
        taken.add(spot)
        spots.append(spot)
    return Layout(tuple(spots), touched)


def _drawn_unless(wanted: bool | None, rng: np.random.Generator, chance: float) -> bool:
    return rng.random() < chance if wanted is None else wanted


def _share(rng: np.random.Generator, count: int) -> float:
    """Return the share of the photo covered: one stone from 2 % to 85 %, many together from 15 % to 55 %."""
    if count == 1:
        return float(
            rng.choice(
                [rng.uniform(0.02, 0.12), rng.uniform(0.12, 0.5), rng.uniform(0.5, 0.8), 1.9],
                p=[0.22, 0.5, 0.24, 0.04],
            )
        )
    return float(rng.uniform(0.1, 0.42) if count < 13 else rng.uniform(0.2, 0.45))


class _Taken:
    """Which part of the table the stones hold, on a coarse grid around the photo."""

    def __init__(self, view: View) -> None:
        self.step = max(view.width, view.height) / 300
        self.half = np.array([view.width, view.height]) / 2
        self.size = (int(view.width * 1.6 / self.step), int(view.height * 1.6 / self.step))
        self.grid = np.zeros(self.size[::-1], np.uint8)
        corners = view.to_table(
            np.array([[0, 0], [view.width, 0], [view.width, view.height], [0, view.height]], float)
        )
        self.frame = (
            np.array([corners[[0, 3], 0].max(), corners[[0, 1], 1].max()]),
            np.array([corners[[1, 2], 0].min(), corners[[2, 3], 1].min()]),
        )

    def _raster(self, points: NDArray, grow: int = 0) -> NDArray[np.uint8]:
        one = np.zeros_like(self.grid)
        at = (points + self.half * 1.6) / self.step
        cv2.fillPoly(one, [np.round(at * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        return cv2.dilate(one, np.ones((2 * grow + 1, 2 * grow + 1), np.uint8)) if grow else one

    def free(self, points: NDArray, grow: int) -> bool:
        return not (self._raster(points, grow) & self.grid).any()

    def add(self, spot: Spot) -> None:
        self.grid |= self._raster(spot.outline + spot.centre)

    def find(self, rng, shape: NDArray, leave: bool, beside: Spot | None, fills: bool):
        """Return a centre and a factor on the size; ``None`` where no room is left."""
        for attempt in range(60):
            size = 1.0 if attempt < 25 else 0.97 ** (attempt - 25)
            points = shape * size
            if beside is not None and attempt < 12:
                centre = self._push(rng, points, beside)
            else:
                centre = self._anywhere(rng, points, leave)
            if centre is None:
                continue
            moved = points + centre
            if not (leave or beside is not None or fills) and not self._within(moved):
                continue
            if self.free(moved, 0 if beside is not None and attempt < 12 else 2):
                return centre, size
        return (None, 1.0) if self.grid.any() else (np.zeros(2), 0.3)

    def _within(self, points: NDArray) -> bool:
        return bool(
            (points.min(0) > self.frame[0] + 3).all() and (points.max(0) < self.frame[1] - 3).all()
        )

    def _anywhere(self, rng, points: NDArray, leave: bool) -> NDArray:
        low, high = self.frame[0] - points.min(0) + 4, self.frame[1] - points.max(0) - 4
        middle = (low + high) / 2
        if leave:
            centre = rng.uniform(self.frame[0], self.frame[1])
            axis = rng.integers(2)
            side = rng.integers(2)
            centre[axis] = self.frame[side][axis] + rng.uniform(-0.1, 0.35) * (
                1 - 2 * side
            ) * np.ptp(points[:, axis])
            return centre
        room = np.maximum(high - low, 0) / 2
        return middle + room * rng.uniform(-1, 1, 2)

    def _push(self, rng, points: NDArray, beside: Spot) -> NDArray | None:
        """Slide the stone towards another until they touch."""
        a = rng.uniform(0, 2 * np.pi)
        heading = np.array([np.cos(a), np.sin(a)])
        far, near = 4.0 * (beside.radius + np.abs(points).max()), 0.0
        for _ in range(14):
            mid = (far + near) / 2
            if self.free(points + beside.centre + heading * mid, 0):
                far = mid
            else:
                near = mid
        centre = beside.centre + heading * far
        return centre if self._within(points + centre) else None
