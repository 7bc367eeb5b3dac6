"""What a photo may take of the machine's memory: refused by its header, and what is not refused keeps to it."""

import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from grader.errors import PhotoError, SettingsError
from grader.photo import memory
from grader.photo.read import read_photo
from grader.render.files import write_photo

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_images" / "01_lake_over_shore.jpg"
#: Measures a photo in a process of its own and prints the most bytes that it had.
MEASURED = """
import re, resource, sys
from pathlib import Path
from grader.grade import measure_file
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
measure_file(sys.argv[1], PhotoTerms(), load_profile())
kilobytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
kept = Path("/proc/self/status")
if kept.exists():  # What getrusage tells there is that of the program that began this one, if it had more.
    kilobytes = int(re.search(r"VmHWM:\\s+(\\d+)", kept.read_text())[1])
print(kilobytes if sys.platform == "darwin" else kilobytes * 1024)
"""


@pytest.fixture(autouse=True)
def alone():
    yield
    memory.share_among(1)


def _solid_png(path, width: int, height: int, bits: int) -> None:
    """A picture of one colour without any of its px in memory: RGB and alpha, as large as its header says."""

    def chunk(name, content):
        check = struct.pack(">I", zlib.crc32(name + content))
        return struct.pack(">I", len(content)) + name + content + check

    packer = zlib.compressobj(1)
    row = b"\0" + bytes([90]) * (4 * bits // 8 * width)
    packed = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, bits, 6, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + parts)


@pytest.mark.slow
def test_a_photo_above_its_share_is_refused_in_one_line_before_it_is_decoded(tmp_path, monkeypatch):
    _solid_png(tmp_path / "a.png", 9000, 9000, 16)
    monkeypatch.setenv(memory.SETTING, "2")
    monkeypatch.setattr("cv2.imdecode", None)
    with pytest.raises(PhotoError) as caught:
        read_photo(tmp_path / "a.png")
    assert caught.value.code == "too_large"
    assert str(caught.value) == (
        "a.png: 81 megapixels of 16 bits take 3.3 GB to measure, more than the 2.0 GB that one photo has here; "
        "save it smaller, or say in GRADER_MEMORY_GB what there is"
    )


def test_photos_worked_on_at_once_share_the_memory(monkeypatch):
    monkeypatch.setenv(memory.SETTING, "12")
    assert memory.share() == 12e9
    memory.share_among(4)
    assert memory.share() == 3e9


@pytest.mark.slow
def test_who_shares_is_told_that_a_photo_alone_has_more(tmp_path, monkeypatch):
    _solid_png(tmp_path / "a.png", 9000, 9000, 16)
    monkeypatch.setenv(memory.SETTING, "4")
    memory.share_among(2)
    with pytest.raises(PhotoError, match=r"2.0 GB .* or measure it with --workers 1"):
        read_photo(tmp_path / "a.png")


def test_however_little_there_is_photos_of_phones_are_measured(monkeypatch):
    monkeypatch.setenv(memory.SETTING, "0.5")
    memory.share_among(64)
    for form in ("JPEG", "HEIC", "WebP", "PNG"):
        assert memory.photo_bytes(12_200_000, form, 8) < memory.share()
    assert memory.photo_bytes(50_000_000, "JPEG", 8) < memory.share()


@pytest.mark.parametrize("said", ["", "much", "-1", "0", "nan", "inf"])
def test_a_setting_that_is_no_number_is_told(tmp_path, monkeypatch, said):
    monkeypatch.setenv(memory.SETTING, said)
    with pytest.raises(SettingsError, match="give GB of memory, as 8"):
        memory.share()


def test_unless_told_a_machine_gives_three_quarters(monkeypatch):
    monkeypatch.delenv(memory.SETTING, raising=False)
    told = int(next(_told_by_the_kernel()))
    assert memory.LEAST_BYTES <= memory.share() <= max(memory.LEAST_BYTES, 0.75 * told)


def _told_by_the_kernel():
    try:
        lines = Path("/proc/meminfo").read_text("ascii").splitlines()
    except OSError:
        pytest.skip("no /proc/meminfo here")
    yield 1024 * int(next(line for line in lines if line.startswith("MemTotal")).split()[1])


def test_a_system_that_does_not_say_what_it_has_is_taken_for_a_plain_one(monkeypatch):
    monkeypatch.delenv(memory.SETTING, raising=False)
    monkeypatch.delattr(os, "sysconf", raising=False)
    monkeypatch.setattr(memory, "_LIMITS", ())
    memory._machine_bytes.cache_clear()
    try:
        assert memory.share() == 0.75 * memory.UNTOLD_BYTES
    finally:
        memory._machine_bytes.cache_clear()


def _photo_of(path: Path, width: int, height: int) -> None:
    bgr = cv2.resize(cv2.imread(str(SAMPLE)), (width, height), interpolation=cv2.INTER_LINEAR)
    if path.stem == "deep":
        alpha = np.full((height, width), 65535, np.uint16)
        cv2.imwrite(str(path), np.dstack([bgr.astype(np.uint16) * 257, alpha]))
    else:
        write_photo(path, np.ascontiguousarray(bgr[..., ::-1]))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "width", "height"),
    [
        ("a.jpg", 8000, 6000),
        ("a.png", 8000, 6000),
        ("deep.png", 6000, 5000),
        ("a.webp", 6000, 5000),
        ("a.heic", 4000, 3000),
        # Long ones, which once took gigabytes in the search for a chart.
        ("a.png", 7900, 1000),
        ("a.png", 1000, 20_000),
    ],
)
def test_what_a_photo_takes_is_no_more_than_is_said_of_it(tmp_path, name, width, height):
    pytest.importorskip("resource", reason="this system does not say what a program took")
    path = tmp_path / name
    _photo_of(path, width, height)
    form = {"jpg": "JPEG", "png": "PNG", "webp": "WebP", "heic": "HEIC"}[path.suffix[1:]]
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(path)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    bits = 16 if path.stem == "deep" else 8
    assert int(done.stdout) <= memory.photo_bytes(width * height, form, bits)
