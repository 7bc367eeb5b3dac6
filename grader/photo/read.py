"""From a file to a ``Photo``: the one place where pictures are opened.

The header decides first (format, size, profile), the bytes must reach the picture's end, and only
then is it decoded: JPEG and 16-bit pictures by OpenCV, which is faster and keeps 16 bits, the rest
by Pillow.
"""

import hashlib
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from grader.errors import PhotoError
from grader.measures import Remark
from grader.photo import container, patience
from grader.photo.colour import srgb_encoding
from grader.photo.container import HEIC, JPEG, TIFF
from grader.photo.file import COPY_AGAIN, photo_bytes, shown_name
from grader.photo.header import Header, broken, check_size, read_header
from grader.photo.icc import encoding_of_profile
from grader.photo.photo import ColourEncoding, Photo, Scale
from grader.photo.quiet import hearing, quietly

#: Code of the remark on a photo whose decoder met a flaw inside.
DAMAGED = "damaged"

_ORIENTATION_TAG = 274
# Exif 2.32: the directory of camera settings, and the focal length as on 35 mm film within it.
_CAMERA_IFD, _FOCAL_35MM_TAG = 34665, 41989
_BAND_ROWS = 256
_TRANSPARENT_MODES = ("RGBA", "LA", "PA", "La", "RGBa")


def read_photo(
    path: str | Path, *, max_megapixels: float = 250, mm_per_px: float | None = None
) -> Photo:
    """Return the photo in a file, upright, RGB, its numbers as decoded.

    JPEG (also with more pictures behind the first), PNG, TIFF, WebP, HEIC; 8 or 16 bits; grey,
    palette, CMYK; transparent parts are laid on white. Without a colour profile the numbers are
    taken as sRGB.

    Parameters
    ----------
    path : the file; what it is called does not matter.
    max_megapixels : larger pictures are refused by their header, before anything is decoded.
    mm_per_px : millimetres per px of the upright full-size photo, where the seller knows it.

    Raises
    ------
    PhotoError
        ``missing``, ``empty``, ``not_a_photo``, ``truncated``, ``too_large``, ``slow`` or ``unreadable``:
        one line each.
    ValueError
        ``mm_per_px`` is not above 0.
    """
    if mm_per_px is not None and not 0 < mm_per_px < float("inf"):
        raise ValueError(f"mm_per_px is {mm_per_px}; give a number above 0")
    name = shown_name(Path(path))
    data = photo_bytes(Path(path), max_megapixels)
    scale = Scale(mm_per_px, "hand") if mm_per_px is not None else Scale()
    return patience.within(
        patience.READ_S, lambda: _read(data, name, max_megapixels, scale), name, "read"
    )


def _read(data: bytes, name: str, max_megapixels: float, scale: Scale) -> Photo:
    header = read_header(data, name)
    check_size(header, len(data), max_megapixels)
    width, height = header.image.size
    patience.allow(patience.READ_S_PER_MEGAPIXEL * width * height / 1e6)
    if container.cut_off(data, header.form):
        raise broken(data, name, header.form)
    pixels, remarks = _pixels(data, header)
    rgb, encoding, more = _encoded(pixels, header)
    return Photo(
        name=name,
        rgb=np.ascontiguousarray(upright(rgb, _orientation(header))),
        encoding=encoding,
        sha256=hashlib.sha256(data).hexdigest(),
        scale=scale,
        remarks=remarks + more,
        focal_35mm=_focal_35mm(header),
    )


def upright(rgb: NDArray, orientation: int) -> NDArray:
    """Return a picture turned as its EXIF orientation (1 to 8) asks; TIFF 6.0, tag 274."""
    turns = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}
    if orientation in turns:
        return cv2.rotate(rgb, turns[orientation])
    if orientation in (2, 4):
        return cv2.flip(rgb, 1 if orientation == 2 else 0)
    if orientation == 5:
        return cv2.transpose(rgb)
    if orientation == 7:
        return cv2.flip(cv2.transpose(rgb), -1)
    return rgb


def _pixels(data: bytes, header: Header) -> tuple[Image.Image | NDArray, tuple[Remark, ...]]:
    """Return the decoded picture: (h, w, 3), or CMYK as Pillow holds it, and what went wrong."""
    with hearing(header.name) as heard:
        try:
            pixels = quietly(lambda: _decoded(data, header), heard)
        except Exception as err:  # decoders raise nearly anything on garbled data
            raise broken(data, header.name, header.form) from err
        heard.seek(0)
        messages = heard.read().decode("ascii", "replace")
    if pixels is None:
        raise broken(data, header.name, header.form)
    if "premature end" in messages.lower():  # an end mark was put behind half a picture
        raise PhotoError(f"{header.name}: cut off within the picture; {COPY_AGAIN}", "truncated")
    remarks = ()
    if "corrupt" in messages.lower():
        remarks += (
            Remark(DAMAGED, "the file is damaged, parts of the picture may be wrong; look at it"),
        )
    if isinstance(pixels, np.ndarray) and pixels.shape[2] == 4:
        pixels, see_through = _on_white(pixels)
        if see_through:
            remarks += (
                Remark("transparent", "parts of the picture are transparent; they count as white"),
            )
    return pixels, remarks


def _decoded(data: bytes, header: Header) -> Image.Image | NDArray | None:
    cmyk = header.image.mode == "CMYK"
    if header.bits == 16 or (header.form == JPEG and not cmyk):
        return _by_opencv(data, header)
    if header.form == JPEG:
        # Pillow keeps the inks apart, but says nothing of flaws: OpenCV's decoder is heard beside it.
        _by_opencv(data, header)
    return _by_pillow(header.image)


def _by_opencv(data: bytes, header: Header) -> NDArray | None:
    stream = np.frombuffer(data, np.uint8)
    if header.bits < 16:
        return cv2.imdecode(stream, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    # Only "unchanged" keeps both the 16 bits and the transparency.
    stored = cv2.imdecode(stream, cv2.IMREAD_UNCHANGED)
    if stored is None or stored.dtype != np.uint16:
        return None
    if stored.ndim == 2:
        return cv2.cvtColor(stored, cv2.COLOR_GRAY2RGB)
    return cv2.cvtColor(stored, cv2.COLOR_BGR2RGB if stored.shape[2] == 3 else cv2.COLOR_BGRA2RGBA)


def _by_pillow(image: Image.Image) -> NDArray | Image.Image:
    image.load()
    if image.mode == "CMYK":
        return image
    see_through = image.mode in _TRANSPARENT_MODES or "transparency" in image.info
    return np.asarray(image.convert("RGBA" if see_through else "RGB"))


def _on_white(rgba: NDArray) -> tuple[NDArray, bool]:
    """Lay a picture on white, as viewers and paper do (in the stored numbers, rounded)."""
    full = np.iinfo(rgba.dtype).max
    rgb, alpha = rgba[..., :3], rgba[..., 3:]
    if np.all(alpha == full):
        return rgb, False
    laid = np.empty(rgb.shape, rgba.dtype)
    for top in range(
        0, len(rgb), _BAND_ROWS
    ):  # in bands: as floats the whole would take up gigabytes
        band = slice(top, top + _BAND_ROWS)
        share = alpha[band].astype(np.float32) / full
        laid[band] = rgb[band] * share + full * (1 - share) + 0.5
    return laid, True


def _encoded(
    pixels: NDArray | Image.Image, header: Header
) -> tuple[NDArray, ColourEncoding, tuple[Remark, ...]]:
    """Return RGB numbers and how they become light; what needs tables is converted to sRGB here."""
    if isinstance(pixels, Image.Image):
        rgb = _by_tables(pixels, header.icc) if header.icc else None
        if rgb is not None:
            return rgb, srgb_encoding(), ()
        return (
            np.asarray(pixels.convert("RGB")),
            srgb_encoding(),
            (_no_profile("CMYK numbers without a usable"),),
        )
    codes = np.iinfo(pixels.dtype).max + 1
    if header.icc is None:
        return pixels, srgb_encoding(codes), ()
    try:
        encoding = encoding_of_profile(header.icc, codes)
    except ValueError:
        return pixels, srgb_encoding(codes), (_no_profile("a broken"),)
    if encoding is not None:
        return pixels, encoding, ()
    eight = pixels if codes == 256 else (pixels >> 8).astype(np.uint8)
    rgb = _by_tables(Image.fromarray(eight), header.icc)
    if rgb is None:
        return pixels, srgb_encoding(codes), (_no_profile("an unusable"),)
    return rgb, srgb_encoding(), ()


def _by_tables(image: Image.Image, icc: bytes) -> NDArray[np.uint8] | None:
    try:
        converted = quietly(
            lambda: ImageCms.profileToProfile(
                image,
                ImageCms.ImageCmsProfile(BytesIO(icc)),
                ImageCms.createProfile("sRGB"),
                renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
                outputMode="RGB",
            )
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None
    return np.asarray(converted)


def _no_profile(what: str) -> Remark:
    return Remark("profile_ignored", f"{what} colour profile; taken as sRGB, so colours may be off")


def _orientation(header: Header) -> int:
    if header.form in (TIFF, HEIC):  # turned by their decoders
        return 1
    try:
        value = quietly(lambda: header.image.getexif().get(_ORIENTATION_TAG, 1))
    except Exception:  # garbled EXIF: Pillow raises nearly anything, and upright is the best guess
        return 1
    return value if value in range(1, 9) else 1


def _focal_35mm(header: Header) -> float | None:
    try:
        camera = quietly(lambda: header.image.getexif().get_ifd(_CAMERA_IFD))
        focal = float(camera.get(_FOCAL_35MM_TAG, 0))
    except Exception:  # garbled EXIF says nothing
        return None
    return focal if focal > 0 else None
