"""A disk that is full, locked or taken away while a folder is graded; photos that change; a clock that goes backwards.

Each ends in one line that says what to do, with an exit code above 0 and nothing half-written; once it is mended the
same command comes to what it would have come to.
"""

import datetime
import errno
import itertools
import os
import re
import shutil
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from grader import batch as batch_module
from grader import files, looking, outfolder
from grader.session import Session
from grader.workers import workers as workers_module

FULL = OSError(errno.ENOSPC, "No space left on device")


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def one_line(ran) -> str:
    """The last line of what a failed run says: the only one that begins so, and no traceback."""
    assert ran.exit_code == 1, ran.output
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    (line,) = [line for line in ran.stderr.splitlines() if line.startswith("grader: ")]
    return line


def half_written(*folders: Path) -> list[Path]:
    return [path for folder in folders for path in folder.rglob("*.part")]


@pytest.fixture
def whole(cli, tmp_path):
    """What an unbroken run comes to, with its ledger put away again."""
    cli.photo("haul/a.jpg")
    cli.photo("haul/b.jpg", "2")
    assert cli.run("batch", "haul", "--ledger", "whole.sqlite").exit_code == 0
    results = content(tmp_path / "haul" / "graded")
    shutil.rmtree(tmp_path / "haul" / "graded")
    return results


@contextmanager
def full_at(number: int, monkeypatch):
    """Let the disk be full at the step of that number, and yield what was stepped."""
    count, steps = itertools.count(1), []

    def step(name, act):
        def run(*given, **more):
            steps.append(name)
            if next(count) == number:
                raise FULL
            return act(*given, **more)

        return run

    def half(file, write):
        def run(data):
            if len(steps) + 1 == number:
                write(data[: len(data) // 2])
            return step("write", write)(data)

        return run

    def temporary(*given, make=files.NamedTemporaryFile, **more):
        file = step("open", make)(*given, **more)
        file.write = half(file, file.write)
        return file

    with monkeypatch.context() as patch:
        for name in ("replace", "rename", "fsync", "mkdir"):
            patch.setattr(os, name, step(name, getattr(os, name)))
        patch.setattr(files, "NamedTemporaryFile", temporary)
        patch.setattr(outfolder, "open", step("open", open), raising=False)
        yield steps


@pytest.mark.slow
def test_a_disk_that_is_full_at_any_write_is_told_and_nothing_is_left_half_written(
    cli, whole, tmp_path, monkeypatch
):
    told = set()
    for number in itertools.count(1):
        for path in (tmp_path / "haul" / "graded", tmp_path / "now.pictures"):
            shutil.rmtree(path, ignore_errors=True)
        for path in tmp_path.glob("now.sqlite*"):
            path.unlink()
        with full_at(number, monkeypatch) as steps:
            ran = cli.run("batch", "haul", "--ledger", "now.sqlite")
        if len(steps) < number:
            break
        assert half_written(tmp_path) == [], steps[-1]
        if ran.exit_code:
            told.add(one_line(ran).partition(": ")[2].partition(" (")[0].rpartition("/")[2])
            assert "No space left on device" in ran.stderr
        again = cli.run("batch", "haul", "--ledger", "now.sqlite")
        assert again.exit_code == 0, again.output
        assert content(tmp_path / "haul" / "graded") == whole, f"step {number}"
    assert number > 60 and ran.exit_code == 0
    assert {"results.jsonl: cannot be written", ".written: cannot be written"} <= told


def test_a_full_disk_is_told_in_one_line(cli, whole, tmp_path, monkeypatch):
    with full_at(10, monkeypatch):
        ran = cli.run("batch", "haul")
    assert "cannot be written (No space left on device); choose another place" in one_line(ran)
    assert half_written(tmp_path) == []


def as_nobody(work) -> int:
    """How a process ended that did this work as somebody who may not write everywhere, as root may."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            if os.geteuid() == 0:
                os.setuid(65534)
            code = work()
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.skipif(not hasattr(os, "fork"), reason="folders are locked another way")
@pytest.mark.parametrize("begun", [False, True])
def test_a_locked_folder_is_told_before_anything_is_measured(cli, whole, monkeypatch, begun):
    # pytest's own folders are locked for everybody else already.
    with tempfile.TemporaryDirectory() as place:
        here = Path(place)
        here.chmod(0o777)
        monkeypatch.chdir(here)
        (here / "haul").mkdir()
        (here / "haul" / "a.jpg").write_text("1")
        if begun:
            assert cli.run("batch", "haul", "--no-ledger").exit_code == 0
        before = content(here / "haul")
        for folder in (here / "haul", here / "haul" / "graded"):
            if folder.exists():
                folder.chmod(0o555)

        def work():
            ran = cli.run("batch", "haul", "--no-ledger")
            (here / "told").write_text(f"{len(cli.asked)}\n{one_line(ran)}")
            return ran.exit_code

        assert as_nobody(work) == 1
        measured, line = (here / "told").read_text().splitlines()
        assert measured == "0"
        assert line == (
            "grader: haul/graded: cannot be written (Permission denied); choose another folder"
        )
        assert content(here / "haul") == before


def test_results_that_are_taken_away_while_they_are_written_are_told(
    cli, whole, tmp_path, monkeypatch
):
    graded = tmp_path / "haul" / "graded"
    write = outfolder.OutFolder.write

    def taken_before(name_of_last):
        def run(folder, name, text):
            if name == name_of_last:
                shutil.rmtree(graded, ignore_errors=True)
            return write(folder, name, text)

        return run

    for name in ("results.csv", "sheet.html"):
        with monkeypatch.context() as patch:
            patch.setattr(outfolder.OutFolder, "write", taken_before(name))
            ran = cli.run("batch", "haul")
        assert "was taken away while results were written; run this again" in one_line(ran)
        assert half_written(tmp_path) == []
    assert cli.run("batch", "haul").exit_code == 0
    assert content(graded) == whole


def test_a_folder_of_photos_that_is_taken_away_midway_is_told_photo_by_photo(
    cli, whole, tmp_path, monkeypatch
):
    def taken(work, jobs, workers):
        shutil.move(tmp_path / "haul", tmp_path / "away")
        return workers_module.spread(work, jobs, workers)

    with monkeypatch.context() as patch:
        patch.setattr(looking, "spread", taken)
        ran = cli.run("batch", "haul", "--out", "results")
    assert ran.exit_code == 1
    lines = [line for line in ran.stderr.splitlines() if ".jpg" in line]
    assert len(lines) == 2, ran.stderr
    shutil.move(tmp_path / "away", tmp_path / "haul")
    assert cli.run("batch", "haul", "--out", "results").exit_code == 0


@pytest.mark.slow
def test_a_photo_that_changes_while_it_is_read_is_told_and_nothing_of_it_is_kept(
    cli, whole, tmp_path, monkeypatch
):
    def changing(work, jobs, workers):
        (tmp_path / "haul" / "a.jpg").write_text("3")
        return workers_module.spread(work, jobs, workers)

    with monkeypatch.context() as patch:
        patch.setattr(looking, "spread", changing)
        ran = cli.run("batch", "haul")
    assert ran.exit_code == 1
    (line,) = [line for line in ran.stderr.splitlines() if "a.jpg" in line]
    assert "a.jpg: changed while it was looked at; run it again once it is copied" in line
    assert len(cli.facts("measured")) == 1
    assert cli.run("batch", "haul").exit_code == 0
    assert len(cli.facts("measured")) == 2


def test_no_large_picture_is_cut_from_a_photo_that_changed_since(
    tmp_path, monkeypatch, make_graded
):
    made = make_graded(1).photo
    monkeypatch.setattr(batch_module, "read_photo", lambda path: made)
    assert batch_module._same_photo(tmp_path / "a.jpg", made.sha256) is made
    assert batch_module._same_photo(tmp_path / "a.jpg", "0" * 64) is None


def test_a_clock_that_goes_backwards_changes_nothing(cli, whole, tmp_path, monkeypatch):
    now, back = time.time, itertools.count(1)
    told = datetime.datetime(2031, 3, 2, 12, tzinfo=datetime.UTC)

    def earlier() -> str:
        return (told - datetime.timedelta(days=next(back))).isoformat(timespec="seconds")

    with monkeypatch.context() as patch:
        # A day further back each time that it is asked.
        patch.setattr(time, "time", lambda: now() - 86400 * next(back))
        patch.setitem(Session.__init__.__kwdefaults__, "clock", earlier)
        first = cli.run("batch", "haul", "--ledger", "now.sqlite")
        again = cli.run("batch", "haul", "--ledger", "now.sqlite")
    assert (first.exit_code, again.exit_code) == (0, 0), first.output + again.output
    assert "2 photos known before" in again.stderr
    times = [entry.time for entry in cli.facts("measured", ledger=tmp_path / "now.sqlite")]
    assert len(times) == 2 and times[0] > times[1]
    # The sheet tells its day, and the list the sheet's hash.
    results, day = content(tmp_path / "haul" / "graded"), re.compile(rb"20\d\d-\d\d-\d\d")
    for of in (results, whole):
        of.pop(outfolder.LIST)
        of["sheet.html"] = day.sub(b"DAY", of["sheet.html"])
    assert results == whole
