"""A template as its tests need it: discs that must find room, and shadows that must not overlap.

Poses are (n, 3): x, y in working px, and the turn of the long side in radians clockwise as seen. Rows count
downwards, so that its cosine and sine give x and y at once; records have it in degrees counter-clockwise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.room import Oval, Room

#: Discs along a template's long axis.
DISCS = 11
#: Directions over half a turn on which two templates cast their shadows.
SHADOWS = 48
#: Turns tried.
TURN_STEP_DEG = 15

DIRECTIONS = np.arange(SHADOWS) * np.pi / SHADOWS
UNITS = np.stack([np.cos(DIRECTIONS), np.sin(DIRECTIONS)])


@dataclass(frozen=True)
class Shape:
    """A template and its margin, working px.

    long, short : sides.   margin : kept from other templates.
    axis, radius : (discs,) middles along the long axis from the centre, and radii.
    """

    long: float
    short: float
    margin: float
    axis: NDArray
    radius: NDArray

    @classmethod
    def of(cls, oval: Oval, margin_px: float) -> "Shape":
        """Return the shape of an oval; a round one has a single disc."""
        # An ellipse is the union of the discs that touch it from within, the outermost of radius b^2 / a.
        a, b = oval.long_px / 2, oval.short_px / 2
        if a - b < 1e-3 * b:
            return cls(2 * a, 2 * b, margin_px, np.zeros(1), np.array([b]))
        axis = (a * a - b * b) / a * np.linspace(-1, 1, DISCS)
        return cls(2 * a, 2 * b, margin_px, axis, b * np.sqrt(1 - axis**2 / (a * a - b * b)))

    @property
    def turns(self) -> NDArray:
        """Turns tried, radians; one for a round template."""
        if len(self.axis) == 1:
            return np.zeros(1)
        return np.radians(np.arange(0, 180, TURN_STEP_DEG))

    def spare(self, room: Room, poses: NDArray) -> NDArray:
        """Room that each disc of each pose has left, (n, discs); below 0 it does not fit."""
        x = poses[:, :1] + self.axis * np.cos(poses[:, 2:])
        y = poses[:, 1:2] + self.axis * np.sin(poses[:, 2:])
        return room.at(x, y) - self.radius

    def half_shadows(self, turns: NDArray) -> NDArray:
        """Half widths of ovals at those turns, (n,), as seen along each direction, (n, directions).

        sqrt(a^2 cos^2 + b^2 sin^2) of the angle between them.
        """
        off = DIRECTIONS - turns[:, None]
        return np.sqrt((self.short**2 + (self.long**2 - self.short**2) * np.cos(off) ** 2) / 4)

    def gaps(self, poses: NDArray, first: NDArray, second: NDArray) -> tuple[NDArray, NDArray]:
        """Return the distance of pairs of poses less the margin, and the number of the direction along which it lies.

        Both (pairs,); below 0 where too near.

        first, second : (pairs,) numbers among the poses. Never more than the true distance.
        """
        apart = np.abs((poses[second, :2] - poses[first, :2]) @ UNITS)
        shadows = self.half_shadows(poses[:, 2])
        apart = apart - shadows[first] - shadows[second]
        best = apart.argmax(axis=1)
        return apart[np.arange(len(best)), best] - self.margin, best
