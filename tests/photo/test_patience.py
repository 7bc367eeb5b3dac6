"""A photo that takes too long is refused in one line; it is really slow here: a JPEG of thousands of passes, which is
decoded as often (ITU-T T.81, annex G)."""

import gc
import io
import os
import signal
import subprocess
import sys
import threading
import time
import weakref
from contextlib import suppress
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grader.errors import PhotoError
from grader.photo import header, patience
from grader.photo.patience import SLOW, allow, left_behind, within
from grader.photo.quiet import quietly
from grader.photo.read import read_photo

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_images" / "14_pale_blue.jpg"
#: Each takes some 2 ms at that size.
SIDES = 1600, 1200


def slow_jpeg(path: Path, passes: int) -> Path:
    """Write a small file of so many passes."""
    stream = io.BytesIO()
    Image.new("RGB", SIDES, (120, 130, 140)).save(stream, "JPEG", progressive=True)
    whole = stream.getvalue()
    last = whole.rindex(b"\xff\xda")
    path.write_bytes(whole[:last] + whole[last:-2] * passes + whole[-2:])
    return path


def test_what_comes_of_the_work_comes_back_and_what_goes_wrong_too():
    assert within(10, lambda: 7, "a.jpg", "read") == 7
    with pytest.raises(ZeroDivisionError):
        within(10, lambda: 1 / 0, "a.jpg", "read")


@pytest.mark.slow
def test_who_asks_for_more_time_has_it_and_so_has_the_work_that_this_is_part_of():
    done = threading.Event()

    def part():
        allow(100)
        return done.wait(0.8)

    with pytest.raises(
        PhotoError, match=r"a.jpg: takes longer than 0 s to read; open it in a"
    ) as err:
        within(0.3, lambda: done.wait(5), "a.jpg", "read")
    assert err.value.code == SLOW
    assert within(0.3, part, "a.jpg", "read") is False
    assert within(0.3, lambda: within(0.3, part, "a.jpg", "read"), "a.jpg", "look at") is False
    done.set()


@pytest.mark.slow
def test_one_that_takes_too_long_to_read_is_refused_and_the_next_is_read(
    tmp_path, monkeypatch, capfd
):
    monkeypatch.setattr(header, "MOST_SCANS", 10**6)
    path = slow_jpeg(tmp_path / "slow.jpg", 800)
    sys.stderr.flush()
    before = os.fstat(2)
    monkeypatch.setattr(patience, "READ_S", 0.0)
    monkeypatch.setattr(patience, "READ_S_PER_MEGAPIXEL", 0.0)
    with pytest.raises(PhotoError, match=r"slow.jpg: takes longer than 0 s to read") as err:
        read_photo(path)
    assert err.value.code == SLOW and left_behind()
    monkeypatch.setattr(patience, "READ_S", 60.0)
    # What it borrowed is back, though it is still at work, and stays so when it ends.
    assert os.path.samestat(os.fstat(2), before)
    damaged = (tmp_path / "damaged.jpg").write_bytes(_damaged())
    assert damaged and [r.code for r in read_photo(tmp_path / "damaged.jpg").remarks] == ["damaged"]
    until = time.monotonic() + 120
    while left_behind() and time.monotonic() < until:
        time.sleep(0.1)
    assert not left_behind() and os.path.samestat(os.fstat(2), before)
    assert capfd.readouterr() == ("", "")


@pytest.fixture
def heard_ctrl_c():
    """Ctrl-C as a person at a terminal has it: what runs in the background may have been told to pass over it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heard_ctrl_c")
def test_whoever_stops_it_all_is_heard_though_a_read_within_has_borrowed_stderr():
    ended, before, borrowed = threading.Event(), os.fstat(2), []

    def decode():
        borrowed.append(not os.path.samestat(os.fstat(2), before))
        signal.raise_signal(signal.SIGINT)
        ended.wait(30)

    def look():
        return within(60, lambda: quietly(decode), "a.jpg", "read")

    with pytest.raises(KeyboardInterrupt):
        within(60, look, "a.jpg", "look at")
    given_back = os.path.samestat(os.fstat(2), before)
    ended.set()
    assert borrowed == [True] and given_back


def test_one_that_waited_for_its_turn_when_it_was_left_does_not_keep_it_from_those_after_it():
    ended = threading.Event()

    def slow(seconds):
        with pytest.raises(PhotoError, match="takes longer"):
            within(seconds, lambda: quietly(lambda: ended.wait(30)), "a.jpg", "read")

    first = threading.Thread(target=slow, args=(1.0,))
    first.start()
    time.sleep(0.1)
    slow(0.3)
    first.join()
    assert within(20, lambda: quietly(lambda: 7), "b.jpg", "read") == 7
    ended.set()


def test_what_goes_wrong_keeps_no_pixels_once_it_is_told():
    class Pixels:
        pass

    held = []

    def work():
        pixels = Pixels()
        held.append(weakref.ref(pixels))
        raise PhotoError("a.jpg: cut off")

    gc.disable()  # It goes at once, and not when somebody looks for rubbish.
    try:
        with suppress(PhotoError):
            within(10, work, "a.jpg", "read")
        assert held[0]() is None
    finally:
        gc.enable()


def _damaged() -> bytes:
    noise = np.random.default_rng(4).integers(0, 256, (96, 128, 3), np.uint8)
    data = cv2.imencode(".jpg", noise)[1].tobytes()
    return data[:-2] + b"\x12\x34\x56" * 9 + data[-2:]


#: A limit that such a photo is above, and a good one far below.
SHORT = """
from grader.photo import header, patience
patience.READ_S, patience.READ_S_PER_MEGAPIXEL, header.MOST_SCANS = 4.0, 0.0, 10**6
"""
CHECK = f"{SHORT}from grader.cli.main import run; run()"
BATCH = f"""
from grader import looking
measure = looking._work
def work(profile, to_keep, ask):
    {SHORT.replace(chr(10), chr(10) + "    ")}
    return measure(profile, to_keep, ask)
looking._work = work
from grader.cli.main import run; run()
"""


def _run(code: str, folder: Path, *args) -> subprocess.CompletedProcess:
    # If it waited for the photo it would be at work for ten minutes.
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, args)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(folder / "data")},
        capture_output=True,
        text=True,
        timeout=280,
    )


@pytest.mark.slow
def test_check_tells_it_in_one_line_and_grades_the_others(tmp_path):
    slow_jpeg(tmp_path / "slow.jpg", 300_000)
    (tmp_path / "good.jpg").write_bytes(SAMPLE.read_bytes())
    done = _run(CHECK, tmp_path, "check", "slow.jpg", "good.jpg")
    assert done.returncode == 1, done.stderr
    assert done.stderr == (
        "grader: slow.jpg: takes longer than 4 s to read; open it in a viewer and save it anew\n"
    )
    assert "Stone 1" in done.stdout


@pytest.mark.slow
def test_one_that_takes_too_long_to_look_at_is_told_too(tmp_path):
    large = cv2.resize(cv2.imread(str(SAMPLE)), None, fx=4, fy=4)
    cv2.imwrite(str(tmp_path / "large.jpg"), large)
    hurry = """
patience.LOOK_S = patience.LOOK_S_PER_MEGAPIXEL = patience.LOOK_S_PER_STONE = 0.0
patience.READ_S = 1.0
"""
    done = _run(f"{SHORT}{hurry}{CHECK.removeprefix(SHORT)}", tmp_path, "check", "large.jpg")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "grader: large.jpg: takes longer than 1 s to look at; open it in a viewer and save it anew\n"
    )


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_batch_tells_it_in_one_line_has_new_workers_and_goes_on(tmp_path, workers):
    haul = tmp_path / "haul"
    haul.mkdir()
    slow_jpeg(haul / "b.jpg", 300_000)
    for name in "acdefg":
        # The same stone, other contents: so each is measured.
        (haul / f"{name}.jpg").write_bytes(SAMPLE.read_bytes() + name.encode())
    done = _run(BATCH, tmp_path, "batch", haul, "--workers", workers)
    assert done.returncode == 1, done.stderr
    told = [line for line in done.stderr.splitlines() if "b.jpg" in line]
    assert told == [
        "failed: b.jpg: takes longer than 4 s to read; open it in a viewer and save it anew"
    ]
    assert "6 photos looked at, 6 stones found" in done.stderr
