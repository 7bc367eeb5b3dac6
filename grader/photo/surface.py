"""Whether a face was photographed wet or dry, as far as one photo can tell.

Water fills what scatters light on a dry surface: colours get deeper, and the surface mirrors. A small network says of
every place of the face how likely it looks wet; where one part does and another does not, the face is patchy.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import scaled_lab
from grader.photo.net import run_net

STATES = ("wet", "dry", "patchy", "unknown")
#: The network's outputs, in their order.
NAMES = ("dry", "wet")
#: Longer side of what the network looks at, in px.
LOOK_PX = 320

# Settings, found on tuning renders.
#: A place is told wet, or dry, from this chance on.
SURE = 0.8
#: Share of the face whose places must be told, or the state is unknown.
LEAST_TOLD = 0.5
#: Of the places told, at least so many are wet on a wet face, at most so many on a dry one.
WET_SHARE, DRY_SHARE = 0.85, 0.15


@dataclass(frozen=True)
class State:
    """wet, dry, patchy or unknown, and who says so: "seller" or "photo".

    Wet means wet-looking: a photo cannot tell wet, oiled and polished apart.
    wet_share : of the places that the photo tells, 0 to 1; ``None`` where it tells none, or nobody asked it.
    """

    value: str
    source: str
    wet_share: float | None = None


def read_state(
    lab: NDArray[np.float32], mask: NDArray[np.bool_], given: str | None = None
) -> State:
    """Return the state of a face: the seller's word, else what the photo shows.

    Parameters
    ----------
    lab : ndarray of shape (h, w, 3), CIELAB.
    mask : ndarray of shape (h, w), the stone.
    given : one of ``STATES``, where the seller says so.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    if given is not None:
        if given not in STATES:
            raise ValueError(f"state is {given!r}; one of {', '.join(STATES)}")
        return State(given, "seller")
    return state_from(wet_chance(lab, mask))


def wet_input(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return what the network reads, shape (h, w, 4): CIELAB near -1 to 1 and the mask; zero off the stone."""
    picture = np.dstack([scaled_lab(lab), np.ones(mask.shape, np.float32)])
    picture[~mask] = 0
    return picture


def wet_chance(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the chance of every place on the stone to look wet, 0 to 1, shape (n,): its px where its longer side has
    ``LOOK_PX``."""
    h, w = mask.shape
    factor = LOOK_PX / max(h, w)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    cover = cv2.resize(mask.astype(np.float32), size, interpolation=way)
    small = cv2.resize(lab * mask[..., None], size, interpolation=way)
    small /= np.maximum(cover, 0.5)[..., None]
    stone = cover > 0.5
    scores = run_net("wet", wet_input(small, stone))[stone]
    return 1 / (1 + np.exp(scores[:, 0] - scores[:, 1]))


def state_from(chance: NDArray[np.float32]) -> State:
    """Return the state of a face whose places look wet with these chances, shape (n,)."""
    wet, dry = int((chance >= SURE).sum()), int((chance <= 1 - SURE).sum())
    if wet + dry < max(1.0, LEAST_TOLD * len(chance)):
        return State("unknown", "photo")
    share = wet / (wet + dry)
    value = "wet" if share >= WET_SHARE else "dry" if share <= DRY_SHARE else "patchy"
    return State(value, "photo", share)
