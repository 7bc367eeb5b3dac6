"""The seller's word on a patch of a stone: kept with the patch's place, it names the region piece that lies there."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.words import PatchWord as PatchWord
from grader.profile import Profile
from grader.spots import GLARE

#: Takes an earlier word on the same patch back.
WITHDRAWN = "withdrawn"
#: A later word is on the same patch where the two overlap by this share of the smaller one.
SAME_PATCH = 0.5
#: Pixels are like-coloured up to this CIELAB difference (Euclidean, CIE 1976) from the patch's median,
LIKE_DE = 8.0
#: or up to so many times the median difference within the patch itself, where that is more: a mottled patch is told so.
LIKE_SPREADS = 2.5
#: Colours are compared after a blur of this sigma, working px: a speckle does not stop the growing.
BLUR_PX = 1.0


def standing(words: Sequence[PatchWord]) -> list[PatchWord]:
    """Return the words that hold, of one photo: the last on each patch; those that only take back are left out."""
    kept: list[PatchWord] = []
    for word in words:
        kept = [*(one for one in kept if not same_patch(one, word)), word]
    return [word for word in kept if word.says != WITHDRAWN]


def with_patch_words(
    chances: NDArray[np.float32], words: Sequence[PatchWord], face: Face, profile: Profile
) -> NDArray[np.float32]:
    """Return the chances with what the seller says: sure on the patch and on what belongs to it.

    From the patch the word goes on over neighbouring pixels of like colour, within the region piece in which most of
    the patch lies, and no further. Where two words meet, each pixel goes to the patch whose colour is nearer.

    Parameters
    ----------
    chances : ndarray of shape (h, w, classes + 1), of each class in the profile's order, then of unreadable.
    words : on this face, in the order of saying. A class that the profile does not have says nothing.
    """
    places = {colour.name: place for place, colour in enumerate(profile.colours)}
    places[GLARE] = chances.shape[-1] - 1
    held = [word for word in standing(words) if word.says in places]
    if not held:
        return chances
    codes = np.where(face.mask, chances.argmax(axis=-1), -1)
    lab = _blurred(face)
    nearest = np.full(face.mask.shape, np.inf, np.float32)
    spoken = chances.copy()
    for word in held:
        away = _away(word, face, codes, lab)
        nearer = away < nearest
        nearest[nearer] = away[nearer]
        spoken[nearer] = 0
        spoken[nearer, places[word.says]] = 1
    return spoken


def _away(word: PatchWord, face: Face, codes: NDArray, lab: NDArray) -> NDArray[np.float32]:
    """CIELAB difference from the patch's median of all that the word goes over, (h, w); below 0 on the patch itself,
    infinite elsewhere."""
    away = np.full(face.mask.shape, np.inf, np.float32)
    patch = _on_face(word, face)
    if not patch.any():
        return away
    values, counts = np.unique(codes[patch], return_counts=True)
    _, labels = cv2.connectedComponents((codes == values[counts.argmax()]).astype(np.uint8))
    own = labels[patch]
    own = own[own > 0]
    piece = labels == np.bincount(own).argmax()
    inside = patch & piece
    difference = np.linalg.norm(lab - np.median(lab[inside], axis=0), axis=-1)
    like = max(LIKE_DE, LIKE_SPREADS * float(np.median(difference[inside])))
    _, grown = cv2.connectedComponents((piece & ((difference <= like) | patch)).astype(np.uint8))
    joined = np.isin(grown, np.unique(grown[inside])) & (grown > 0)
    away[joined] = difference[joined]
    away[patch] = -1.0
    return away


def _on_face(word: PatchWord, face: Face) -> NDArray[np.bool_]:
    """The patch on the face, (h, w); a px at least, where it lies on the stone."""
    corners = np.array([(word.x, word.y), (word.x + word.w, word.y + word.h)], float)
    (left, top), (right, low) = face.from_photo_px(corners)
    row, column = (int(np.floor(middle)) for middle in ((top + low) / 2, (left + right) / 2))
    patch = np.zeros(face.mask.shape, bool)
    rows = slice(max(0, min(round(top), row)), max(0, round(low), row + 1))
    columns = slice(max(0, min(round(left), column)), max(0, round(right), column + 1))
    patch[rows, columns] = True
    return patch & face.mask


def _blurred(face: Face) -> NDArray[np.float32]:
    """CIELAB of the face with its grain blurred; the ground beside it takes no part."""
    cover = cv2.GaussianBlur(face.mask.astype(np.float32), (0, 0), BLUR_PX)
    lab = cv2.GaussianBlur(face.lab * face.mask[..., None], (0, 0), BLUR_PX)
    return lab / np.maximum(cover, 1e-3)[..., None]


def same_patch(first: PatchWord, second: PatchWord) -> bool:
    """Return whether two words are on the same patch: then the later one holds."""
    width = min(first.x + first.w, second.x + second.w) - max(first.x, second.x)
    height = min(first.y + first.h, second.y + second.h) - max(first.y, second.y)
    smaller = min(first.w * first.h, second.w * second.h)
    return min(width, height) > 0 and width * height >= SAME_PATCH * smaller
