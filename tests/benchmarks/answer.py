"""What one way of grading says of one photo, in the form that the scores take."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class PieceAnswer:
    """What is said of one stone; ``None`` where nothing is said.

    shares, low, high : (3,) blue, white, host of the readable face, 0 to 1.
    direction_deg : of the bands, 0 to 180, 0 level, counter-clockwise.   continuity : 0 to 1.
    """

    shares: NDArray
    low: NDArray | None = None
    high: NDArray | None = None
    direction_deg: float | None = None
    continuity: float | None = None


@dataclass(frozen=True)
class Answer:
    """Layers of shape (H, W) of the upright photo, and the numbers by stone id.

    regions : 0 background, 1 blue, 2 white, 3 host, 9 unreadable.   pieces : ids.   cracks : bool.
    """

    regions: NDArray[np.uint8]
    pieces: NDArray
    cracks: NDArray[np.bool_]
    by_piece: dict[int, PieceAnswer] = field(default_factory=dict)
