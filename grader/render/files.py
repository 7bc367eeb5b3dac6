"""Writing drawn photos as cameras do: format, stored turn, profile. For samples and tests."""

from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from grader.files import write_bytes

_FORMATS = {
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".png": "PNG",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".webp": "WEBP",
    ".heic": "HEIF",
}
_ORIENTATION_TAG = 274


def write_photo(
    path: str | Path,
    rgb: NDArray[np.uint8],
    *,
    orientation: int = 1,
    icc: bytes | None = None,
    quality: int = 92,
) -> None:
    """Write a picture as a photo file; its suffix says the format.

    Parameters
    ----------
    rgb : ndarray of shape (h, w, 3) or (h, w), uint8, upright.
    orientation : EXIF orientation, 1 to 8: the pixels are stored turned so that a reader that heeds
        it gets ``rgb`` back.
    icc : colour profile that ``rgb`` is in.
    quality : 1 to 100, for JPEG, WebP and HEIC. 100 is lossless in WebP.
    """
    form = _FORMATS[Path(path).suffix.lower()]
    if form == "HEIF":
        # Only samples and tests write HEIC: the writer is a dependency of the tests.
        import pillow_heif

        pillow_heif.register_heif_opener()
    exif = Image.Exif()
    exif[_ORIENTATION_TAG] = orientation
    options = {"exif": exif.tobytes(), "icc_profile": icc, "quality": quality}
    if form == "WEBP" and quality == 100:
        options["lossless"] = True
    if form == "TIFF":
        options = {"icc_profile": icc, "tiffinfo": {_ORIENTATION_TAG: orientation}}
    stream = BytesIO()
    Image.fromarray(stored(rgb, orientation)).save(stream, form, **options)
    write_bytes(path, stream.getvalue())


def stored(rgb: NDArray, orientation: int) -> NDArray:
    """Return how an upright picture lies in a file of that EXIF orientation; TIFF 6.0, tag 274.

    Values 2 to 4 mirror or turn by 180 degrees; 5 to 8 also swap rows and columns.
    """
    if orientation >= 5:
        rgb = np.swapaxes(rgb, 0, 1)
    if orientation in (3, 4, 6, 7):
        rgb = rgb[::-1]
    if orientation in (2, 3, 7, 8):
        rgb = rgb[:, ::-1]
    return np.ascontiguousarray(rgb)
