"""Whole files or nothing."""

import os

import pytest

from grader.errors import GraderError
from grader.files import append_lines, read_number, read_table, write_bytes, write_text


def test_a_file_is_written_with_its_folder(tmp_path):
    write_text(tmp_path / "new" / "a.txt", "größe\n")
    assert (tmp_path / "new" / "a.txt").read_bytes() == "größe\n".encode()


def test_a_write_that_fails_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    write_text(tmp_path / "a.txt", "old")

    def fail(*names):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(GraderError, match=r"a\.txt: cannot be written \(No space left on device\)"):
        write_text(tmp_path / "a.txt", "new")
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("a.txt", "old")]


def test_a_disk_that_is_full_leaves_no_rest(tmp_path, monkeypatch):
    def fail(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(GraderError, match="cannot be written"):
        write_bytes(tmp_path / "a.bin", b"new")
    assert list(tmp_path.iterdir()) == []


def test_a_place_below_a_file_is_refused_in_one_line(tmp_path):
    write_text(tmp_path / "a", "old")
    with pytest.raises(GraderError, match=r"cannot be written .*; choose another place") as err:
        write_text(tmp_path / "a" / "b", "new")
    assert "\n" not in str(err.value)
    assert err.value.code == "output"


@pytest.mark.skipif(os.name != "posix", reason="file modes of POSIX")
def test_a_finished_file_is_readable_as_any_other(tmp_path):
    (tmp_path / "other").write_text("x")
    write_text(tmp_path / "a", "x")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "other").stat().st_mode


@pytest.mark.parametrize("mark", [",", ";"])
def test_a_table_is_read_by_column_and_line_as_an_editor_counts(tmp_path, mark):
    table = tmp_path / "t.csv"
    lines = ["Photo,x", "a.jpg, 1 ,more", "", "b.jpg"]
    table.write_text("\n".join(lines).replace(",", mark) + "\n", "utf-8-sig")
    assert read_table(table, ("photo", "x"), GraderError) == [
        (2, {"photo": "a.jpg", "x": "1"}),
        (4, {"photo": "b.jpg", "x": ""}),
    ]
    with pytest.raises(GraderError, match="no column 'y'; the first line must name x and y"):
        read_table(table, ("x", "y"), GraderError)


def test_half_a_last_line_is_set_aside_and_a_whole_one_ended(tmp_path):
    log = tmp_path / "log.jsonl"
    log.write_bytes('{"a": 1}\n{"b": "grö'.encode()[:-1])
    assert append_lines(log, ['{"c": 3}']) == 2
    assert log.read_text() == '{"a": 1}\n{"c": 3}\n'
    assert (tmp_path / "log.jsonl.broken").read_bytes() == b'{"b": "gr\xc3\n'
    log.write_text('{"a": 1}')
    assert append_lines(log, ["2", "3"]) is None
    assert log.read_text() == '{"a": 1}\n2\n3\n'


def test_lines_that_cannot_be_added_are_one_clear_line(tmp_path):
    with pytest.raises(GraderError, match=r"log\.jsonl: cannot be written .*another folder"):
        append_lines(tmp_path / "none" / "log.jsonl", ["{}"])


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12.5", 12.5),
        (" 12,5 ", 12.5),
        ("0,085", 0.085),
        ("-3,25", -3.25),
        ("1500", 1500),
        (",5", 0.5),
    ],
)
def test_decimals_stand_behind_a_point_or_a_comma(text, number):
    assert read_number(text) == number


@pytest.mark.parametrize("text", ["1,500", "12,345", "-1,500"])
def test_a_number_that_can_be_read_in_two_ways_is_refused_with_both(text):
    with pytest.raises(ValueError, match="may be a thousand or a decimal; write") as err:
        read_number(text)
    assert text.replace(",", "") in str(err.value) and text.replace(",", ".") in str(err.value)


@pytest.mark.parametrize("text", ["", "wide", "1.234,5", "1,234.5", "1,2,3", "1_000", "nan", "inf"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match=r"is no number; write it as 12\.5"):
        read_number(text)


def test_a_table_that_is_not_there_is_told_so(tmp_path):
    with pytest.raises(GraderError, match=r"t\.csv: no such file; check its name and place"):
        read_table(tmp_path / "t.csv", ("photo",), GraderError)
