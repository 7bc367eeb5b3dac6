"""Millimetres at the stone's face, which lies nearer to the camera than the card beside it.

Seen from a camera at height d over the card, a face h above the card's plane reads too large by
d / (d - h) in every direction and at any tilt: both planes are alike, and the lens is the centre of
the likeness. So the height of the camera and that of the face are all that is needed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.errors import GraderError
from grader.photo.card import CardSighting
from grader.photo.pose import camera_over

Range = tuple[float, float]


@dataclass(frozen=True)
class FaceScale:
    """Scale in the plane of a face that is level with the card or lies so far above it.

    Attributes
    ----------
    sighting : the card it is taken from.
    at_px : where in the photo.
    mm_per_px : mean of all directions there; ``low`` to ``high`` is its 95 % interval.
    face_per_card : length on the face over what the card's plane says, 0 to 1, as least and greatest.
    camera_mm : least and greatest height of the camera over the card.
    tilt_deg : of the camera.
    """

    sighting: CardSighting
    at_px: tuple[float, float]
    mm_per_px: float
    low: float
    high: float
    face_per_card: Range
    camera_mm: Range
    tilt_deg: float

    def length_mm(self, start_px: NDArray, end_px: NDArray) -> tuple[float, float, float]:
        """Return the length between two points of the face, and its 95 % interval, any direction.

        Under tilt one scale does not hold for all directions; this does.
        """
        start, end = self.sighting.card_mm(np.array([start_px, end_px]))
        on_card = float(np.linalg.norm(end - start))
        scale = self.sighting.mm_per_px(self.at_px)
        return tuple(on_card / scale * value for value in (self.mm_per_px, self.low, self.high))


def face_scale(
    sighting: CardSighting,
    focal_px: float | Range,
    height_mm: float | Range,
    at_px: tuple[float, float] | None = None,
) -> FaceScale:
    """Return the scale at a stone's face.

    Parameters
    ----------
    sighting : the card in the photo.
    focal_px : focal length in px, or the least and the greatest it may be.
    height_mm : height of the face above the card, or the least and the greatest; 0 for a card that
        lies at the height of the face. Negative where the card lies higher.
    at_px : x, y of the face in the photo; the middle of the card if left out.

    Raises
    ------
    GraderError
        A face so high that it would reach the camera: one line.
    ValueError
        A focal length of 0 or less.
    """
    focals, heights = _ends(focal_px), _ends(height_mm)
    if focals[0] <= 0:
        raise ValueError(f"focal length is {focals[0]:g} px; give one above 0")
    cameras = [camera_over(sighting.homography, sighting.photo_size_px, focal) for focal in focals]
    camera_mm = sorted(camera.height_mm for camera in cameras)
    if heights[1] >= camera_mm[0]:
        raise GraderError(
            f"a face {heights[1]:g} mm above the card would reach the camera at "
            f"{camera_mm[0]:.0f} mm; measure the height again",
            "height",
        )
    if at_px is None:
        at_px = tuple(sighting.outline_px.mean(axis=0).tolist())
    shares = sorted(1 - height / camera for height in heights for camera in camera_mm)
    on_card = sighting.mm_per_px(at_px)
    unsure = sighting.relative_uncertainty(at_px)
    return FaceScale(
        sighting=sighting,
        at_px=at_px,
        mm_per_px=on_card * (shares[0] + shares[-1]) / 2,
        low=on_card * shares[0] * (1 - unsure),
        high=on_card * shares[-1] * (1 + unsure),
        face_per_card=(shares[0], shares[-1]),
        camera_mm=(camera_mm[0], camera_mm[1]),
        tilt_deg=float(np.mean([camera.tilt_deg for camera in cameras])),
    )


def _ends(value: float | Range) -> Range:
    low, high = value if isinstance(value, tuple) else (value, value)
    return min(low, high), max(low, high)
