"""Whole files or nothing."""

import os

import pytest

from grader.errors import GraderError
from grader.files import (
    parse_json,
    read_number,
    read_table,
    regular_bytes,
    write_bytes,
    write_new,
    write_text,
)


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
    lines = ["Photo,x", "a.jpg, 1 ,,", "", "b.jpg"]
    table.write_text("\n".join(lines).replace(",", mark) + "\n", "utf-8-sig")
    assert read_table(table, ("photo", "x"), GraderError) == [
        (2, {"photo": "a.jpg", "x": "1"}),
        (4, {"photo": "b.jpg", "x": ""}),
    ]
    with pytest.raises(GraderError, match="no column 'y'; the first line must name x and y"):
        read_table(table, ("x", "y"), GraderError)


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


COLUMNS = ("photo", "piece", "grade", "scene")
HEAD = "photo,piece,grade,scene,note\n"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        # The seller forgets to close a mark: all rows below would stand in the first one's note.
        (f'{HEAD}a.jpg,1,select,90,"nice\na.jpg,1,waste,10,\na.jpg,1,tumbling,30,\n', "line 2: a quot"),
        (f'{HEAD}a.jpg,1,,90,x\na.jpg,1,,90,"nice\na.jpg,1,,10,\na.jpg,1,,10,ok"\n', "line 3: a quot"),
        (f'{HEAD}a.jpg,1,select,90,"blue" one\n', "line 2: a quot"),
        (f'{HEAD}a.jpg,1,select,90,"nice\na.jpg,1,waste,10,"blue"\n', "line 2: a quot"),
        ("photo;piece;grade;scene\na.jpg,1,select,90\n", "line 2: cells are not parted by ';'"),
        ("photo,piece,grade,scene\na.jpg,1,waste,\na.jpg;1;select;90\n", "line 3: cells are not parted"),
        ("photo,piece,grade,scene\na.jpg\t1\tselect\t90\n", "line 2: cells are not parted by ','"),
        ("photo,piece,grade,scene,Grade\na.jpg,1,select,90,\n", "two columns are called 'grade'"),
        (f"{HEAD}a.jpg,1,,9,ok\na.jpg,1,,9,blue, white\na.jpg,1,,9,a,b,c\n", "lines 3 and 4: more cells"),
        (f"{HEAD}a.jpg,1,select,90,ni\rce\n", "line 2: new-line"),
        (f"{HEAD}a.jpg,1,select,90,\na.jpg,\0\n", "line 3 holds a NUL"),
        (f"{HEAD}a.jpg,1,select,90,{'x' * 20_000}\n", "line 2: a cell of more than 10000 letters"),
        (f"{HEAD}a.jpg,1,select,90,{'x' * 200_000}\n", "line 2: field larger than field limit"),
    ],
)  # fmt: skip
def test_a_table_from_which_a_row_or_cell_would_be_lost_is_refused_with_its_line(
    tmp_path, text, reason
):
    table = tmp_path / "t.csv"
    table.write_text(text, "utf-8", newline="")
    with pytest.raises(GraderError) as err:
        read_table(table, COLUMNS, GraderError)
    assert str(err.value).startswith(f"{table}: ") and reason in str(err.value)
    assert "\n" not in str(err.value) and len(str(err.value)) < 400


def test_lines_and_quotation_marks_within_a_cell_are_taken_as_they_are(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text(f'{HEAD}a.jpg,1,select,90,"blue, white\nand ""sold"""\nb.jpg,1,,5,\n', "utf-8")
    rows = read_table(table, COLUMNS, GraderError)
    assert rows[0][1]["note"] == 'blue, white\nand "sold"'
    assert [line for line, _ in rows] == [2, 4]


def test_a_table_whose_lines_end_as_on_an_old_machine_is_read(tmp_path):
    (tmp_path / "t.csv").write_bytes(b"photo,x\ra.jpg,1\rb.jpg,2\r")
    rows = read_table(tmp_path / "t.csv", ("photo", "x"), GraderError)
    assert rows == [(2, {"photo": "a.jpg", "x": "1"}), (3, {"photo": "b.jpg", "x": "2"})]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_what_is_no_file_on_a_disk_is_refused_before_it_is_opened(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "zero.csv").symlink_to("/dev/zero")
    (tmp_path / "folder.csv").mkdir()
    for name, reason in (
        ("pipe.csv", "not a file on a disk"),
        ("zero.csv", "not a file on a disk"),
        ("folder.csv", "a folder, not a file"),
    ):
        with pytest.raises(GraderError, match=rf"{name}: cannot be read \({reason}\)"):
            read_table(tmp_path / name, COLUMNS, GraderError)


def test_a_file_above_its_limit_is_refused(tmp_path):
    (tmp_path / "a").write_bytes(b"12345")
    assert regular_bytes(tmp_path / "a", 5) == b"12345"
    with pytest.raises(OSError, match="larger than 4e-06 MB"):
        regular_bytes(tmp_path / "a", 4)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_a_pipe_or_a_device_is_never_replaced_by_a_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(GraderError, match="something that is no file has that name"):
        write_text(tmp_path / "pipe", "new")
    assert (tmp_path / "pipe").is_fifo()


def test_a_table_to_fill_in_never_takes_the_place_of_one_that_is_filled(tmp_path):
    write_new(tmp_path / "ask.csv", "empty")
    (tmp_path / "ask.csv").write_text("filled")
    with pytest.raises(GraderError, match=r"ask\.csv is there already; choose another name"):
        write_new(tmp_path / "ask.csv", "empty")
    assert (tmp_path / "ask.csv").read_text() == "filled"


@pytest.mark.parametrize("text", ["[NaN]", "[-Infinity]", "[" * 100_000, "{", "9" * 5000])
def test_json_that_no_program_of_ours_writes_is_one_error(text):
    with pytest.raises(ValueError) as err:
        parse_json(text)
    assert "\n" not in str(err.value)


def test_a_number_of_hundreds_of_digits_is_told_in_short():
    with pytest.raises(ValueError) as err:
        read_number("9" * 400)
    assert "is no number" in str(err.value) and len(str(err.value)) < 120
