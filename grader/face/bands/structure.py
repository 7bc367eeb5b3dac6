"""Which way the pattern runs, and how sure that is: the structure tensor, and sums of angles
without a head or tail.
"""

import cv2
import numpy as np
from numpy.typing import NDArray


def structure_tensor(
    gray: NDArray, mask: NDArray, sigma: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the direction of the structure and its coherence, seen through a window of ``sigma``.

    Parameters
    ----------
    gray : ndarray of shape (h, w) or (h, w, channels), float; the tensors of several channels are
    added.
    mask : ndarray of shape (h, w), bool; what lies outside is not looked at.
    sigma : standard deviation of the window in px; ``inf`` takes the whole mask as one window.

    Returns
    -------
    orientation_deg : ndarray of shape (h, w), or () for ``inf``
        Along the stripes, 0 <= d < 180, 0 level, counter-clockwise as seen (rows count downwards).
    coherence : same shape
        (l1 - l2) / (l1 + l2) of the tensor's eigenvalues, 0 to 1; 0 where nothing changes.

    References
    ----------
    Bigun & Granlund 1987, Proc. 1st ICCV (from memory); Weickert 1999 squares l1 - l2 and does not
    divide: not meant here.
    """
    return direction(*tensor(gray, mask, sigma))


def tensor(gray: NDArray, mask: NDArray, sigma: float) -> tuple[NDArray, NDArray, NDArray]:
    """Return the tensor itself, xx, yy and xy, of the shapes and with the parameters of :func:`structure_tensor`."""
    channels = gray if gray.ndim == 3 else gray[..., None]
    # Sobel looks one px around, so a px whose neighbours are all inside is needed.
    inside = cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(bool)
    jxx, jyy, jxy = (np.zeros(mask.shape, channels.dtype) for _ in range(3))
    depth = cv2.CV_64F if channels.dtype == np.float64 else cv2.CV_32F
    for c in range(channels.shape[2]):
        plane = np.ascontiguousarray(channels[..., c])
        gx = cv2.Sobel(plane, depth, 1, 0, ksize=3) * inside
        gy = cv2.Sobel(plane, depth, 0, 1, ksize=3) * inside
        jxx, jyy, jxy = jxx + gx * gx, jyy + gy * gy, jxy + gx * gy
    if np.isinf(sigma):
        return jxx.sum(), jyy.sum(), jxy.sum()
    return tuple(cv2.GaussianBlur(j, (0, 0), sigma) for j in (jxx, jyy, jxy))


def direction(
    jxx: NDArray, jyy: NDArray, jxy: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return direction and coherence, as :func:`structure_tensor` does, of tensors of any shape."""
    trace = np.asarray(jxx + jyy, np.float64)
    spread = np.hypot(jxx - jyy, 2 * jxy)
    coherence = np.divide(spread, trace, out=np.zeros_like(trace), where=trace > 1e-12)
    # The gradient's axis is half of atan2; the stripes are square to it; rows count downwards, so
    # the sign turns.
    orientation_deg = (90 - np.degrees(np.arctan2(2 * jxy, jxx - jyy)) / 2) % 180
    return orientation_deg, coherence


def axial_mean(deg: NDArray, weights: NDArray | None = None) -> tuple[float, float]:
    """Return the mean axis (0 <= d < 180) of directions without head or tail, and its resultant length, 0 to 1.

    The mean axis means nothing where the resultant is near 0.

    References
    ----------
    Mardia 1972; Fisher 1993 (from memory): the angles are doubled, averaged as vectors, and halved.
    """
    mean_deg, resultant = circular_mean(2 * np.asarray(deg, np.float64), weights)
    return mean_deg / 2, resultant


def axial_spread(resultant: float) -> float:
    """Return the standard deviation of axes, degrees, from the resultant length of their doubled angles.

    References
    ----------
    Mardia 1972; Fisher 1993 (from memory): sqrt(-2 ln R) in radians of the doubled angles, halved.
    """
    within = min(max(resultant, 1e-12), 1.0)
    return float(np.degrees(np.sqrt(-2 * np.log(within))) / 2)


def circular_mean(deg: NDArray, weights: NDArray | None = None) -> tuple[float, float]:
    """Return the mean direction (0 <= d < 360) of angles in degrees, and the resultant length, 0 to 1."""
    angles = np.exp(1j * np.radians(np.asarray(deg, np.float64)))
    mean = np.average(angles, weights=weights)
    mean_deg = float(np.degrees(np.angle(mean)) % 360)
    # A mean a hair below 0 must not come out as 360.
    return (0.0 if mean_deg >= 360 - 1e-9 else mean_deg), float(abs(mean))
