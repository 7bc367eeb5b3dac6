"""Which stones to call next: spread evenly over the ladder, as the model sees it.

Tried on simulated sellers with 20 calls (faces of the training style) and not kept, since none did better than this:
the most unsure stones first, with or without distance to those taken; of each part of the ladder the most unsure, the
most typical, or the one farthest from those taken; the stones nearest to 20 centres; the stone that lowers the doubt
over all others by most (V-optimal design).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


def ask_for(
    places: NDArray[np.float64], count: int, called: Sequence[int], rng: np.random.Generator
) -> list[int]:
    """Return the rows of the stones to call, lowest place first.

    The stones without a call are sorted by their mean place on the ladder and cut into ``count`` groups of one size; of
    each one stone is drawn.

    Parameters
    ----------
    places : ndarray of shape (n,), mean places on the ladder by the model.
    called : rows that have a call already.
    """
    left = np.setdiff1d(np.arange(len(places)), np.asarray(called, int))
    if len(left) == 0:
        return []
    in_order = left[np.argsort(places[left], kind="stable")]
    return [int(rng.choice(group)) for group in np.array_split(in_order, min(count, len(left)))]
