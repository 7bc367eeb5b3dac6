import json
import multiprocessing
from pathlib import Path

import pytest

from grader.errors import CallsError
from grader.grading.calls import (
    MOST_TOLD,
    RowRemark,
    append_calls,
    known_grade,
    known_scene,
    read_calls,
    remark_lines,
)
from grader.grading.proposal import Call

GRADES = ("waste", "tumbling", "cabbing", "select")


def _call(piece=1, grade="select", **changed):
    fields = dict(photo="a/b.jpg", sha256="f" * 64, piece=piece, box=(1, 2, 30, 40), grade=grade)
    rest = dict(scene=70, by="Ada", time="2024-05-01T10:00:00+02:00", note="blau, später: «schön»")
    return Call(**{**fields, **rest, **changed})


def test_calls_come_back_as_they_were_said(tmp_path):
    path = tmp_path / "calls.jsonl"
    first, second = _call(), _call(2, None, scene=None, by=None, note=None)
    assert append_calls(path, [first]) == ()
    assert append_calls(path, [second]) == ()
    assert list(read_calls(path)) == [first, second]
    assert len(path.read_text("utf-8").splitlines()) == 2


def test_no_file_is_no_calls(tmp_path):
    assert len(read_calls(tmp_path / "calls.jsonl")) == 0


def test_a_half_written_last_line_is_kept_aside_and_told(tmp_path):
    path = tmp_path / "calls.jsonl"
    append_calls(path, [_call(), _call(2)])
    whole = path.read_bytes()
    path.write_bytes(whole[:-25])
    read = read_calls(path)
    assert list(read) == [_call()]
    assert [remark.line for remark in read.refused] == [2]
    told = append_calls(path, [_call(3)])
    assert "line 2" in str(told[0]) and "calls.jsonl.broken" in str(told[0])
    assert list(read_calls(path)) == [_call(), _call(3)]
    assert (tmp_path / "calls.jsonl.broken").read_bytes().strip() == whole[:-25].splitlines()[1]


def test_a_last_line_that_only_lacks_its_end_is_kept_in_place(tmp_path):
    path = tmp_path / "calls.jsonl"
    append_calls(path, [_call()])
    path.write_bytes(path.read_bytes()[:-1])
    assert append_calls(path, [_call(2)]) == ()
    assert list(read_calls(path)) == [_call(), _call(2)]


@pytest.mark.parametrize(
    "changed",
    [{"photo": 5}, {"time": None}, {"scene": "high"}, {"grade": 3}, {"piece": True}, {"box": "1"}],
)
def test_a_line_with_a_value_of_another_kind_holds_no_call(tmp_path, changed):
    path = tmp_path / "calls.jsonl"
    append_calls(path, [_call()])
    row = json.loads(path.read_text("utf-8")) | changed
    path.write_text(json.dumps(row) + "\n", "utf-8")
    read = read_calls(path)
    assert len(read) == 0 and [remark.line for remark in read.refused] == [1]


def test_a_spoilt_line_in_the_middle_is_told_and_the_rest_is_read(tmp_path):
    path = tmp_path / "calls.jsonl"
    append_calls(path, [_call(), _call(2), _call(3)])
    lines = path.read_text("utf-8").splitlines()
    lines[1] = json.dumps({"photo": "x"})
    path.write_text("\n".join([*lines, ""]), "utf-8")
    read = read_calls(path)
    assert [call.piece for call in read] == [1, 3]
    assert read.refused[0].line == 2


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(CallsError, match=r"calls\.jsonl: cannot be written"):
        append_calls(tmp_path / "none" / "calls.jsonl", [_call()])


def _write_many(path, first):
    for piece in range(first, first + 40):
        append_calls(path, [_call(piece)])


def test_two_writers_lose_nothing(tmp_path):
    path = tmp_path / "calls.jsonl"
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_write_many, args=(path, n)) for n in (1, 101)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    pieces = sorted(call.piece for call in read_calls(path))
    assert pieces == [*range(1, 41), *range(101, 141)]


@pytest.mark.parametrize("word", ["select", " Select ", "SELECT"])
def test_a_grade_is_known_however_it_is_written(word):
    assert known_grade(word, GRADES) == "select"


def test_an_unknown_grade_is_told_with_the_nearest_name():
    with pytest.raises(ValueError, match=r"grade 'selekt' .*did you mean 'select'\?"):
        known_grade("selekt", GRADES)


@pytest.mark.parametrize(("text", "score"), [("0", 0), ("72", 72), ("72.0", 72), ("100,0", 100)])
def test_a_scene_score_is_whole_points(text, score):
    assert known_scene(text) == score


@pytest.mark.parametrize("text", ["101", "-1", "72.5", "high", "7e1"])
def test_other_scene_scores_are_refused(text):
    with pytest.raises(ValueError, match="whole number from 0 to 100"):
        known_scene(text)


def test_of_many_remarks_the_first_are_told_and_the_others_counted():
    remarks = [RowRemark(line, "says otherwise") for line in range(2, 100_002)]
    lines = remark_lines(Path("CALLS.csv"), remarks)
    assert len(lines) == MOST_TOLD + 1
    assert lines[0] == "CALLS.csv: line 2: says otherwise"
    assert lines[-1] == f"CALLS.csv: and {100_000 - MOST_TOLD} rows more of this kind"
    assert remark_lines(None, remarks[:1]) == ["says otherwise"]
