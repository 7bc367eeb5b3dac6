"""Bad pictures from seeds: each gives a photo or one line, in bounded time and memory; so does what is no file."""

import os
from collections import Counter

import bad_pictures
import pytest
from bad_pictures import AT_ONCE, CODES, COUNT, bad_picture, faults, outcome, worked
from typer.testing import CliRunner

from grader.batch import find_photos
from grader.cli.main import app
from grader.errors import PhotoError
from grader.photo.file import content_hash
from grader.photo.read import read_photo

#: So many are read with every run of the tests, each harm at least once.
QUICK = len(bad_pictures.HARMS) * len(bad_pictures.WHOLE)
needs_pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")


@pytest.mark.parametrize("first", range(0, QUICK, 36))
def test_a_bad_picture_gives_a_photo_or_one_line(first, tmp_path, monkeypatch, capfd):
    monkeypatch.setattr(bad_pictures, "_graded", lambda photo, damaged, told: (told, ""))
    outcomes = [outcome(seed, tmp_path) for seed in range(first, first + 36)]
    assert faults(outcomes, 0) == []
    assert capfd.readouterr() == ("", "")


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, COUNT, AT_ONCE))
def test_bad_pictures_are_graded_or_refused_within_their_time_and_memory(first):
    assert faults(*worked(first, AT_ONCE)) == []


@pytest.mark.slow
def test_the_seeds_are_more_than_one_kind_of_broken(tmp_path, monkeypatch):
    monkeypatch.setattr(bad_pictures, "_graded", lambda photo, damaged, told: (told, ""))
    told = Counter(outcome(seed, tmp_path)["told"] for seed in range(QUICK))
    assert told.keys() == {"read", "told to be damaged", *CODES} - {"missing"}
    assert told["read"] < QUICK / 2


def test_a_seed_makes_the_same_picture_each_time():
    assert bad_picture(77) == bad_picture(77)
    assert len({bad_picture(seed)[1] for seed in range(0, QUICK, 7)}) > QUICK / 9


#: A link to itself, two in a ring, one to what is not there, one into a folder of links.
LOOPS = {
    "self.jpg": "self.jpg",
    "one.jpg": "two.jpg",
    "two.jpg": "one.jpg",
    "gone.jpg": "nowhere.jpg",
    "up": ".",
}


@pytest.fixture
def odd_folder(tmp_path):
    """A folder with what is called a photo and is no file."""
    for name, goal in LOOPS.items():
        (tmp_path / name).symlink_to(goal)
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "link_to_pipe.png").symlink_to("pipe.jpg")
    for device in ("zero", "random", "null", "stdin"):
        (tmp_path / f"{device}.jpg").symlink_to(f"/dev/{device}")
    (tmp_path / "folder.heic").mkdir()
    return tmp_path


@needs_pipes
def test_what_is_no_file_is_told_without_being_opened(odd_folder):
    for path in sorted(odd_folder.iterdir()):
        for read in (read_photo, content_hash):
            with pytest.raises(PhotoError) as caught:
                read(path)
            assert caught.value.code in ("unreadable", "missing") and "\n" not in str(caught.value)


@needs_pipes
def test_a_folder_of_what_is_no_file_is_gone_through_and_each_is_told(odd_folder, tmp_path):
    # A link to the folder it lies in would be gone through for ever.
    names = set(find_photos(odd_folder, odd_folder / "graded"))
    assert names == {
        path.name for path in odd_folder.iterdir() if path.is_symlink() or path.is_fifo()
    } - {"up"}
    done = CliRunner().invoke(app, ["batch", str(odd_folder), "--no-ledger"])
    assert done.exit_code == 1 and "Traceback" not in done.output
    assert all(name in done.output for name in ("pipe.jpg", "zero.jpg", "self.jpg"))


@pytest.mark.slow
@needs_pipes
@pytest.mark.parametrize(
    "name", ["pipe.jpg", "zero.jpg", "self.jpg", "gone.jpg", "folder.heic", "--x.jpg", "a\nb.jpg"]
)
@pytest.mark.parametrize("command", ["check", "doctor", "cutplan", "call"])
def test_each_command_tells_what_is_no_photo_in_one_line(odd_folder, name, command):
    if name in ("--x.jpg", "a\nb.jpg"):
        (odd_folder / name).write_bytes(b"no picture")
    more = ["--grade", "select"] if command == "call" else []
    done = CliRunner().invoke(app, [command, *more, "--", str(odd_folder / name)])
    assert done.exit_code in (1, 2), done.output
    assert done.exception is None or isinstance(done.exception, SystemExit), done.output
    assert "Traceback" not in done.output
