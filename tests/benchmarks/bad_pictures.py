"""Bad pictures made from seeds, and what becomes of each: it is read and graded, or refused in one line.

    python tests/benchmarks/bad_pictures.py [--first N] [--count N] [--write]

Each hundred is worked on by a process of its own, whose time and memory are watched: none may hang, crash, print a
traceback or take more memory than the tool says that a photo takes. ``--write`` puts the rows into the figures.
"""

import argparse
import json
import os
import struct
import subprocess
import sys
import tempfile
import time
import warnings
import zlib
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import tables
from PIL import Image

from grader.errors import PhotoError
from grader.photo.memory import photo_bytes
from grader.photo.read import DAMAGED, read_photo
from grader.render.files import write_photo
from grader.render.icc_profile import display_p3_profile

ROOT = Path(__file__).parents[2]
SAMPLES = (
    "01_lake_over_shore.jpg",
    "02_two_pieces.jpg",
    "05_wet_with_glare.jpg",
    "21_touching.jpg",
)
COUNT, AT_ONCE = 2400, 100
#: Of the pictures that are read, one in so many is graded too; a JPEG that is told to be damaged always is.
GRADED_OF = 20
#: A bad picture may take so many seconds, and so many more a megapixel.
MOST_S, MOST_S_PER_MEGAPIXEL = 10.0, 1.0
MOST_MEGAPIXELS = 50
CODES = {"missing", "empty", "not_a_photo", "truncated", "too_large", "unreadable"}
LONG = 160


def _small(name: str) -> np.ndarray:
    bgr = cv2.imread(str(ROOT / "sample_images" / name))
    height = round(LONG * bgr.shape[0] / bgr.shape[1])
    return cv2.resize(bgr, (LONG, height), interpolation=cv2.INTER_AREA)[..., ::-1].copy()


def _by_pillow(rgb, form: str, mode: str = "RGB", **options) -> bytes:
    stream = BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        Image.fromarray(rgb).convert(mode).save(stream, form, **options)
    return stream.getvalue()


def _by_tool(rgb, suffix: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"a.{suffix}")
        write_photo(path, rgb, orientation=6, icc=display_p3_profile())
        return path.read_bytes()


def _deep(rgb, suffix: str) -> bytes:
    return cv2.imencode(suffix, rgb[..., ::-1].astype(np.uint16) * 257)[1].tobytes()


#: Each way a whole picture is written, by what it is called.
WHOLE = {
    "jpg": lambda rgb: _by_tool(rgb, "jpg"),
    "png": lambda rgb: _by_tool(rgb, "png"),
    "tif": lambda rgb: _by_tool(rgb, "tif"),
    "webp": lambda rgb: _by_tool(rgb, "webp"),
    "heic": lambda rgb: _by_tool(rgb, "heic"),
    "progressive.jpg": lambda rgb: _by_pillow(rgb, "JPEG", progressive=True),
    "restarts.jpg": lambda rgb: _by_pillow(rgb, "JPEG", restart_marker_rows=1),
    "cmyk.jpg": lambda rgb: _by_pillow(rgb, "JPEG", "CMYK"),
    "deep.png": lambda rgb: _deep(rgb, ".png"),
    "deep.tif": lambda rgb: _deep(rgb, ".tif"),
    "packed.tif": lambda rgb: _by_pillow(rgb, "TIFF", compression="tiff_lzw"),
    "lossless.webp": lambda rgb: _by_pillow(rgb, "WEBP", lossless=True),
}


@cache
def whole(kind: str, sample: str) -> bytes:
    """Return a small picture of the tool's own, whole."""
    return WHOLE[kind](_small(sample))


def _cut(rng, data):
    return data[: rng.integers(1, len(data))]


def _flip_in_the_header(rng, data):
    return _flip(rng, data, min(len(data), 700))


def _flip_anywhere(rng, data):
    return _flip(rng, data, len(data))


def _flip(rng, data, within):
    out = bytearray(data)
    for at in rng.integers(4, within, rng.integers(1, 12)):
        out[at] ^= 1 << rng.integers(8)
    return bytes(out)


def _flip_behind_the_header(rng, data):
    out = bytearray(data)
    for at in rng.integers(len(data) // 2, len(data) - 2, rng.integers(1, 30)):
        out[at] = rng.integers(256)
    return bytes(out)


def _part(rng, data):
    return sorted(int(n) for n in rng.integers(4, len(data), 2))


def _drop_a_part(rng, data):
    start, end = _part(rng, data)
    return data[:start] + data[end:]


def _zero_a_part(rng, data):
    start, end = _part(rng, data)
    return data[:start] + bytes(end - start) + data[end:]


def _zero_the_end(rng, data):
    keep = int(rng.integers(8, len(data)))
    return data[:keep] + bytes(len(data) - keep)


def _repeat_a_part(rng, data):
    start, end = _part(rng, data)
    return data[:end] + data[start:]


def _other_beginning(rng, data):
    return bytes(rng.integers(0, 256, 8, np.uint8)) + data[8:]


def _noise(rng, data):
    return data[:12] + bytes(rng.integers(0, 256, 3000, np.uint8))


def _large_number(rng, data):
    """The largest number at a random place: sizes, counts, offsets are of two or four bytes."""
    at, size = int(rng.integers(4, min(len(data), 800))), int(rng.choice((2, 4)))
    return data[:at] + b"\xff" * size + data[at + size :]


def _places_outside(rng, data):
    """The places of a TIFF's strips or a HEIC's items lie behind the file's end; of others, some length in the head."""
    far = int(rng.integers(len(data), 2**31)).to_bytes(
        4, "big" if data[4:8] == b"ftyp" else "little"
    )
    if (at := data.find(b"iloc")) > 0:
        at += 16 + 4 * int(rng.integers(4))
        return data[:at] + far + data[at + 4 :]
    if data.startswith(b"II"):
        (at,) = struct.unpack_from("<I", data, 4)
        for n in range(struct.unpack_from("<H", data, at)[0]):
            (tag,) = struct.unpack_from("<H", data, at + 2 + 12 * n)
            if tag in (273, 279):
                return data[: at + 10 + 12 * n] + far + data[at + 14 + 12 * n :]
    return _large_number(rng, data)


def _absurd_exif(rng, data):
    exif = Image.Exif()
    exif[274] = int(rng.choice((0, 9, 65535)))
    exif[271] = "\x1b[31m=cmd|' /C calc'!A0\n" * int(rng.integers(1, 40))
    exif.get_ifd(34665)[41989] = int(rng.choice((0, 1, 65535)))
    written = bytearray(exif.tobytes())
    for at in rng.integers(8, len(written), rng.integers(0, 20)):
        written[at] = rng.integers(256)
    return _with(rng, data, exif=bytes(written))


def _absurd_profile(rng, data):
    icc = bytearray(display_p3_profile())
    for at in rng.integers(0, len(icc), rng.integers(1, 30)):
        icc[at] = rng.choice((0, 1, 127, 128, 255))
    return _with(
        rng, data, icc_profile=bytes(icc[: rng.integers(1, len(icc))]) * int(rng.choice((1, 1, 50)))
    )


def _with(rng, data, **options):
    # Pillow writes no TIFF with what it cannot read itself.
    form = str(rng.choice(("JPEG", "PNG", "WEBP")))
    return _by_pillow(_small(SAMPLES[0])[:: rng.integers(1, 4)], form, **options)


def _giant_header(rng, data):
    width, height = (int(n) for n in rng.integers(5_000, 65_000, 2))
    if data.startswith(b"\xff\xd8"):
        frame = max(data.find(b"\xff\xc0"), data.find(b"\xff\xc2"))
        return data[: frame + 5] + struct.pack(">HH", height, width) + data[frame + 9 :]
    if data.startswith(b"\x89PNG"):
        return (
            data[:12]
            + _chunk(b"IHDR", struct.pack(">II", width, height) + data[24:29])[4:]
            + data[33:]
        )
    if data.startswith(b"II"):
        (at,) = struct.unpack_from("<I", data, 4)
        out = bytearray(data)
        for n in range(struct.unpack_from("<H", data, at)[0]):
            (tag,) = struct.unpack_from("<H", data, at + 2 + 12 * n)
            if tag in (256, 257):
                struct.pack_into("<HII", out, at + 4 + 12 * n, 4, 1, width)
        return bytes(out)
    return _flip_in_the_header(rng, data)


def _chunk(name: bytes, content: bytes) -> bytes:
    return (
        struct.pack(">I", len(content))
        + name
        + content
        + struct.pack(">I", zlib.crc32(name + content))
    )


def _png(width: int, height: int, rows: bytes, bits: int = 8) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0)
    parts = _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(rows)) + _chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def _bomb(rng, data):
    """A small file that promises, or holds, far more than it weighs; or thousands of passes."""
    if rng.random() < 0.5:
        return _png(
            int(rng.integers(6000, 60_000)), int(rng.integers(6000, 60_000)), bytes(10_000_000)
        )
    passes = whole("progressive.jpg", SAMPLES[0])
    last = passes.rindex(b"\xff\xda")
    return passes[:last] + passes[last:-2] * int(rng.integers(100, 2000)) + passes[-2:]


def _nothing_to_see(rng, data):
    width, height = ((0, 1), (1, 0), (0, 0), (0, 2**31 - 1), (2**32 - 1, 0))[rng.integers(5)]
    return _png(width, height, b"")


def _strip(rng, data):
    """One px wide, or nearly."""
    long, short = int(rng.integers(1, 30_000)), int(rng.integers(1, 4))
    rgb = (
        np.full((long, short, 3), 90, np.uint8)
        if rng.random() < 0.5
        else np.full((short, long, 3), 90, np.uint8)
    )
    return _by_pillow(rgb, str(rng.choice(("PNG", "TIFF"))))


def _not_numbers(rng, data):
    """A TIFF of floating point numbers, some of which are none."""
    light = rng.random((20, 30)).astype(np.float32)
    light[rng.random(light.shape) < 0.3] = rng.choice((np.nan, np.inf, -np.inf, 1e38))
    return _by_pillow(light, "TIFF", "F")


def _not_a_picture(rng, data):
    others = (
        b"",
        b"\0" * 500,
        b"IMG 12\n" * 30,
        b"<html></html>",
        b"PK\x03\x04" + data,
        b"\xff\xd8",
        b"GIF89a" + data,
    )
    return others[rng.integers(len(others))]


def _left_whole(rng, data):
    """Nothing: only its name or its ending is odd."""
    return data


HARMS = (
    _cut, _flip_in_the_header, _flip_anywhere, _flip_behind_the_header, _drop_a_part, _zero_a_part, _zero_the_end,
    _repeat_a_part, _other_beginning, _noise, _large_number, _places_outside, _absurd_exif, _absurd_profile,
    _giant_header, _bomb, _nothing_to_see, _strip, _not_numbers, _not_a_picture, _left_whole,
)  # fmt: skip
ENDINGS = ("jpg", "jpeg", "png", "tif", "webp", "heic", "JPG", "txt", "jpg.exe")
NAMES = (
    "IMG_{}",
    "x" * 240 + "{}", "a\nb{}", "\r{}", "--out {}", "-{}", "\N{GEM STONE}{}", "\u202egpj{}", "=cmd|'calc'!A0{}", " {} ",
    "\x1b[31m{}", "%s%n{}", "..{}", "[red]{}", "ё中{}", "a'\"`{}", "con{}",
)  # fmt: skip


def bad_picture(seed: int) -> tuple[str, bytes]:
    """Return the name and the bytes of a bad picture."""
    rng = np.random.default_rng([14, seed])
    # Counted so that every harm meets every way of writing.
    kind = tuple(WHOLE)[seed % len(WHOLE)]
    harm = HARMS[seed // len(WHOLE) % len(HARMS)]
    data = harm(rng, whole(kind, SAMPLES[rng.integers(len(SAMPLES))]))
    ending = kind.split(".")[-1] if rng.random() < 0.6 else str(rng.choice(ENDINGS))
    name = NAMES[0] if rng.random() < 0.6 else NAMES[rng.integers(len(NAMES))]
    return f"{name.format(seed)}.{ending}", data


def harm_of(seed: int) -> str:
    """Return what was done to a bad picture."""
    return HARMS[seed // len(WHOLE) % len(HARMS)].__name__.strip("_")


def outcome(seed: int, folder: Path) -> dict:
    """Return what became of a bad picture: how it ended, in how long, and what is wrong with that, if anything."""
    name, data = bad_picture(seed)
    path = folder / name
    path.write_bytes(data)
    start, told, wrong, megapixels = time.process_time(), "read", "", 0.0
    try:
        photo = read_photo(path, max_megapixels=MOST_MEGAPIXELS)
        megapixels = photo.width * photo.height / 1e6
        damaged = DAMAGED in [remark.code for remark in photo.remarks]
        told = "told to be damaged" if damaged else told
        # By another number than the harms go round by, so that each of them is met.
        if (seed * 7919) % GRADED_OF == 0 or damaged:
            told, wrong = _graded(photo, damaged, told)
    except PhotoError as err:
        told, text = err.code, str(err)
        if told not in CODES or "\n" in text or not text.isprintable() or len(text) > 600:
            wrong = f"not told in one line: {text!r}"
    except Exception as err:
        wrong = f"{type(err).__name__}: {err}"
    # Of the processor: a busy machine is no fault of a picture.
    took = time.process_time() - start
    path.unlink()
    return {"seed": seed, "harm": harm_of(seed), "told": told, "wrong": wrong, "took_s": took, "megapixels": megapixels,
            "jpeg": data[:3] == b"\xff\xd8\xff"}  # fmt: skip


def _graded(photo, damaged: bool, told: str) -> tuple[str, str]:
    from grader import grade_photo

    verdicts = [stone.measured.verdict.value for stone in grade_photo(photo).pieces]
    wrong = "damaged, and usable all the same" if damaged and "usable" in verdicts else ""
    return f"{told}, graded", wrong


def _work(first: int, count: int) -> None:
    """Print the outcomes of so many bad pictures, a line each, and last the most memory that they took."""
    import resource  # Not on every system.

    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            print(json.dumps(outcome(seed, Path(folder))), flush=True)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"most_bytes": most * (1 if sys.platform == "darwin" else 1024)}), flush=True)


def worked(first: int, count: int) -> tuple[list[dict], float]:
    """Return the outcomes of so many bad pictures and the most memory, bytes, of the process that worked on them.

    Raises
    ------
    AssertionError
        The process ended before its work was done, or printed what nobody asked for.
    """
    done = subprocess.run(
        [sys.executable, __file__, "--work", "--first", str(first), "--count", str(count)],
        env=os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=AT_ONCE * MOST_S * 2,
    )
    lines = done.stdout.splitlines()
    assert done.returncode == 0 and len(lines) == count + 1, (
        done.returncode,
        lines[-1:],
        done.stderr[-600:],
    )
    assert done.stderr == "", done.stderr[-600:]
    *outcomes, most = [json.loads(line) for line in lines]
    return outcomes, most["most_bytes"]


def faults(outcomes: list[dict], most_bytes: float) -> list[str]:
    """Return what is wrong with outcomes, a line each."""
    found = [f"seed {o['seed']}, {o['harm']}: {o['wrong']}" for o in outcomes if o["wrong"]]
    for o in outcomes:
        if o["took_s"] > MOST_S + MOST_S_PER_MEGAPIXEL * o["megapixels"]:
            found.append(f"seed {o['seed']}, {o['harm']}: {o['took_s']:.0f} s")
    if most_bytes > photo_bytes(MOST_MEGAPIXELS * 1_000_000, "PNG", 8):
        found.append(f"{most_bytes / 1e9:.1f} GB")
    return found


def rows(outcomes: list[dict], found: list[str], most_bytes: float) -> list[tables.Row]:
    """Return the rows of the table."""
    n, told = f"{len(outcomes)} pictures", Counter(o["told"].split(",")[0] for o in outcomes)
    graded = sum(o["told"].endswith("graded") for o in outcomes)
    hurt = ("flip_behind_the_header", "zero_a_part", "drop_a_part", "repeat_a_part")
    inside = [o for o in outcomes if o["jpeg"] and o["harm"] in hurt]
    silent = sum(o["told"].split(",")[0] == "read" for o in inside)
    on = "bad pictures from seeds"
    return [
        tables.Row(
            "bad pictures that end otherwise than read or told", on, n, str(len(found)), floor="0"
        ),
        tables.Row(
            "bad pictures refused, in one line", on, n, str(sum(told[code] for code in CODES))
        ),
        tables.Row(
            "bad pictures read",
            on,
            n,
            f"{told['read']}, told to be damaged {told['told to be damaged']}",
        ),
        tables.Row("bad pictures read and graded too", on, n, str(graded)),
        tables.Row("longest, s", on, n, f"{max(o['took_s'] for o in outcomes):.1f}", floor="≤ 10"),
        tables.Row("most memory, GB", on, n, f"{most_bytes / 1e9:.1f}", floor="≤ 1.6"),
        tables.Row(
            "JPEGs harmed inside that are read without a word",
            on,
            f"{len(inside)} pictures",
            str(silent),
        ),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--work", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.work:
        _work(asked.first, asked.count)
        return
    firsts = range(asked.first, asked.first + asked.count, AT_ONCE)
    counts = [min(AT_ONCE, asked.first + asked.count - first) for first in firsts]
    outcomes, most, found = [], 0.0, []
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for done, took in pool.map(worked, firsts, counts):
            outcomes, most, found = outcomes + done, max(most, took), found + faults(done, took)
            print(f"{len(outcomes)} done, {len(found)} wrong", file=sys.stderr, flush=True)
    print("\n".join(found) or "nothing wrong")
    for harm, told in sorted({(o["harm"], o["told"]) for o in outcomes}):
        count = sum((o["harm"], o["told"]) == (harm, told) for o in outcomes)
        print(f"{harm:24} {told:28} {count}")
    made = rows(outcomes, found, most)
    print(tables.as_table(made))
    if asked.write:
        tables.write("bad_pictures", made)


if __name__ == "__main__":
    main()
