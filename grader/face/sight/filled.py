"""A face whose glare is filled from other photos of it, in which the lamp shines elsewhere."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.sight.cut import with_light
from grader.face.sight.view import FaceView, lay_over
from grader.photo.align import Alignment
from grader.photo.reference import Reference

#: Around glare lies a veil that is no stone either: at least so wide, as a share of the face's longer side,
VEIL_SHARE = 0.006
#: and in px.
VEIL_PX = 4.0
#: It reaches further where a lamp is soft: within this share of the longer side
NEAR_SHARE = 0.06
#: whatever is lighter than in the other photo by this factor
VEIL_FACTOR = 1.2
#: and this linear light.
VEIL_LIGHT = 0.01
#: Filled light fades in over so many px.
FEATHER_PX = 3.0
#: Linear light from which a channel is burnt out and tells nothing of the stone.
BURNT_LIGHT = 0.98
#: Light is matched over this share of the face's longer side,
FIELD_SHARE = 0.08
#: on a grid so many times coarser.
COARSER = 4
#: Px whose ratio of light lies off the usual one by more than this factor take no part: there more than light differs.
ODD_FACTOR = 1.5
#: Cells of that grid that both must show for their light to be compared.
LEAST_SHARED = 20
#: How much the usual ratio counts against the px near a place: it alone counts where none is near.
USUAL_WEIGHT = 0.01


@dataclass(frozen=True)
class GlareFilledFace:
    """A face with its glare filled.

    Attributes
    ----------
    face : in the frame of the first photo, its light and colours taken from the others where they fill it.
    glare : ndarray of shape (h, w), chance of glare that is left.
    share : of the face that was filled, 0 to 1.
    """

    face: Face
    glare: NDArray[np.float32]
    share: float


def fill_glare(
    first: FaceView, others: Sequence[tuple[FaceView, Alignment]], reference: Reference
) -> GlareFilledFace:
    """Return the first photo's face, its glare filled from the first of the others that can be read there.

    Parameters
    ----------
    others : the same face in other photos, and how the first lies in each.
    reference : of the first photo, whose white and scale hold for all.
    """
    linear, glare = first.face.linear, first.chance
    shape, mask = glare.shape, first.face.mask
    clear = _away_from(first.hidden, _veil_px(shape))
    wanted, filled = ~clear & mask, np.zeros(shape, bool)
    for other, alignment in others:
        laid = lay_over(other.face.linear, alignment, shape)
        shown = readable(other, alignment, shape)
        light = _light_between(first.face.linear, laid, clear & mask & shown)
        if light is None:
            continue
        laid *= light
        wanted |= shown & mask & _veiled(first, laid)
        # Full over what is wanted, fading towards what the first photo shows itself.
        weight = cv2.distanceTransform(wanted.astype(np.uint8), cv2.DIST_L2, 3) / FEATHER_PX
        part = np.minimum(1, weight) * (wanted & shown & ~filled)
        linear = linear + (laid - linear) * part[..., None]
        glare = glare + (lay_over(other.chance, alignment, shape) - glare) * part
        filled |= wanted & shown
    if not filled.any():
        return GlareFilledFace(first.face, first.chance, 0.0)
    share = float((filled & first.hidden).sum() / max(1, mask.sum()))
    return GlareFilledFace(with_light(first.face, linear, reference), glare, share)


def _veiled(first: FaceView, other: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where, around its glare, the first photo is lighter than another one in the same light, (h, w).

    The stone is one, so what is more is mirrored.
    """
    near = ~_away_from(first.hidden, NEAR_SHARE * max(first.hidden.shape))
    # Smooth, so that no misfit of a px or two at an edge counts.
    own, other = (cv2.GaussianBlur(x.min(axis=2), (0, 0), 2) for x in (first.face.linear, other))
    more = near & (own > VEIL_FACTOR * other + VEIL_LIGHT)
    return cv2.morphologyEx(more.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5))) > 0


def _veil_px(shape: tuple[int, int]) -> float:
    return max(VEIL_PX, VEIL_SHARE * max(shape))


def readable(other: FaceView, alignment: Alignment, shape) -> NDArray[np.bool_]:
    """Where, in the first photo's frame, the other photo shows stone."""
    sound = other.face.mask & (other.face.linear < BURNT_LIGHT).all(axis=2)
    sound &= _away_from(other.hidden, _veil_px(other.hidden.shape))
    return lay_over(sound.astype(np.float32), alignment, shape) > 0.99


def _away_from(hidden: NDArray[np.bool_], least_px: float) -> NDArray[np.bool_]:
    """Px that lie so far from anything hidden."""
    if not hidden.any():
        return np.ones(hidden.shape, bool)
    return cv2.distanceTransform((~hidden).astype(np.uint8), cv2.DIST_L2, 3) > least_px


def _light_between(
    first: NDArray[np.float32], other: NDArray[np.float32], shared: NDArray[np.bool_]
) -> NDArray[np.float32] | None:
    """Return by what the other's light is multiplied to be the first's, (h, w, 3), smooth over the face.

    Read over the px that both show; where none is near, the usual ratio holds. ``None`` where they share too few.
    """
    h, w = shared.shape
    size = (max(1, w // COARSER), max(1, h // COARSER))
    # Means over px that both show: a misfit of a px or two drops out, and so does noise.
    cover = cv2.resize(shared.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    a, b = (
        cv2.resize(light * shared[..., None], size, interpolation=cv2.INTER_AREA)
        / np.maximum(cover, 1e-3)[..., None]
        for light in (first, other)
    )
    known = (cover > 0.5) & (np.minimum(a, b).min(axis=2) > 0.004)
    if known.sum() < LEAST_SHARED:
        return None
    ratio = np.log(np.maximum(a, 1e-4) / np.maximum(b, 1e-4))
    usual = np.median(ratio[known], axis=0)
    known &= (np.abs(ratio - usual) < np.log(ODD_FACTOR)).all(axis=2)
    weight = known.astype(np.float32)
    reach = max(1.0, FIELD_SHARE * max(size))
    total = cv2.GaussianBlur(weight, (0, 0), reach)[..., None]
    departure = cv2.GaussianBlur((ratio - usual) * weight[..., None], (0, 0), reach)
    smooth = np.exp(usual + departure / (total + USUAL_WEIGHT)).astype(np.float32)
    return cv2.resize(smooth, (w, h), interpolation=cv2.INTER_LINEAR)
