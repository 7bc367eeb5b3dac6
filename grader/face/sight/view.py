"""One photo of a face: the face as cut out of it, and what of it glare hides in this photo."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.measurements import Regions
from grader.face.regions.patch_words import PatchWord
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.measures import UNREADABLE
from grader.photo.align import (
    CENTRE,
    COARSE,
    FINE,
    Alignment,
    Keypoints,
    align,
    correlation,
    find_keypoints,
)
from grader.photo.colour import lab_from_linear, linear_srgb
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.photo.shrink import shrunk
from grader.photo.surface import State, read_state
from grader.profile import Profile

#: A face is first looked for in a copy of the other photo whose longer side has at most so many px.
LOOK_PX = 1600
#: A face shows again where at least this share of it lies within the other photo,
LEAST_SHOWN = 0.5
#: and lightness correlates so much.
LEAST_CORRELATION = 0.35


@dataclass(frozen=True)
class FaceView:
    """A face as one photo shows it.

    Attributes
    ----------
    face : as cut out of that photo.
    chance : ndarray of shape (h, w), chance of each px to lie under glare, 0 to 1.
    regions : as this photo alone shows them.
    state : wet or dry, as this photo tells or the seller says.
    """

    face: Face
    chance: NDArray[np.float32]
    regions: Regions
    state: State

    @property
    def hidden(self) -> NDArray[np.bool_]:
        """What cannot be read for glare, shape (h, w)."""
        return self.regions.codes == UNREADABLE


def see_face(
    face: Face,
    profile: Profile,
    given_state: str | None = None,
    patches: Sequence[PatchWord] = (),
) -> FaceView:
    """Return a face with its glare and state, looked for in this photo alone.

    patches : what the seller says of patches of the face in this photo.
    """
    chance = find_glare(face)
    regions = find_regions(face, chance, profile, patches)
    hidden = regions.codes == UNREADABLE
    state = read_state(face.linear, face.lab, face.mask, hidden, given_state)
    return FaceView(face, chance, regions, state)


@dataclass(frozen=True)
class PreparedPhoto:
    """A photo made ready to look for a face in it: its places, coarse and fine, in px of a copy of it."""

    photo: Photo
    coarse: Keypoints
    fine: Keypoints
    px_per_photo_px: float


def search(photo: Photo) -> PreparedPhoto:
    """Return the photo with the places by which any face is found in it again."""
    factor = min(1.0, LOOK_PX / max(photo.width, photo.height))
    size = (max(1, round(photo.width * factor)), max(1, round(photo.height * factor)))
    small = shrunk(photo.rgb, size)
    lightness = lab_from_linear(linear_srgb(small, photo.encoding))[..., 0]
    coarse, fine = (find_keypoints(lightness, size=size) for size in (COARSE, FINE))
    return PreparedPhoto(photo, coarse, fine, factor)


def find_again(first: FaceView, searched: PreparedPhoto) -> tuple[Face, Alignment] | None:
    """Return the same face cut out of another photo, and how the first lies in that cut.

    ``None`` where it does not show there.

    The first photo's outline is laid into the other, so that no stone need be found there.
    """
    face, photo = first.face, searched.photo
    coarse, fine = (_keypoints_of(face, size) for size in (COARSE, FINE))
    rough = align(coarse, searched.coarse) or align(fine, searched.fine)
    if rough is None:
        return None
    piece = _piece(rough.to_other(outline_of(face)) / searched.px_per_photo_px, photo)
    if piece is None:
        return None
    # Its light is matched to the first photo's later on.
    other = cut_face(photo, piece, no_reference(photo))
    # Closer, at the cut's own size: a whole photo made small is too coarse for hairlines.
    closer = align(fine, _keypoints_of(other, FINE)) or align(coarse, _keypoints_of(other, COARSE))
    if closer is None:
        return None
    shown = lay_over(other.mask.astype(np.float32), closer, face.mask.shape) > 0.99
    both = face.mask & shown & ~first.hidden
    if (face.mask & shown).sum() < LEAST_SHOWN * face.mask.sum():
        return None
    lightness = lay_over(other.lab[..., 0], closer, face.mask.shape)
    if correlation(face.lab[..., 0], lightness, both) < LEAST_CORRELATION:
        return None
    return other, closer


def lay_over(
    picture: NDArray[np.float32], alignment: Alignment, shape: tuple[int, int]
) -> NDArray[np.float32]:
    """Return a picture of the other photo in the frame of the first, of that shape; 0 where it shows nothing."""
    matrix = np.linalg.inv(CENTRE) @ alignment.matrix @ CENTRE
    centre = np.array([[shape[1] / 2, shape[0] / 2]])
    finer = float(np.sqrt(alignment.area_at(centre)[0]))
    if finer > 1.2:
        # Else fine grain of a closer photo would be picked px by px.
        picture = cv2.GaussianBlur(picture, (0, 0), 0.5 * np.sqrt(finer**2 - 1))
    return cv2.warpPerspective(
        picture, matrix, shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )


def _keypoints_of(face: Face, size: float) -> Keypoints:
    return find_keypoints(face.lab[..., 0], face.mask, size)


def outline_of(face: Face) -> NDArray[np.float64]:
    """Return the outline of a face, (n, 2) points x, y in its own px: enough to cut the same face out again."""
    outlines, _ = cv2.findContours(
        face.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    return max(outlines, key=cv2.contourArea)[:, 0].astype(np.float64) + 0.5


def _piece(outline: NDArray, photo: Photo) -> Piece | None:
    """The piece of that outline within the photo; ``None`` where it lies outside."""
    inside = outline.clip(0, (photo.width, photo.height))
    x0, y0 = np.floor(inside.min(axis=0)).astype(int)
    x1, y1 = np.ceil(inside.max(axis=0)).astype(int)
    if min(x1 - x0, y1 - y0) < 8:
        return None
    box = (int(x0), int(y0), int(x1 - x0), int(y1 - y0))
    return Piece(1, box, inside.astype(np.float32))
