"""Calls beside the proposals, and those that meet no stone."""

from dataclasses import replace

from grader.face.line_words import LineWord
from grader.grading.proposal import Call
from grader.report.calls import lost_words, with_calls
from grader.report.result import photo_record

CALL = Call(
    "gone.jpg", "ab" * 32, 1, (0, 0, 5, 5), "select", None, None, "2026-03-02T10:11:12+01:00", None
)
UNDO = replace(CALL, grade=None, undo=True)
LINE = replace(CALL, grade=None, line=LineWord(3, ((0, 0), (4, 4)), "crack", None, None))


def lost(record, *calls):
    return [call for call, _ in with_calls([record], calls)[1]]


def test_what_was_taken_back_is_not_listed_as_a_call_without_a_stone(make_graded):
    record = photo_record(make_graded())
    second = replace(CALL, grade="waste")
    assert lost(record, CALL, UNDO) == []
    assert lost(record, CALL, second, UNDO) == [CALL]
    assert lost(record, UNDO, CALL) == [CALL]
    assert lost(record, LINE, replace(LINE, line=replace(LINE.line, says="unsaid"))) == []
    # An undo speaks of the stone, not of a word on its line, nor of another stone.
    assert lost(record, LINE, UNDO) == [LINE]
    assert lost(record, replace(CALL, box=(90, 90, 5, 5)), UNDO) == [
        replace(CALL, box=(90, 90, 5, 5))
    ]


def test_calls_on_photos_that_are_not_here_are_one_line(make_graded):
    record = photo_record(make_graded())
    away = [replace(CALL, photo=f"{n}.jpg", sha256=f"{n}" * 64) for n in range(5)]
    here = replace(CALL, photo="a.jpg", sha256=record["photo"]["sha256"])
    _, calls = with_calls([record], [*away, here])
    told = lost_words([record], calls)
    assert told[0].startswith("call without a stone: select (a.jpg: no stone overlaps")
    assert told[1:] == ["5 calls are on photos that are not here: 0.jpg, 1.jpg, 2.jpg and 2 more"]
