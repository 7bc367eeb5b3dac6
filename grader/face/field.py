"""The blue-white scale of a face: -1 deep in the water's colour, 1 in the sky's, 0 at the border between the two.

What the regions say and what the colours say stand together: the regions know what is white beside
which blue, the colours know fine bands that the regions miss.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.measurements import Regions
from grader.face.stripes import OUTSIDE, SKY, WATER
from grader.measures import UNREADABLE

#: Say of the colours, beside that of the regions.
COLOUR_SAY = 0.6
#: The usual colours of water and sky are looked up over this many band thicknesses around.
AROUND = 2.0
#: The least distance of sky and water on the scale, of that of the face's usual colours.
LEAST_RANGE = 0.3


def blue_white_field(
    face: Face, regions: Regions, stripes: NDArray[np.uint8], scale: float, half_px: float,
    ends: tuple[NDArray, NDArray], say: float = COLOUR_SAY,
) -> NDArray[np.float32]:
    """Return the scale on the map of stripes.

    stripes : ndarray of shape (h, w), OUTSIDE, WATER, SKY, OTHER.   scale : its px for one px of the face.
    half_px : half the usual thickness of a band.   ends : L*, a*, b* of water and sky.
    """
    x, y, w, h = cv2.boundingRect(face.mask.astype(np.uint8))
    part = np.s_[y : y + h, x : x + w]
    size = (stripes.shape[1] - 4, stripes.shape[0] - 4)
    known = (regions.codes[part] > 0) & (regions.codes[part] != UNREADABLE)
    cover = cv2.resize(known.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    lab = cv2.resize(face.lab[part] * known[..., None], size, interpolation=cv2.INTER_AREA)
    cover, lab = (np.pad(a, ((2, 2), (2, 2)) + ((0, 0),) * (a.ndim - 2)) for a in (cover, lab))
    axis = np.subtract(ends[1], ends[0]).astype(np.float32)
    middle = np.add(*ends).astype(np.float32) / 2
    colour = (lab / np.maximum(cover, 0.05)[..., None] - middle) @ axis * (2 / (axis @ axis))
    seen = cover > 0.5
    low = _around(colour, seen & (stripes == WATER), -1.0, AROUND * 2 * half_px)
    high = _around(colour, seen & (stripes == SKY), 1.0, AROUND * 2 * half_px)
    colour = (colour - (low + high) / 2) / np.maximum((high - low) / 2, LEAST_RANGE)
    named = (stripes == SKY).astype(np.float32) - (stripes == WATER)
    colour = np.where(seen, np.clip(colour, -1, 1), named)
    return (say * colour + (1 - say) * named).astype(np.float32)


def _around(values: NDArray, where: NDArray, usual: float, sigma: float) -> NDArray:
    """Mean of the values there around each px; ``usual`` where there are few."""
    weight = where.astype(np.float32)
    sums = cv2.GaussianBlur(values * weight, (0, 0), sigma)
    total = cv2.GaussianBlur(weight, (0, 0), sigma)
    return (sums + 0.05 * usual) / (total + 0.05)


def split(stripes: NDArray[np.uint8], field: NDArray) -> NDArray[np.uint8]:
    """Return the map with water and sky parted where the scale crosses 0."""
    banded = (stripes == WATER) | (stripes == SKY)
    return np.where(banded, np.where(field > 0, SKY, WATER), stripes).astype(np.uint8)
