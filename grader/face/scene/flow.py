"""Surf and bands: white and blue that run side by side, wherever they lead, with no horizon asked for.

The borders between them are read by the structure tensor: where it has one direction they run on, where it has two
they meet in corners, as broken pieces do.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.scene.parts import SHORE, SKY, WATER, Contrasts, Parts

#: The picture's own grain, and how far around a place the borders' direction is read (sigma, px of the map).
GRAIN_PX, AROUND_PX = 1.2, 3.5
#: Borders count where so much of what lies around is sky or water.
SURE = 0.85
#: Share of the borders' energy that lies in one direction: from broken to running on, in a picture and on the face.
RUNS_ON, FACE_RUNS_ON = (0.76, 0.87), (0.68, 0.82)
#: Worth of straight even bands and of surf, beside a landscape.
BANDS_WORTH, SURF_WORTH = 0.62, 0.85
#: Rows and columns of places that are read of a picture.
READ = 16


@dataclass(frozen=True)
class Flow:
    """What is read at each px of a map, (h, w) each.

    white, blue, host : 1 where that is.   edge : borders per px across them.   energy : of the structure tensor.
    corners : twice its lesser eigenvalue.   cosine, sine : of the doubled direction, times the difference of the two.
    """

    white: NDArray[np.float32]
    blue: NDArray[np.float32]
    host: NDArray[np.float32]
    edge: NDArray[np.float32]
    energy: NDArray[np.float32]
    corners: NDArray[np.float32]
    cosine: NDArray[np.float32]
    sine: NDArray[np.float32]

    @property
    def runs_on(self) -> float:
        """How far the borders of the whole face run on without corners, 0 to 1: a broken face has whole pieces too."""
        unbroken = 1 - float(self.corners.sum()) / max(float(self.energy.sum()), 1e-6)
        return float(np.interp(unbroken, FACE_RUNS_ON, (0, 1)))

    def planes(self) -> NDArray[np.float32]:
        """All of them, (8, h w)."""
        return np.stack([getattr(self, name).ravel() for name in self.__dataclass_fields__])


def flow_of(readings: NDArray[np.uint8]) -> Flow:
    """Return what the borders between sky and water do on a map of readings (h, w)."""
    white, blue, host = (np.float32(readings == zone) for zone in (SKY, WATER, SHORE))
    weight = _blurred(white + blue, GRAIN_PX)
    value = _blurred(white, GRAIN_PX) / np.maximum(weight, 1e-3)
    by_y, by_x = np.gradient(value)
    sure = weight > SURE
    by_x, by_y = by_x * sure, by_y * sure
    xx, yy, xy = (_blurred(a, AROUND_PX) for a in (by_x * by_x, by_y * by_y, by_x * by_y))
    apart = np.hypot(xx - yy, 2 * xy)
    return Flow(white, blue, host, np.hypot(by_x, by_y), xx + yy, xx + yy - apart, xx - yy, 2 * xy)


def surf_parts(
    flow: Flow, places: NDArray[np.intp], height_px: NDArray | float, contrasts: Contrasts
) -> tuple[Parts, NDArray[np.float64]]:
    """Return the part scores of n pictures as surf, and their worth beside a landscape, (n,).

    Horizon and continuity are how far the borders run on without corners; a height, a shore, a balance it has not.

    places : (n, m) places of the map, counted row by row, that are read of each.   height_px : of pictures.
    """
    white, blue, host, edge, energy, corners, cosine, sine = flow.planes()[:, places].mean(axis=2)
    energy = np.maximum(energy, 1e-6)
    runs_on = np.minimum(np.interp(1 - corners / energy, RUNS_ON, (0, 1)), flow.runs_on)
    straight = np.hypot(cosine, sine) / energy
    crossed = np.interp(edge * height_px, (1.5, 3.0), (0, 1))
    clear = np.interp(host, (0.08, 0.25), (1, 0))
    unknown, none = np.full(len(places), np.nan), np.zeros(len(places))
    values = {
        "horizon": runs_on * crossed,
        "height": unknown,
        "zones": np.interp(np.minimum(white, blue), (0.06, 0.18), (0, 1)) * clear,
        "water": np.interp(blue, (0, 0.25), (0, 1)),
        "contrast": contrasts.strength()[0] * crossed,
        "balance": unknown,
        "continuity": runs_on,
        "shore": unknown,
    }
    worth = BANDS_WORTH + (SURF_WORTH - BANDS_WORTH) * np.interp(straight, (0.5, 0.85), (1, 0))
    return Parts(values, none, none), worth


def _blurred(field: NDArray, sigma_px: float) -> NDArray[np.float32]:
    return cv2.GaussianBlur(np.float32(field), (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
