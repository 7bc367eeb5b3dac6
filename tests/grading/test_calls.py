"""Words of a table of calls, and what is told of its rows."""

from pathlib import Path

import pytest

from grader.grading.calls.calls import (
    MOST_REMARKS,
    RowRemark,
    known_grade,
    known_scene,
    remark_lines,
)

GRADES = ("waste", "tumbling", "cabbing", "select")


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
    assert len(lines) == MOST_REMARKS + 1
    assert lines[0] == "CALLS.csv: line 2: says otherwise"
    assert lines[-1] == f"CALLS.csv: and {100_000 - MOST_REMARKS} rows more of this kind"
    assert remark_lines(None, remarks[:1]) == ["says otherwise"]
