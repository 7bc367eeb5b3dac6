"""Where the camera stood over the card: from the card's homography and the focal length in px."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Focal lengths of phones' main cameras, mm of a 35 mm camera; common practice, no source.
PHONE_FOCAL_35MM = (24.0, 30.0)
#: A film frame is 36 x 24 mm, its diagonal 43.27 mm.
FILM_WIDTH_MM, FILM_DIAGONAL_MM = 36.0, float(np.hypot(36, 24))
#: Sensors of phones are 4 wide for 3 high; other photos are cut out of such a one.
SENSOR_RATIO = 4 / 3
#: The EXIF number is a whole one.
ROUNDED_MM = 0.5


@dataclass(frozen=True)
class Camera:
    """A camera over a plane.

    Attributes
    ----------
    height_mm : distance of the lens from the plane, square to it.
    tilt_deg : angle between the optical axis and the square to the plane, 0 to 90.
    stretch : scale along the plane's x over that along its y, 1 where plane and homography agree.
    """

    height_mm: float
    tilt_deg: float
    stretch: float


def focal_range_px(
    photo_size_px: tuple[int, int], focal_35mm: float | None = None
) -> tuple[float, float]:
    """Return the least and the greatest focal length in px that fit what EXIF says.

    Parameters
    ----------
    photo_size_px : width and height of the upright full-size photo.
    focal_35mm : EXIF ``FocalLengthIn35mmFilm`` (tag 41989); ``None`` or 0, which EXIF uses for
        unknown, gives the range of phones' main cameras.

    Notes
    -----
    The 35 mm equivalent is meant by the picture's diagonal (CIPA DCG-001, from memory), but some
    cameras give it by the long side. At 4:3 the two are 4 % apart: the range holds both, and the
    rounding to a whole mm. A photo of another shape is taken as cut out of a 4:3 one. A zoom that
    EXIF does not tell of makes the range wrong.
    """
    width, height = photo_size_px
    known = focal_35mm is not None and np.isfinite(focal_35mm) and focal_35mm > ROUNDED_MM
    low, high = (focal_35mm - ROUNDED_MM, focal_35mm + ROUNDED_MM) if known else PHONE_FOCAL_35MM
    sensor_px = max(width, height, min(width, height) * SENSOR_RATIO)
    diagonal_px = sensor_px * np.hypot(1, 1 / SENSOR_RATIO)
    return float(low * sensor_px / FILM_WIDTH_MM), float(high * diagonal_px / FILM_DIAGONAL_MM)


def camera_over(
    homography: NDArray[np.float64], photo_size_px: tuple[int, int], focal_px: float
) -> Camera:
    """Return where a pinhole camera stood over a plane.

    Parameters
    ----------
    homography : ndarray of shape (3, 3), from mm in the plane to px of the photo.
    photo_size_px : width and height; the optical axis is taken through the middle.
    focal_px : focal length in px.

    References
    ----------
    Zhang 2000, IEEE TPAMI 22(11):1330-1334: a plane's homography is K [r1 r2 t] (from memory).
    """
    width, height = photo_size_px
    to_rays = np.array(
        [[1 / focal_px, 0, -width / 2 / focal_px], [0, 1 / focal_px, -height / 2 / focal_px]]
    )
    rays = np.vstack([to_rays @ homography, homography[2]])
    along_x, along_y = np.linalg.norm(rays[:, 0]), np.linalg.norm(rays[:, 1])
    place = rays[:, 2] / np.sqrt(along_x * along_y)
    # The nearest pair of unit vectors square to each other.
    left, _, right = np.linalg.svd(rays[:, :2], full_matrices=False)
    axes = left @ right
    square = np.cross(axes[:, 0], axes[:, 1])
    return Camera(
        height_mm=float(abs(square @ place)),
        tilt_deg=float(np.rad2deg(np.arccos(min(1.0, abs(square[2]))))),
        stretch=float(along_x / along_y),
    )
