"""Homographies: points mapped, the scale at a point, and what one step of a weighted fit gives.

A homography H takes a point of a plane p = (x, y, 1) to q = H p, and that to the pixel u = q1 / q3,
v = q2 / q3. Its ninth entry is held at 1, so eight are free. How the pixel moves with them, J (2, 8):

    du/dh1k = pk / q3    du/dh2k = 0          du/dh3k = -u pk / q3    k = 1, 2, 3
    dv/dh1k = 0          dv/dh2k = pk / q3    dv/dh3k = -v pk / q3    (h33 left out)

With r the px that a point misses by and s its standard deviation, a Gauss-Newton step d and the
covariance C of the entries are

    N = sum J' J / s^2    d = inv(N) sum J' r / s^2    C = inv(N)

References
----------
Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., section 5.2 (covariance of an estimated
homography, C = inv(J' S J)), from memory; J is our own differentiation of the mapping.
"""

import numpy as np
from numpy.typing import NDArray


def mapped(homography: NDArray, points: NDArray) -> NDArray[np.float64]:
    """Return where a homography (3, 3) takes points (n, 2) x, y; (n, 2)."""
    points = np.asarray(points, float)
    rays = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return rays[:, :2] / rays[:, 2:]


def jacobian(homography: NDArray, at: NDArray) -> NDArray[np.float64]:
    """Return how the mapped point moves with the point x, y, as a (2, 2) matrix."""
    x, y, w = homography @ (at[0], at[1], 1.0)
    return (homography[:2, :2] - np.outer((x / w, y / w), homography[2, :2])) / w


def log_scale(homography: NDArray, at: NDArray) -> float:
    """Return the logarithm of the scale at a point: of the root of the area that a unit square takes."""
    return 0.5 * np.log(abs(np.linalg.det(jacobian(homography, at))))


def entry_slopes(homography: NDArray, points: NDArray) -> NDArray[np.float64]:
    """Return J of the module's equation for points (n, 2), shape (n, 2, 8)."""
    ones = np.column_stack([points, np.ones(len(points))])
    rays = ones @ homography.T
    share = ones / rays[:, 2:]
    x, y = (rays[:, :2] / rays[:, 2:]).T
    slopes = np.zeros((len(points), 2, 9))
    slopes[:, 0, 0:3] = slopes[:, 1, 3:6] = share
    slopes[:, 0, 6:9], slopes[:, 1, 6:9] = -x[:, None] * share, -y[:, None] * share
    return slopes[:, :, :8]


def fit_step(
    homography: NDArray, points: NDArray, px: NDArray, weight: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the homography after one Gauss-Newton step, and the normal matrix N of that step.

    Parameters
    ----------
    homography : ndarray of shape (3, 3), the ninth entry 1.
    points, px : ndarrays of shape (n, 2), points of the plane and where they were seen.
    weight : ndarray of shape (n,), 1 / standard deviation in px; 0 for a point that does not count.

    Returns
    -------
    homography : ndarray of shape (3, 3).
    normal : ndarray of shape (8, 8); its inverse is the covariance of the first eight entries.
    """
    slope = entry_slopes(homography, points) * weight[:, None, None]
    gap = (px - mapped(homography, points)) * weight[:, None]
    normal = np.einsum("nik,nil->kl", slope, slope)
    step = np.linalg.solve(normal, np.einsum("nik,ni->k", slope, gap))
    return (homography.ravel() + np.append(step, 0)).reshape(3, 3), normal


def turned_over(width_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what mirrors px of a photo so wide: (3, 3), and on a homography's eight entries: (8, 8)."""
    mirror = np.array([[-1.0, 0, width_px], [0, 1, 0], [0, 0, 1]])
    return mirror, np.kron(mirror, np.eye(3))[:8, :8]
