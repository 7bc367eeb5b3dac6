"""From a file to a ``Photo``: the one place where pictures are opened.

The header decides first (format, size, profile), the bytes must reach the picture's end, and only
then is it decoded: JPEG and 16-bit pictures by OpenCV, which is faster and keeps 16 bits, the rest
by Pillow.
"""

import hashlib
import os
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from grader.errors import PhotoError
from grader.measures import Remark
from grader.photo import container
from grader.photo.colour import srgb_encoding
from grader.photo.container import HEIC, JPEG, PNG, TIFF, WEBP
from grader.photo.icc import encoding_of_profile
from grader.photo.photo import ColourEncoding, Photo, Scale

#: By which a photo is told among other files of a folder.
SUFFIXES = frozenset((".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"))
_GIVE = "give a JPEG, PNG, TIFF, WebP or HEIC photo"
_COPY_AGAIN = "copy it again from the phone or camera"
#: A large picture of more px than this a byte is no photo: a decompression bomb, or a false header.
BOMB_PX_PER_BYTE = 2000
_BOMB_FROM_PX = 25e6
#: Code of the remark on a photo whose decoder met a flaw inside.
DAMAGED = "damaged"
#: Passes of a progressive JPEG. Each goes over the whole picture again, so a small file of thousands takes minutes; the
#: usual encoders write some ten.
MOST_SCANS = 200
# The widest px read here is 16-bit RGB and alpha; the rest is room for previews.
_FILE_BYTES_PER_PX, _FILE_BYTES_SPARE = 8, 100e6

_ORIENTATION_TAG, _SUBFILE_TAG, _BITS_TAG, _RAW_TAG = 274, 254, 258, 50706
# Exif 2.32: the directory of camera settings, and the focal length as on 35 mm film within it.
_CAMERA_IFD, _FOCAL_35MM_TAG = 34665, 41989
_BAND_ROWS = 256
_TRANSPARENT_MODES = ("RGBA", "LA", "PA", "La", "RGBa")

T = TypeVar("T")


@dataclass(frozen=True)
class _Header:
    """What a file says of its picture before it is decoded. ``image`` is opened, not loaded."""

    name: str
    form: str
    image: Image.Image
    bits: int
    icc: bytes | None


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
        ``missing``, ``empty``, ``not_a_photo``, ``truncated``, ``too_large`` or ``unreadable``:
        one line each.
    ValueError
        ``mm_per_px`` is not above 0.
    """
    if mm_per_px is not None and not 0 < mm_per_px < float("inf"):
        raise ValueError(f"mm_per_px is {mm_per_px}; give a number above 0")
    name = _printable(Path(path).name or str(path))
    data = _file_bytes(Path(path), name, max_megapixels)
    header = _header(data, name)
    _check_size(header, len(data), max_megapixels)
    _check_whole(data, header)
    pixels, remarks = _pixels(data, header)
    rgb, encoding, more = _encoded(pixels, header)
    return Photo(
        name=name,
        rgb=np.ascontiguousarray(upright(rgb, _orientation(header))),
        encoding=encoding,
        sha256=hashlib.sha256(data).hexdigest(),
        scale=Scale(mm_per_px, "hand") if mm_per_px is not None else Scale(),
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


def content_hash(path: str | Path) -> str:
    """Return the SHA-256 of a photo's content, which is what a photo is known by whatever its file is called.

    Raises
    ------
    PhotoError
        ``missing`` or ``unreadable``: no such file, no file on a disk (a folder, a pipe, a device), or one that
        may not be read: one line. What is no file is never opened: a pipe may never end.
    """
    path = Path(path)
    name = _printable(path.name or str(path))
    try:
        _check_file(path, name)
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as err:
        raise _not_readable(name, err) from err


def _check_file(path: Path, name: str) -> None:
    """Refuse what is no file on a disk, before it is opened."""
    if path.is_dir():
        raise PhotoError(f"{name}: a folder, not a photo; give the photos in it", "unreadable")
    if not path.exists():
        raise PhotoError(
            f"{_printable(str(path))}: no such file; check its name and place", "missing"
        )
    if not path.is_file():
        raise PhotoError(f"{name}: not a file on a disk; {_GIVE}", "unreadable")


def _not_readable(name: str, err: OSError | ValueError) -> PhotoError:
    # ValueError: a name that no file can have.
    reason = getattr(err, "strerror", None) or err
    return PhotoError(
        f"{name}: cannot be read ({reason}); check the file and its permissions", "unreadable"
    )


def _file_bytes(path: Path, name: str, max_megapixels: float) -> bytes:
    try:
        _check_file(path, name)
        size = path.stat().st_size
        if size > max_megapixels * 1e6 * _FILE_BYTES_PER_PX + _FILE_BYTES_SPARE:
            raise PhotoError(
                f"{name}: {size / 1e9:.1f} GB is more than any photo within the limit; {_GIVE}",
                "too_large",
            )
        data = path.read_bytes()
    except (OSError, ValueError) as err:
        raise _not_readable(name, err) from err
    if not data:
        raise PhotoError(f"{name}: empty (0 bytes); {_COPY_AGAIN}", "empty")
    return data


def _header(data: bytes, name: str) -> _Header:
    form = container.picture_format(data)
    if form is None:
        raise PhotoError(
            f"{name}: {container.other_content(data)}, not a photo; {_GIVE}", "not_a_photo"
        )
    if container.damaged(data, form):
        raise _broken(data, name, form)
    if form == JPEG and (scans := container.jpeg_scans(data)) > MOST_SCANS:
        raise PhotoError(
            f"{name}: a JPEG in {scans} passes, where a photo has a dozen; open it in a viewer and save it anew",
            "unreadable",
        )
    try:
        image = _quietly(lambda: _opened(data, form))
    except Exception as err:  # Pillow's readers raise nearly anything on a garbled header
        raise _broken(data, name, form) from err
    bits = 8
    if form == PNG:
        bits = container.png_bits(data)
    if form == TIFF:
        tags = image.tag_v2
        if _RAW_TAG in tags or tags.get(_SUBFILE_TAG, 0) == 1:
            raise PhotoError(
                f"{name}: a raw camera file; export it as JPEG or TIFF first", "not_a_photo"
            )
        bits = max(tags.get(_BITS_TAG, (1,)))
    if bits > 16 or image.mode in ("I", "F"):
        raise PhotoError(
            f"{name}: {form} with {bits} bits a value; save it with 8 or 16", "unreadable"
        )
    icc = image.info.get("icc_profile")
    return _Header(name, form, image, bits, icc if isinstance(icc, bytes) and icc else None)


def _opened(data: bytes, form: str) -> Image.Image:
    if form == PNG:
        # Decoders pass over checksums, and Pillow closes what it has verified.
        PngImageFile(BytesIO(data)).verify()
    return _OPEN[form](BytesIO(data))


def _open_heic(stream: BytesIO) -> Image.Image:
    # Late and unregistered: only HEIC pays for it, and Pillow stays as it was.
    from pi_heif.as_plugin import HeifImageFile

    return HeifImageFile(stream)


# Pillow's readers by name rather than Image.open: no other formats, and no bomb warning of its own.
_OPEN = {
    JPEG: JpegImageFile,
    PNG: PngImageFile,
    TIFF: TiffImageFile,
    WEBP: WebPImageFile,
    HEIC: _open_heic,
}


def _check_size(header: _Header, file_bytes: int, max_megapixels: float) -> None:
    width, height = header.image.size
    megapixels = width * height / 1e6
    if width < 1 or height < 1:
        raise PhotoError(
            f"{header.name}: a {header.form} of {width} x {height} px; {_COPY_AGAIN}", "unreadable"
        )
    if megapixels > max_megapixels:
        raise PhotoError(
            f"{header.name}: {megapixels:.0f} megapixels ({width} x {height}), above the limit of"
            f" {max_megapixels:g}; save it smaller, or raise photo_megapixels in the profile",
            "too_large",
        )
    if width * height > max(_BOMB_FROM_PX, BOMB_PX_PER_BYTE * file_bytes):
        raise PhotoError(
            f"{header.name}: {file_bytes} bytes cannot hold a photo of {width} x {height} px;"
            f" {_COPY_AGAIN}",
            "too_large",
        )


def _check_whole(data: bytes, header: _Header) -> None:
    if container.cut_off(data, header.form):
        raise _broken(data, header.name, header.form)


def _broken(data: bytes, name: str, form: str) -> PhotoError:
    """The error for what cannot be decoded: cut off if its bytes end too early, else damaged."""
    cut = container.cut_off(data, form)
    if cut:
        return PhotoError(f"{name}: {cut}; {_COPY_AGAIN}", "truncated")
    return PhotoError(f"{name}: damaged {form} that cannot be decoded; {_COPY_AGAIN}", "unreadable")


def _pixels(data: bytes, header: _Header) -> tuple[Image.Image | NDArray, tuple[Remark, ...]]:
    """Return the decoded picture: (h, w, 3), or CMYK as Pillow holds it, and what went wrong."""
    by_opencv = header.bits == 16 or (header.form == JPEG and header.image.mode != "CMYK")
    with _hearing(header.name) as heard:
        try:
            pixels = _quietly(
                lambda: _by_opencv(data, header) if by_opencv else _by_pillow(header.image), heard
            )
        except Exception as err:  # decoders raise nearly anything on garbled data
            raise _broken(data, header.name, header.form) from err
        heard.seek(0)
        messages = heard.read().decode("ascii", "replace")
    if pixels is None:
        raise _broken(data, header.name, header.form)
    if "premature end" in messages.lower():  # an end mark was put behind half a picture
        raise PhotoError(f"{header.name}: cut off within the picture; {_COPY_AGAIN}", "truncated")
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


def _by_opencv(data: bytes, header: _Header) -> NDArray | None:
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
    pixels: NDArray | Image.Image, header: _Header
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
        converted = _quietly(
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


def _orientation(header: _Header) -> int:
    if header.form in (TIFF, HEIC):  # turned by their decoders
        return 1
    try:
        value = _quietly(lambda: header.image.getexif().get(_ORIENTATION_TAG, 1))
    except Exception:  # garbled EXIF: Pillow raises nearly anything, and upright is the best guess
        return 1
    return value if value in range(1, 9) else 1


def _focal_35mm(header: _Header) -> float | None:
    try:
        camera = _quietly(lambda: header.image.getexif().get_ifd(_CAMERA_IFD))
        focal = float(camera.get(_FOCAL_35MM_TAG, 0))
    except Exception:  # garbled EXIF says nothing
        return None
    return focal if focal > 0 else None


# One decode at a time in a process: it borrows the process's stderr.
_BORROWED = threading.Lock()


def _quietly(decode: Callable[[], T], heard: BinaryIO | None = None) -> T:
    """Return a decoder's result.

    What its C library writes to stderr, which no setting stops, goes to ``heard``, or nowhere.
    """
    with _BORROWED, warnings.catch_warnings(), open(os.devnull, "wb") as nowhere:
        warnings.simplefilter("ignore")
        try:
            stderr = os.dup(2)
        except OSError:  # there is no stderr to keep clean
            return decode()
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2((heard or nowhere).fileno(), 2)
        try:
            return decode()
        finally:
            os.dup2(stderr, 2)
            os.close(stderr)


def _hearing(name: str) -> BinaryIO:
    """A file for what a decoder says: in memory, so that a full disk stops no photo, else in the temporary folder.

    A pipe would do on every system, but a decoder that says much would wait for ever for it to be read.
    """
    try:
        return os.fdopen(os.memfd_create("heard"), "w+b")
    except (AttributeError, OSError):  # a system without, or one that forbids it
        pass
    try:
        return tempfile.TemporaryFile()
    except OSError as err:
        folder = os.environ.get("TMPDIR") or tempfile.tempdir or "of the system"
        raise PhotoError(
            f"{name}: not read, since the temporary folder ({folder}) takes no file ({err.strerror}); "
            "make room there, or name another in TMPDIR",
            "unreadable",
        ) from err


def _printable(name: str) -> str:
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name
    )
