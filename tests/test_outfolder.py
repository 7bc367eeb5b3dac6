"""A folder of results: the tool's own it renews, the seller's are never lost."""

import os
import shutil
from pathlib import Path

import pytest

from grader import outfolder
from grader.errors import GraderError
from grader.outfolder import LIST, OutFolder, is_out_folder


@pytest.fixture
def out(tmp_path):
    (tmp_path / "p1").mkdir()
    return tmp_path / "p1" / "graded"


def again(out) -> OutFolder:
    """The folder as the next run finds it."""
    return OutFolder(out, of=out.parent)


def names(out) -> set[str]:
    return {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()} - {LIST}


def test_its_own_results_are_replaced_without_a_word(out):
    assert again(out).write("results.csv", b"one") is None
    assert again(out).write("results.csv", b"two") is None
    assert (out / "results.csv").read_bytes() == b"two" and names(out) == {"results.csv"}


def test_a_filled_table_is_kept_and_told_how_to_take_it_in(out):
    again(out).write("results.csv", b"photo,grade\na.jpg,\n")
    (out / "results.csv").write_bytes(b"photo,grade\na.jpg,waste\n")
    kept = again(out).write("results.csv", b"photo,grade\na.jpg,\n")
    assert kept.path == out / "results (yours).csv"
    assert kept.path.read_bytes() == b"photo,grade\na.jpg,waste\n"
    assert (out / "results.csv").read_bytes() == b"photo,grade\na.jpg,\n"
    assert f"kept as {kept.path}" in str(kept) and f"grader call --from '{kept.path}'" in str(kept)
    (out / "results.csv").write_bytes(b"filled again")
    second = again(out).write("results.csv", b"photo,grade\na.jpg,\n")
    assert second.path == out / "results (yours 2).csv"
    assert (
        kept.path.read_bytes().endswith(b"waste\n") and second.path.read_bytes() == b"filled again"
    )


def test_a_table_that_was_filled_with_what_the_tool_would_write_is_no_change(out):
    again(out).write("results.csv", b"one")
    (out / "results.csv").write_bytes(b"two")
    assert again(out).write("results.csv", b"two") is None
    assert names(out) == {"results.csv"}


def test_results_of_another_photo_folder_are_refused_and_stay(tmp_path):
    for name in ("p1", "p2"):
        (tmp_path / name).mkdir()
    OutFolder(tmp_path / "all", of=tmp_path / "p1").write("results.jsonl", b"p1")
    with pytest.raises(GraderError, match=r"all: holds the results of .*p1; choose another") as err:
        OutFolder(tmp_path / "all", of=tmp_path / "p2")
    assert "\n" not in str(err.value)
    assert (tmp_path / "all" / "results.jsonl").read_bytes() == b"p1"


def test_photos_that_are_moved_with_their_results_are_the_same(tmp_path, out, monkeypatch):
    again(out).write("a", b"1")
    out.parent.rename(tmp_path / "spring")
    assert OutFolder(tmp_path / "spring" / "graded", of=tmp_path / "spring").holds("a")
    monkeypatch.chdir(tmp_path)
    assert OutFolder("spring/graded", of="spring").holds("a")
    (tmp_path / "link").symlink_to(tmp_path / "spring")
    assert OutFolder("spring/graded", of="link").holds("a")


def test_files_that_were_there_before_are_never_lost(tmp_path):
    (tmp_path / "p1").mkdir()
    own = tmp_path / "own"
    (own / ".pictures").mkdir(parents=True)
    mine = {".pictures/holiday.jpg", "sheet-2024.html", "results.csv", "sheet.html"}
    for name in mine:
        (own / name).write_text(f"my {name}")
    folder = OutFolder(own, of=tmp_path / "p1")
    kept_files = [
        folder.write(name, b"ours") for name in ("results.csv", "sheet.html", ".pictures/1.jpg")
    ]
    folder.keep_only(["results.csv", "sheet.html", ".pictures/1.jpg"])
    assert [kept and kept.path.name for kept in kept_files] == [
        "results (yours).csv", "sheet (yours).html", None,
    ]  # fmt: skip
    contents = {path.read_text() for path in own.rglob("*") if path.is_file()}
    assert {f"my {name}" for name in mine} <= contents


def test_pictures_that_are_needed_no_more_go_but_only_the_tools_own(out):
    folder = again(out)
    for name in ("a", "b", "c", "d"):
        folder.write(f".pictures/{name}.jpg", name.encode())
    (out / ".pictures" / "b.jpg").write_bytes(b"drawn into by the seller")
    (out / ".pictures" / "mine.jpg").write_bytes(b"mine")
    (out / ".pictures" / "d.jpg").unlink()
    folder = again(out)
    assert folder.holds(".pictures/c.jpg") and not folder.holds(".pictures/b.jpg")
    assert not folder.holds(".pictures/d.jpg") and not folder.holds(".pictures/mine.jpg")
    folder.keep_only([".pictures/c.jpg"])
    assert names(out) == {f".pictures/{name}.jpg" for name in ("b", "c", "mine")}
    assert again(out).write(".pictures/b.jpg", b"new").path.read_bytes().startswith(b"drawn")


def test_the_list_does_not_grow_from_run_to_run(out):
    for content in (b"1", b"2", b"3", b"4"):
        folder = again(out)
        folder.write("a", content)
        folder.keep_only(["a"])
    assert len((out / LIST).read_text().splitlines()) == 2 and again(out).holds("a")


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is killed in the midst")
def test_killed_at_any_step_no_file_of_the_tool_is_taken_for_the_sellers(
    tmp_path, out, monkeypatch
):
    def run(folder, content):
        kept = [folder.write(name, content) for name in ("results.csv", ".pictures/1.jpg")]
        folder.keep_only(["results.csv", ".pictures/1.jpg"])
        return kept

    run(again(out), b"old")
    steps = []

    def killing(number):
        for module, name in ((os, "replace"), (os, "rename"), (os, "fsync"), (os, "mkdir")):
            call = getattr(module, name)

            def step(*args, call=call, **named):
                steps.append(call)
                if len(steps) == number:
                    os._exit(9)
                return call(*args, **named)

            monkeypatch.setattr(module, name, step)

    for number in range(1, 40):
        place = tmp_path / str(number) / "graded"
        shutil.copytree(out, place)
        child = os.fork()
        if child == 0:
            killing(number)
            run(again(place), b"new")
            os._exit(0)
        killed = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
        assert (place / "results.csv").read_bytes() in (b"old", b"new")
        assert run(again(place), b"third") == [None, None], number
        if not killed:
            break
    assert 8 < number < 39


def test_half_a_line_in_the_list_loses_no_later_one(out):
    again(out).write("a", b"1")
    with open(out / LIST, "ab") as file:
        file.write(b'{"name": "b", "sha')
    again(out).write("c", b"3")
    assert again(out).holds("a") and again(out).holds("c") and not again(out).holds("b")


@pytest.mark.parametrize(
    "text",
    ["[" * 100_000, "[]", '{"name": "../x", "sha256": 5}', '{"name": "\\u0000"}', "\x00\xff"],
)
def test_a_list_that_others_wrote_removes_nothing_outside(out, text):
    out.mkdir()
    (out.parent / "x").write_text("mine")
    (out / LIST).write_text(text)
    folder = again(out)
    folder.write("a", b"1")
    folder.keep_only([])
    assert (out.parent / "x").read_text() == "mine"


@pytest.mark.parametrize("name", ["../a", "/a", "", LIST, "a/../../b"])
def test_no_result_is_written_outside_the_folder(out, name):
    with pytest.raises(ValueError, match="no name of a result"):
        again(out).write(name, b"")


def test_a_folder_or_link_by_the_name_of_a_result_is_moved_aside(tmp_path, out):
    (out / "results.csv").mkdir(parents=True)
    (out / "results.csv" / "mine").write_text("mine")
    (tmp_path / "photo.jpg").write_text("original")
    (out / "sheet.html").symlink_to(tmp_path / "photo.jpg")
    again(out).write("results.csv", b"1")
    again(out).write("sheet.html", b"1")
    assert (out / "results (yours).csv" / "mine").read_text() == "mine"
    assert (tmp_path / "photo.jpg").read_text() == "original"


def test_a_place_that_cannot_be_written_to_is_one_line(tmp_path, monkeypatch):
    (tmp_path / "p1").write_text("a file")
    with pytest.raises(GraderError, match=r"cannot be (read|written)") as err:
        OutFolder(tmp_path / "p1" / "graded", of=tmp_path).write("a", b"1")
    assert "\n" not in str(err.value)
    folder = OutFolder(tmp_path / "out", of=tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a").write_text("mine")

    def fail(*_):
        raise OSError(13, "Permission denied")

    monkeypatch.setattr(outfolder.os, "rename", fail)
    with pytest.raises(GraderError, match=r"a: is yours and cannot be moved aside \(Permission"):
        folder.write("a", b"1")
    assert (tmp_path / "out" / "a").read_text() == "mine"


def test_a_folder_of_results_is_known(out):
    assert not is_out_folder(out)
    again(out).write("a", b"1")
    assert is_out_folder(out)


def test_what_a_killed_run_left_half_written_goes_at_the_next_start_and_nothing_else(tmp_path):
    OutFolder(tmp_path / "out", tmp_path).write("pictures/a.txt", b"a")
    folder = tmp_path / "out"
    # As Python's tempfile names them: eight of a to z, 0 to 9 and _.
    left = [folder / ".x1_abcde.part", folder / "pictures/.x2_abcde.part"]
    own = [folder / name for name in ("mine.part", ".holiday film.part", "sub/.x3_abcde.part")]
    (folder / "sub").mkdir()
    for path in (*left, *own):
        path.write_bytes(b"half")
    # Written before the clock was set back.
    os.utime(left[1], (2**32, 2**32))
    OutFolder(folder, tmp_path)
    assert [path.exists() for path in (*left, *own)] == [False, False, True, True, True]


def test_a_file_is_written_again_whose_half_another_run_took_away(tmp_path, monkeypatch):
    replace, taken = os.replace, []

    def take_once(part, path):
        if not taken:
            taken.append(part)
            Path(part).unlink()
        replace(part, path)

    monkeypatch.setattr(os, "replace", take_once)
    OutFolder(tmp_path / "out", tmp_path).write("a", b"whole")
    assert taken and (tmp_path / "out" / "a").read_bytes() == b"whole"
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [LIST, "a"]


def test_a_folder_that_is_taken_away_midway_is_told_and_begins_with_whose_it_is(tmp_path, out):
    folder = again(out)
    folder.write("a", b"1")
    shutil.rmtree(out)
    folder.write("b", b"2")
    with pytest.raises(GraderError, match="a: was taken away while results were written; run this"):
        folder.keep_only(["a", "b"])
    assert '"of"' in (out / LIST).read_text().splitlines()[0]
    assert again(out).holds("b")


def test_of_two_runs_that_write_at_once_neither_mixes_its_results_unsaid(out):
    one, other = again(out), again(out)
    one.write("results.csv", b"one")
    busy = "graded: another run writes its results there too; run this again once it is done"
    with pytest.raises(GraderError, match=busy):
        other.write("results.csv", b"other")
    other.write("sheet.html", b"other")
    with pytest.raises(GraderError, match=busy):
        one.keep_only(["results.csv"])
    # And the next one alone has all of it for its own.
    last = again(out)
    assert last.write("results.csv", b"last") is None
    last.keep_only(["results.csv"])
    assert names(out) == {"results.csv"}
