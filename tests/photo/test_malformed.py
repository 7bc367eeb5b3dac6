"""Two hundred malformed files: each gives a photo or one line, in bounded time, quietly."""

import struct
import time
import zlib
from functools import cache
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from grader.errors import PhotoError
from grader.photo.read import read_photo
from grader.render.files import write_photo
from grader.render.icc_profile import display_p3_profile

CODES = {"empty", "not_a_photo", "truncated", "too_large", "unreadable"}
SUFFIXES = ("jpg", "png", "tif", "webp", "heic")
SEEDS = range(200)
#: A photo that is read although something is wrong is at most this large here.
MOST_PX = 100 * 100


@cache
def _whole(suffix: str, folder) -> bytes:
    rng = np.random.default_rng(9)
    rgb = np.kron(rng.integers(0, 256, (12, 16, 3)), np.ones((6, 6, 1))).astype(np.uint8)
    write_photo(folder / f"whole.{suffix}", rgb, orientation=6, icc=display_p3_profile())
    return (folder / f"whole.{suffix}").read_bytes()


def _cut(rng, data):
    return data[: rng.integers(1, len(data))]


def _flip_in_the_header(rng, data):
    return _flip(rng, data, min(len(data), 700))


def _flip_anywhere(rng, data):
    return _flip(rng, data, len(data))


def _flip(rng, data, within):
    out = bytearray(data)
    for at in rng.integers(4, within, rng.integers(1, 12)):
        out[at] = rng.integers(256)
    return bytes(out)


def _drop_a_part(rng, data):
    start, end = sorted(rng.integers(4, len(data), 2))
    return data[:start] + data[end:]


def _zero_a_part(rng, data):
    start, end = sorted(rng.integers(4, len(data), 2))
    return data[:start] + bytes(int(end - start)) + data[end:]


def _zero_the_end(rng, data):
    keep = int(rng.integers(8, len(data)))
    return data[:keep] + bytes(len(data) - keep)


def _repeat_a_part(rng, data):
    start, end = sorted(rng.integers(4, len(data), 2))
    return data[:end] + data[start:]


def _other_beginning(rng, data):
    return bytes(rng.integers(0, 256, 8, np.uint8)) + data[8:]


def _noise(rng, data):
    return data[:12] + bytes(rng.integers(0, 256, 3000, np.uint8))


def _large_number(rng, data):
    """The largest number at a random place: sizes, counts, offsets are of two or four bytes."""
    at, size = int(rng.integers(4, min(len(data), 800))), int(rng.choice((2, 4)))
    return data[:at] + b"\xff" * size + data[at + size :]


def _broken_exif(rng, data):
    exif = b"Exif\0\0" + bytes(rng.integers(0, 256, 60, np.uint8))
    return _with(rng, exif=exif)


def _broken_profile(rng, data):
    icc = bytearray(display_p3_profile())
    for at in rng.integers(0, len(icc), 30):
        icc[at] = rng.integers(256)
    return _with(rng, icc_profile=bytes(icc[: rng.integers(1, len(icc))]))


def _with(rng, **options):
    stream = BytesIO()
    form = str(rng.choice(("JPEG", "PNG", "WEBP")))
    Image.new("RGB", (24, 16), (90, 120, 200)).save(stream, form, **options)
    return stream.getvalue()


def _giant_header(rng, data):
    width, height = (int(n) for n in rng.integers(20_000, 65_000, 2))
    if data.startswith(b"\xff\xd8"):
        frame = data.index(b"\xff\xc0")
        return data[: frame + 5] + struct.pack(">HH", height, width) + data[frame + 9 :]
    if data.startswith(b"\x89PNG"):
        header = b"IHDR" + struct.pack(">II", width, height) + data[24:29]
        return data[:12] + header + struct.pack(">I", zlib.crc32(header)) + data[33:]
    if data.startswith(b"II"):
        (at,) = struct.unpack_from("<I", data, 4)
        out = bytearray(data)
        for n in range(struct.unpack_from("<H", data, at)[0]):
            (tag,) = struct.unpack_from("<H", data, at + 2 + 12 * n)
            if tag in (256, 257):
                struct.pack_into("<HII", out, at + 4 + 12 * n, 4, 1, width)
        return bytes(out)
    return _flip_in_the_header(rng, data)


def _not_a_picture(rng, data):
    others = (
        b"",
        b"\0" * 500,
        b"IMG 12\n" * 30,
        b"<html></html>",
        b"PK\x03\x04" + data,
        b"\xff\xd8",
    )
    return others[rng.integers(len(others))]


def _nothing_to_see(rng, data):
    zero = b"IHDR" + struct.pack(">IIBBBBB", 0, int(rng.integers(0, 5)), 8, 2, 0, 0, 0)
    chunks = (zero, b"IDAT" + zlib.compress(b""), b"IEND")
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(c) - 4) + c + struct.pack(">I", zlib.crc32(c)) for c in chunks
    )


HARMS = (
    _cut,
    _flip_in_the_header,
    _flip_anywhere,
    _drop_a_part,
    _zero_a_part,
    _zero_the_end,
    _repeat_a_part,
    _other_beginning,
    _noise,
    _large_number,
    _broken_exif,
    _broken_profile,
    _giant_header,
    _not_a_picture,
    _nothing_to_see,
)


def _malformed(seed: int, folder) -> bytes:
    rng = np.random.default_rng(seed)
    data = _whole(SUFFIXES[seed % len(SUFFIXES)], folder)
    # Counted so that every harm meets every format.
    return HARMS[seed // len(SUFFIXES) % len(HARMS)](rng, data)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("whole")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_malformed_file_gives_a_photo_or_one_line(seed, folder, tmp_path, capfd):
    path = tmp_path / f"IMG_{seed}.jpg"
    path.write_bytes(_malformed(seed, folder))
    start = time.perf_counter()
    try:
        photo = read_photo(path, max_megapixels=50)
    except PhotoError as error:
        assert str(error).startswith(f"IMG_{seed}.jpg: ")
        assert "\n" not in str(error) and str(error).isprintable() and len(str(error)) < 200
        assert error.code in CODES
    else:
        assert photo.rgb.ndim == 3 and photo.rgb.shape[2] == 3
        assert 0 < photo.height * photo.width <= MOST_PX
    assert time.perf_counter() - start < 2
    assert capfd.readouterr() == ("", "")


def test_the_seeds_are_more_than_one_kind_of_broken(folder, tmp_path):
    codes = []
    for seed in SEEDS:
        (tmp_path / "a").write_bytes(_malformed(seed, folder))
        try:
            read_photo(tmp_path / "a", max_megapixels=50)
            codes.append("read")
        except PhotoError as error:
            codes.append(error.code)
    assert {"read", *CODES} <= set(codes)
    assert codes.count("read") < len(codes) / 2
