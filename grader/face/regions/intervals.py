"""How far a share may be off: a half width for each share, from what is seen of the face and its light.

A share is surer where few pixels could be another class, where its colour lies far from the next class's, where it is
nearly all or nothing, and where the light is known. How much each counts is fitted on renders so that 95 of 100 shares
lie within (``grader.train.intervals``).
"""

import json
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError
from grader.photo.net import starter_folder

#: A half width is at least this share.
LEAST = 0.002
#: CIELAB distance beyond which a neighbour in colour no longer matters, by a factor of e.
_NEAR = 12.0


@dataclass(frozen=True)
class ShareEvidence:
    """What is seen of one class's share; nothing of it changes when a photo is only made larger.

    Attributes
    ----------
    value : the share, 0 to 1.
    doubt : mean chance, 0 to 1, that a pixel's yes or no to the class is wrong.
    hidden_share : of the face, under glare.
    nearest_de : CIELAB distance (dE*ab) to the nearest other class present, ``None`` without one.
    light_sd : of a* and b* together, what the photo's white leaves open.
    """

    value: float
    doubt: float
    hidden_share: float
    nearest_de: float | None
    light_sd: float

    def row(self) -> NDArray[np.float64]:
        """Return the numbers, (7,), in which the logarithm of the half width is linear."""
        near = 0.0 if self.nearest_de is None else np.exp(-self.nearest_de / _NEAR)
        return np.array(
            [
                1.0,
                np.log(self.doubt + 0.004),
                np.sqrt(self.value * (1 - self.value)),
                float(self.value == 0),
                near,
                self.hidden_share,
                np.log(self.light_sd),
            ]
        )


def half_width(evidence: ShareEvidence) -> float:
    """Return by how much, 0 to 1, a share of the readable face may be off at 95 %.

    Raises
    ------
    ModelError
        The fitted numbers are missing or damaged.
    """
    return float(max(LEAST, np.exp(min(0.0, evidence.row() @ _coefficients()))))


@cache
def _coefficients() -> NDArray[np.float64]:
    path = starter_folder() / "regions.json"
    try:
        fitted = np.array(json.loads(path.read_text("utf-8"))["log_half_width"], np.float64)
        if fitted.shape != (7,):
            raise ValueError("not seven numbers")
        return fitted
    except (OSError, ValueError, KeyError, TypeError) as err:
        raise ModelError(
            f"{path.name}: missing or damaged; install the tool again, or run python -m grader.train.intervals"
        ) from err
