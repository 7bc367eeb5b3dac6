"""The first stage of the way: one photograph in memory, upright, its colours still as the camera wrote them."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark


@dataclass(frozen=True)
class ColourEncoding:
    """How the stored numbers become light.

    Attributes
    ----------
    name : "sRGB", "Display P3" or the profile's own description.
    curves : ndarray of shape (3, 256) or (3, 65536), float32
        Linear light (0 to 1) of each code, per channel.
    to_linear_srgb : ndarray of shape (3, 3), float32
        From the encoding's linear RGB to linear sRGB (D65); results may leave 0 to 1 and are kept so.
    """

    name: str
    curves: NDArray[np.float32]
    to_linear_srgb: NDArray[np.float32]


@dataclass(frozen=True)
class Scale:
    """Millimetres per px of the upright full-size photo, and where that is known from: "hand" or "card".

    low, high : 95 % interval, where the source leaves something open.
    """

    mm_per_px: float | None = None
    source: str | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Photo:
    """One upright photograph.

    Attributes
    ----------
    name : file name, for messages.
    rgb : ndarray of shape (H, W, 3), uint8 or uint16, as decoded, upright, in ``encoding``.
    encoding : how ``rgb`` becomes linear sRGB.
    sha256 : hash of the file's bytes.
    scale : millimetres per px, where the seller says it.
    focal_35mm : focal length as on a 35 mm camera, as the file tells it.
    remarks : what a person should know of this photo.
    """

    name: str
    rgb: NDArray
    encoding: ColourEncoding
    sha256: str
    scale: Scale = Scale()
    remarks: tuple[Remark, ...] = field(default=())
    focal_35mm: float | None = None

    @property
    def height(self) -> int:
        return self.rgb.shape[0]

    @property
    def width(self) -> int:
        return self.rgb.shape[1]
