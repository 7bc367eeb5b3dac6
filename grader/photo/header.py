"""What a photo's file says of its picture before it is decoded, and what is refused by that alone."""

from dataclasses import dataclass
from io import BytesIO

from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from grader.errors import PhotoError
from grader.photo import container, memory
from grader.photo.container import HEIC, JPEG, PNG, TIFF, WEBP
from grader.photo.file import COPY_AGAIN, GIVE
from grader.photo.quiet import quietly

#: A large picture of more px than this a byte is no photo: a decompression bomb, or a false header.
BOMB_PX_PER_BYTE = 2000
_BOMB_FROM_PX = 25e6
#: Passes of a progressive JPEG. Each goes over the whole picture again, so a small file of thousands takes minutes; the
#: usual encoders write some ten.
MOST_SCANS = 200
_SUBFILE_TAG, _BITS_TAG, _RAW_TAG = 254, 258, 50706


@dataclass(frozen=True)
class Header:
    """What a file says of its picture before it is decoded.

    image : opened, not loaded.   bits : of one value.   icc : the colour profile, ``None`` where there is none.
    """

    name: str
    form: str
    image: Image.Image
    bits: int
    icc: bytes | None


def read_header(data: bytes, name: str) -> Header:
    """Return what a file's bytes say of its picture.

    Raises
    ------
    PhotoError
        ``not_a_photo``, ``truncated`` or ``unreadable``: one line.
    """
    form = container.picture_format(data)
    if form is None:
        raise PhotoError(
            f"{name}: {container.other_content(data)}, not a photo; {GIVE}", "not_a_photo"
        )
    if container.damaged(data, form):
        raise broken(data, name, form)
    if form == JPEG and (scans := container.jpeg_scans(data)) > MOST_SCANS:
        raise PhotoError(
            f"{name}: a JPEG in {scans} passes, where a photo has a dozen; open it in a viewer and save it anew",
            "unreadable",
        )
    try:
        image = quietly(lambda: _opened(data, form))
    except Exception as err:  # Pillow's readers raise nearly anything on a garbled header
        raise broken(data, name, form) from err
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
    return Header(name, form, image, bits, icc if isinstance(icc, bytes) and icc else None)


def check_size(header: Header, file_bytes: int, max_megapixels: float) -> None:
    """Refuse a picture that is too large: of no size, above the limit, for its bytes, or for the memory there is.

    Raises
    ------
    PhotoError
        ``too_large`` or ``unreadable``: one line.
    """
    width, height = header.image.size
    megapixels = width * height / 1e6
    if width < 1 or height < 1:
        raise PhotoError(
            f"{header.name}: a {header.form} of {width} x {height} px; {COPY_AGAIN}", "unreadable"
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
            f" {COPY_AGAIN}",
            "too_large",
        )
    needed, there = memory.photo_bytes(width * height, header.form, header.bits), memory.share()
    if needed > there:
        more = (
            "measure it with --workers 1"
            if memory.shared()
            else f"say in {memory.SETTING} what there is"
        )
        raise PhotoError(
            f"{header.name}: {megapixels:.0f} megapixels of {header.bits} bits take {needed / 1e9:.1f} GB to measure,"
            f" more than the {there / 1e9:.1f} GB that one photo has here; save it smaller, or {more}",
            "too_large",
        )


def broken(data: bytes, name: str, form: str) -> PhotoError:
    """Return the error for what cannot be decoded: cut off if its bytes end too early, else damaged."""
    cut = container.cut_off(data, form)
    if cut:
        return PhotoError(f"{name}: {cut}; {COPY_AGAIN}", "truncated")
    return PhotoError(f"{name}: damaged {form} that cannot be decoded; {COPY_AGAIN}", "unreadable")


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
