"""The stage between a photo and its measurements: one stone's face as arrays of one shape."""

from dataclasses import dataclass

from numpy.typing import NDArray


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

    def to_photo_px(self, points: NDArray) -> NDArray:
        """Return (n, 2) points x, y of this working image in px of the full-size photo."""
        return points / self.px_per_photo_px + self.origin_px

    def from_photo_px(self, points: NDArray) -> NDArray:
        """Return (n, 2) points x, y in px of the full-size photo in px of this working image."""
        return (points - self.origin_px) * self.px_per_photo_px
