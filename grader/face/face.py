"""The stage between a photo and its measurements: one stone's face as arrays of one shape."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

#: Longer side of what networks look at that see a whole face, in px.
LOOK_PX = 384


@dataclass(frozen=True)
class Face:
    """One face, cut out of its photo at working size.

    Attributes
    ----------
    linear : ndarray of shape (h, w, 3), float32, linear sRGB as photographed; may leave 0 to 1.
    lab : ndarray of shape (h, w, 3), float32, CIELAB (D65), corrected by what the photo shows of known colour.
    mask : ndarray of shape (h, w), bool, the stone.
    px_per_photo_px : working px for one px of the full-size photo, at most 1.
    origin_px : (x, y) of the working image's corner in the full-size photo.
    mm_per_px : millimetres of one working px, ``None`` where the scale is not known.
    light_sd : standard deviation of a* and b* together that the photo's white leaves open.
    """

    linear: NDArray
    lab: NDArray
    mask: NDArray
    px_per_photo_px: float
    origin_px: tuple[float, float]
    mm_per_px: float | None = None
    light_sd: float = 1.0

    @property
    def look_size(self) -> tuple[int, int]:
        """Width and height of what networks look at that see the whole face."""
        h, w = self.mask.shape
        factor = LOOK_PX / max(h, w)
        return max(8, round(w * factor)), max(8, round(h * factor))

    @cached_property
    def small(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """A face larger than ``LOOK_PX`` averaged down to it: CIELAB, (h, w, 3), and the share of stone, (h, w).

        The colour is the mean over the stone's own px: the ground beside it takes no part.
        """
        return self._resized(cv2.INTER_AREA)

    @property
    def enlarged(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """The same of a smaller face, enlarged to it."""
        return self._resized(cv2.INTER_LINEAR)

    def _resized(self, method: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        stone = cv2.copyTo(self.lab, self.mask.view(np.uint8))
        lab = cv2.resize(stone, self.look_size, interpolation=method)
        cover = cv2.resize(self.mask.astype(np.float32), self.look_size, interpolation=method)
        lab /= np.maximum(cover, 0.5)[..., None]
        return lab, cover

    def to_photo_px(self, points: NDArray) -> NDArray:
        """Return (n, 2) points x, y of this working image in px of the full-size photo."""
        return points / self.px_per_photo_px + self.origin_px

    def from_photo_px(self, points: NDArray) -> NDArray:
        """Return (n, 2) points x, y in px of the full-size photo in px of this working image."""
        return (points - self.origin_px) * self.px_per_photo_px
