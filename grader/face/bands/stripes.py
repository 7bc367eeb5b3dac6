"""The map on which bands are followed: water, sky or other at each px, without specks, glare and
threads.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.structure import structure_tensor
from grader.measures import UNREADABLE
from grader.profile import Profile

#: Bands are followed on a map of at most this size: a third of a band is still some px.
MAP_PX = 400
#: What a px of the map holds.
OUTSIDE, WATER, SKY, OTHER = range(4)


def stripe_map(codes: NDArray, mask: NDArray, profile: Profile) -> tuple[NDArray[np.uint8], float]:
    """Return the map of WATER, SKY, OTHER at band-following size, (h, w), and its scale.

    Specks and glare are filled from around.   scale : px of the map for one working px.
    """
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    codes, mask = codes[y : y + h, x : x + w], mask[y : y + h, x : x + w]
    scale = min(1.0, MAP_PX / max(w, h, 1))
    size = (max(round(w * scale), 1), max(round(h * scale), 1))
    known = mask & (codes != UNREADABLE) & (codes != 0)
    is_water, is_sky = (np.isin(codes, profile.codes(role)) for role in ("water", "sky"))
    planes = np.dstack([known & is_water, known & is_sky, known & ~is_water & ~is_sky]).astype(
        np.float32
    )
    planes = np.pad(
        cv2.resize(planes, size, interpolation=cv2.INTER_AREA), ((2, 2), (2, 2), (0, 0))
    )
    inside = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    inside = np.pad(inside, 2)
    votes = cv2.GaussianBlur(planes, (0, 0), 0.8)
    stripes = (votes.argmax(axis=2) + 1).astype(np.uint8)
    unsure = votes.max(axis=2) < 0.1
    if (unsure & inside).any() and not unsure.all():
        stripes = _nearest(stripes, unsure)
    return np.where(inside, stripes, OUTSIDE).astype(np.uint8), scale


def _nearest(labels: NDArray, unknown: NDArray) -> NDArray:
    """Return the labels with the unknown px given the label of the nearest known one."""
    _, index = cv2.distanceTransformWithLabels(
        unknown.astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_index = np.zeros(index.max() + 1, labels.dtype)
    of_index[index[~unknown]] = labels[~unknown]
    return of_index[index]


def without_specks(stripes: NDArray, least_area: float) -> NDArray[np.uint8]:
    """Return the map with patches smaller than ``least_area`` px given to what lies around.

    No band begins or ends at them.
    """
    kept = np.zeros_like(stripes)
    for stripe in (WATER, SKY, OTHER):
        _, labels, stats, _ = cv2.connectedComponentsWithStats(
            (stripes == stripe).astype(np.uint8), connectivity=4
        )
        large = stats[:, cv2.CC_STAT_AREA] >= least_area
        large[0] = False
        kept[large[labels]] = stripe
    if not kept.any():
        return stripes
    return np.where(stripes != OUTSIDE, _nearest(kept, kept == OUTSIDE), OUTSIDE).astype(np.uint8)


def without_threads(stripes: NDArray, thread_px: float) -> NDArray[np.uint8]:
    """Return the map without what is thinner than a thread.

    A crack across would bend the direction around it.
    """
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * int(thread_px / 2) + 1,) * 2)
    inside = stripes != OUTSIDE
    # The outside joins each class, so that stripes are not rounded off where the face ends.
    opened = [
        cv2.morphologyEx(((stripes == s) | ~inside).astype(np.uint8), cv2.MORPH_OPEN, disc)
        for s in (WATER, SKY, OTHER)
    ]
    kept = np.zeros_like(stripes)
    for stripe, plane in zip((WATER, SKY, OTHER), opened, strict=True):
        kept[(plane > 0) & (stripes == stripe)] = stripe
    if not kept.any():
        return stripes
    return np.where(inside, _nearest(kept, kept == OUTSIDE), OUTSIDE).astype(np.uint8)


def half_thickness(stripes: NDArray) -> float:
    """Return half the usual thickness of the water and sky stripes, px.

    Over a stripe the mean distance to its sides is a quarter of it.
    """
    depths = [depth_px(stripes == s)[stripes == s] for s in (WATER, SKY)]
    depths = np.concatenate(depths)
    return 2 * float(depths.mean()) if depths.size else 1.0


def depth_px(mask: NDArray) -> NDArray[np.float32]:
    """Return the distance from each px of the mask to the nearest outside it, (h, w), px.

    So counted that twice a bar's is its thickness.
    """
    return cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) - np.float32(0.25) * mask


def local_direction(stripes: NDArray, half_px: float) -> tuple[NDArray, float]:
    """Return the local direction of the stripes, (h, w), degrees counter-clockwise, and how sure it is, 0 to 1.

    The latter is the coherence weighted by the borders' strength.
    """
    planes = np.dstack([stripes == s for s in (WATER, SKY)] + [stripes != OUTSIDE]).astype(
        np.float32
    )
    # Wide bands need no fine map.
    every = max(int(half_px / 4), 1)
    size = (max(stripes.shape[1] // every, 8), max(stripes.shape[0] // every, 8))
    planes = cv2.resize(planes, size, interpolation=cv2.INTER_AREA)
    # The blur drags the outside in: two px more are left out.
    inside = cv2.erode((planes[..., 2] > 0.99).astype(np.uint8), np.ones((5, 5), np.uint8)).astype(
        bool
    )
    sigma = float(np.clip(2.0 * half_px, 7.0, 0.12 * max(stripes.shape))) / every
    planes = cv2.GaussianBlur(planes[..., :2], (0, 0), max(0.25 * half_px, 1.0) / every)
    orientation_deg, coherence = structure_tensor(planes, inside, sigma)
    strength = cv2.GaussianBlur(_edge_strength(planes) * inside, (0, 0), sigma) * inside
    total = float(strength.sum())
    fine = cv2.resize(orientation_deg, stripes.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return fine, float((coherence * strength).sum() / total) if total > 1e-6 else 0.0


def _edge_strength(planes: NDArray) -> NDArray:
    gx, gy = cv2.Sobel(planes, cv2.CV_32F, 1, 0), cv2.Sobel(planes, cv2.CV_32F, 0, 1)
    return (gx * gx + gy * gy).sum(axis=2)


def smeared(
    stripes: NDArray, orientation_deg: NDArray, crack_px: float, froth_px: float
) -> NDArray[np.uint8]:
    """Return the map after a vote along the bands and a small one around.

    What is shorter than ``crack_px`` along them closes; froth is evened over ``froth_px``.
    """
    angle = np.radians(orientation_deg)
    step_x, step_y = np.cos(angle).astype(np.float32), -np.sin(angle).astype(np.float32)
    y, x = np.mgrid[: stripes.shape[0], : stripes.shape[1]].astype(np.float32)
    planes = np.dstack([stripes == s for s in (WATER, SKY, OTHER)]).astype(np.float32)
    votes = planes.copy()
    reach = int(np.ceil(crack_px))
    for k in range(1, reach + 1):
        for sign in (-k, k):
            votes += cv2.remap(planes, x + sign * step_x, y + sign * step_y, cv2.INTER_LINEAR)
    votes = cv2.GaussianBlur(votes, (0, 0), max(froth_px, 0.5))
    return np.where(stripes == OUTSIDE, OUTSIDE, votes.argmax(axis=2) + 1).astype(np.uint8)
