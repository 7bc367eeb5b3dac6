import time

import pytest

from grader.errors import CallsError
from grader.grading.calls.calls_csv import read_calls_csv

GRADES = ("waste", "tumbling", "cabbing", "select")
NOW = "2024-05-01T10:00:00+02:00"


@pytest.fixture
def read(tmp_path):
    def run(text, encoding="utf-8"):
        path = tmp_path / "CALLS.csv"
        path.write_bytes(text.encode(encoding))
        return read_calls_csv(path, GRADES, NOW)

    return run


def test_columns_go_by_name_and_others_are_left_alone(read):
    got = read("scene,verdict,grade,piece,photo\n70,usable,select,2,a.jpg\n")
    (call,) = got.calls
    assert (call.photo, call.piece, call.grade, call.scene) == ("a.jpg", 2, "select", 70)
    assert (call.sha256, call.box, call.by, call.note) == (None, None, None, None)
    assert call.time == NOW
    assert got.lines == (2,)


def test_a_column_time_of_the_sellers_own_is_left_alone(read):
    (call,) = read("photo,piece,grade,scene,time\na.jpg,1,select,,after lunch\n").calls
    assert call.time == NOW


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("mark", [",", ";"])
def test_comma_or_semicolon_with_or_without_byte_order_mark(read, encoding, mark):
    text = "photo,piece,grade,scene,by\nBüro/größe.jpg,1,Cabbing,,Zoë\n".replace(",", mark)
    (call,) = read(text, encoding).calls
    assert (call.photo, call.grade, call.scene, call.by) == (
        "Büro/größe.jpg",
        "cabbing",
        None,
        "Zoë",
    )


@pytest.mark.parametrize("box", ['"1,2,30,40"', "1 2 30 40", '"[1, 2, 30, 40]"'])
def test_what_the_sheet_adds_is_read(read, box):
    text = f'photo,sha256,piece,box,grade,scene,note\r\na.jpg,ffff,1,{box},waste,5,"two\nlines"\r\n'
    (call,) = read(text).calls
    assert (call.sha256, call.box, call.note) == ("ffff", (1, 2, 30, 40), "two\nlines")


def test_a_row_that_says_nothing_is_no_call(read):
    got = read("photo,piece,proposed_grade,grade,scene\na.jpg,1,select,,\nb.jpg,1,waste, ,\n")
    assert got.calls == () and got.refused == ()


def test_bad_rows_are_refused_one_by_one_with_line_and_reason(read):
    got = read(
        "photo,piece,grade,scene\n"
        "a.jpg,1,selekt,\n"
        "a.jpg,1,select,140\n"
        ",1,select,\n"
        "a.jpg,first,select,\n"
        "a.jpg,1,select,40\n"
        "a.jpg\n"
    )
    assert [call.scene for call in got.calls] == [40]
    refusals = [str(row) for row in got.refused]
    assert [t.split(":")[0] for t in refusals] == ["line 2", "line 3", "line 4", "line 5"]
    assert "did you mean 'select'?" in refusals[0]
    assert "from 0 to 100" in refusals[1]
    assert "no photo named" in refusals[2]
    assert "the number drawn on the stone" in refusals[3]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("photo,grade,scene\n", "no column 'piece'"),
        ("", "no column 'photo'"),
    ],
)
def test_a_table_without_its_columns_is_refused(read, text, words):
    with pytest.raises(CallsError, match=words):
        read(text)


def test_a_table_in_another_encoding_is_refused(read):
    with pytest.raises(CallsError, match="not UTF-8"):
        read("photo,piece,grade,scene\ngröße.jpg,1,select,\n", "latin-1")


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(CallsError, match=r"none\.csv: no such file"):
        read_calls_csv(tmp_path / "none.csv", GRADES, NOW)


@pytest.mark.slow
def test_a_hundred_thousand_rows_are_read_in_seconds(read):
    rows = "".join(f"p{i % 5000}.jpg,{i % 7 + 1},select,{i % 101}\n" for i in range(100_000))
    start = time.process_time()
    assert len(read("photo,piece,grade,scene\n" + rows).calls) == 100_000
    assert time.process_time() - start < 10


@pytest.mark.parametrize(
    ("photo", "piece", "box", "reason"),
    [
        ("a.jpg", "1", f"1 2 {'9' * 400} 4", "line 2: box "),
        ("a.jpg", "1", "1 2 30 999999999", "is larger than any photo"),
        ("a.jpg", "9" * 400, "", "line 2: piece "),
        ("ä" * 200, "1", "", "no file has a name so long"),
        ("b/" * 700 + "a.jpg", "1", "", "no file has a name so long"),
    ],
)
def test_numbers_and_names_that_no_photo_has_are_told_in_short(read, photo, piece, box, reason):
    got = read(f"photo,piece,grade,scene,box\n{photo},{piece},select,,{box}\nb.jpg,1,waste,,\n")
    (refused,) = got.refused
    assert reason in str(refused) and len(str(refused)) < 200
    assert [call.photo for call in got.calls] == ["b.jpg"]


def test_a_mark_that_is_not_closed_takes_no_call_in(read):
    # The attack's table: three calls stood in the note of the first, and one was added.
    rows = 'a.jpg,1,select,90,"nice\na.jpg,1,waste,10,\na.jpg,1,cabbing,20,\na.jpg,1,tumbling,30,\n'
    with pytest.raises(CallsError, match=r"CALLS\.csv: line 2: a quotation mark"):
        read(f"photo,piece,grade,scene,note\n{rows}")
