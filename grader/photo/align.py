"""How one picture of a face lies in another one of it, with the camera or the lamp moved, by keypoints of both."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

# Settings, found on pairs drawn with other lamps and turned by known homographies (seeds apart from the benchmark's).
#: Lightness is taken as so many spreads above its neighbourhood, so wide, so that lamp and exposure drop out; spreads
#: below the least one (L*) are noise.
NEAR_PX, LEAST_SPREAD_L = 12.0, 3.0
#: Keypoints are looked for at full size and at half of it: a smooth face has none that are fine.
FINE, COARSE = 1.0, 0.5
#: At most so many keypoints are compared; SIFT's threshold lies low, for pale bands.
MOST_KEYPOINTS, CONTRAST = 4000, 0.015
#: SIFT's px are counted at their centres, and its first octave, the picture made twice as large, moves them on by a
#: quarter px (measured on turned pictures); this makes them px whose centre is at a half.
CORNER_PX = np.float32(0.5 - 0.25)
#: A keypoint fits its best counterpart clearly better than the second best, by this ratio of distances.
RATIO = 0.85
#: Reach, px, within which two keypoints are one and the same.
INLIER_PX = 3.0
#: The fewest keypoints that must agree.
LEAST_MATCHES = 14
#: One face is at most so many times larger in one picture than in the other.
MOST_SCALE = 8.0
#: From px that are counted at their centres, as OpenCV does, to px whose centre is at a half.
CENTRE = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])


@dataclass(frozen=True)
class Alignment:
    """How one picture lies in another one.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3), the homography from px of the first to px of the other.
    error_px : median distance of the keypoints that agree, px of the other picture.
    """

    matrix: NDArray[np.float64]
    error_px: float

    def to_other(self, points: NDArray) -> NDArray[np.float64]:
        """Return where (n, 2) points x, y of the first picture lie in the other."""
        return cv2.perspectiveTransform(np.float64(points)[None], self.matrix)[0]

    def area_at(self, points: NDArray) -> NDArray[np.float64]:
        """Return how many px of the other picture one px of the first takes at (n, 2) points."""
        return _area_at(self.matrix, points)


@dataclass(frozen=True)
class Keypoints:
    """Places of a picture that can be found again in another one.

    Attributes
    ----------
    points : ndarray of shape (n, 2), x, y in px, pixel (0, 0) spanning 0 to 1.
    descriptors : ndarray of shape (n, 128), what the picture looks like around each (RootSIFT).
    """

    points: NDArray[np.float32]
    descriptors: NDArray[np.float32]


def find_keypoints(
    lightness: NDArray[np.float32], where: NDArray[np.bool_] | None = None, size: float = FINE
) -> Keypoints:
    """Return the keypoints of a picture that can be found again whatever the light.

    Parameters
    ----------
    lightness : ndarray of shape (h, w), L*.
    where : ndarray of shape (h, w), the px to look at; all without it.
    size : at which they are looked for, ``FINE`` or ``COARSE``; points are in px of the picture given.

    References
    ----------
    Lowe 2004, IJCV 60(2):91-110, scale-invariant features (from memory).
    """
    where = np.ones(lightness.shape, bool) if where is None else where
    lightness, mask = (_resized(picture, size) for picture in (lightness, where.astype(np.uint8)))
    grey = np.clip(128 + 48 * evened(lightness), 0, 255).astype(np.uint8)
    found, descriptors = cv2.SIFT_create(
        MOST_KEYPOINTS, contrastThreshold=CONTRAST
    ).detectAndCompute(grey, mask)
    if descriptors is None:
        return Keypoints(np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32))
    # The root of a histogram compares by shape: Arandjelovic & Zisserman 2012, CVPR (from memory).
    descriptors = np.sqrt(descriptors / np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-6))
    factors = np.float32(grey.shape[::-1]) / np.float32(where.shape[::-1])
    return Keypoints((np.float32([p.pt for p in found]) + CORNER_PX) / factors, descriptors)


def evened(lightness: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return lightness in spreads above the mean of its neighbourhood: what a lamp that moves changes least."""
    mean = cv2.GaussianBlur(lightness, (0, 0), NEAR_PX)
    above = lightness - mean
    spread = np.sqrt(cv2.GaussianBlur(above * above, (0, 0), NEAR_PX))
    return above / (spread + np.float32(LEAST_SPREAD_L))


def align(first: Keypoints, other: Keypoints) -> Alignment | None:
    """Return how the first picture lies in the other; ``None`` where too little of it is found again."""
    if min(len(first.points), len(other.points)) < LEAST_MATCHES:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(first.descriptors, other.descriptors, k=2)
    pairs = [a for a, b in pairs if a.distance < RATIO * b.distance]
    if len(pairs) < LEAST_MATCHES:
        return None
    in_first = first.points[[p.queryIdx for p in pairs]]
    in_other = other.points[[p.trainIdx for p in pairs]]
    matrix, agree = cv2.findHomography(
        in_first, in_other, cv2.USAC_MAGSAC, INLIER_PX, maxIters=5000, confidence=0.999
    )
    if matrix is None or agree.sum() < LEAST_MATCHES or not _as_a_camera_sees(matrix, in_first):
        return None
    agree = agree.ravel() > 0
    miss_px = np.linalg.norm(
        cv2.perspectiveTransform(in_first[None, agree], matrix)[0] - in_other[agree], axis=1
    )
    return Alignment(matrix, float(np.median(miss_px)))


def correlation(first: NDArray, other: NDArray, where: NDArray[np.bool_]) -> float:
    """Return the correlation of two lightnesses that lie one over the other, each evened, over some px; -1 to 1."""
    if not where.any():
        return 0.0
    a, b = (evened(np.ascontiguousarray(picture))[where] for picture in (first, other))
    a, b = a - a.mean(), b - b.mean()
    return float((a * b).sum() / np.sqrt((a * a).sum() * (b * b).sum() + 1e-9))


def _resized(picture: NDArray, factor: float) -> NDArray:
    if factor == 1:
        return np.ascontiguousarray(picture)
    h, w = picture.shape
    size = (max(1, round(w * factor)), max(1, round(h * factor)))
    return cv2.resize(np.ascontiguousarray(picture), size, interpolation=cv2.INTER_AREA)


def _as_a_camera_sees(matrix: NDArray, points: NDArray) -> bool:
    """Whether a homography neither mirrors nor blows up any of the points."""
    depth = np.c_[points, np.ones(len(points))] @ matrix[2]
    if depth.min() <= 0:
        return False
    area = _area_at(matrix, points)
    return bool(area.min() > MOST_SCALE**-2 and area.max() < MOST_SCALE**2)


def _area_at(matrix: NDArray, points: NDArray) -> NDArray[np.float64]:
    """By how much a homography makes a small patch larger: det H / depth^3; below 0 it mirrors."""
    depth = np.c_[points, np.ones(len(points))] @ matrix[2]
    return np.linalg.det(matrix) / depth**3
