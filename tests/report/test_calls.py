"""Calls beside the proposals, and those that meet no stone."""

from dataclasses import replace

from grader.face.lines.line_words import LineWord
from grader.grading.features.facts import LineFacts, Position
from grader.grading.proposal import Call, Shown
from grader.report.calls import (
    lost_words,
    saved_line_words,
    saved_words,
    shown_of,
    with_calls,
)
from grader.report.result import photo_record

CALL = Call(
    "gone.jpg", "ab" * 32, 1, (0, 0, 5, 5), "select", None, None, "2026-03-02T10:11:12+01:00", None
)
LINE = replace(CALL, grade=None, line=LineWord(3, ((0, 0), (4, 4)), "crack", None, None))


def _on(record, number=1, **fields):
    """A call on a stone of that record."""
    piece = record["pieces"][number - 1]
    where = {"photo": "a.jpg", "sha256": record["photo"]["sha256"], "piece": number}
    where |= {"box": tuple(piece["box"]), "outline": tuple(map(tuple, piece["outline"]))}
    return replace(CALL, **where | fields)


def test_a_stone_holds_one_word_of_each_person_and_the_one_that_counts(make_graded):
    record = photo_record(make_graded(2))
    calls = [
        _on(record, by="Ada", grade="waste"),
        _on(record, by="Ada", grade="select", scene=70, stone="bucket 3"),
        _on(record, by="Ben", grade="cabbing", scene=20),
    ]
    ((joined,), lost) = with_calls([record], calls)
    first, second = joined["pieces"]
    assert [(call["by"], call["grade"], call["scene"]) for call in first["calls"]] == [
        ("Ada", "select", 70),
        ("Ben", "cabbing", 20),
    ]
    assert (first["call"]["by"], first["call"]["decided"]) == ("Ben", "last")
    assert first["call"]["stone"] == "bucket 3"
    assert (second["call"], second["calls"], lost) == (None, [], [])
    # What was proposed stays beside it, and the record that was joined as it was.
    assert first["proposal"] == record["pieces"][0]["proposal"]
    assert record["pieces"][0]["call"] is None
    ((joined,), _) = with_calls([record], calls, "Ada")
    assert (joined["pieces"][0]["call"]["by"], joined["pieces"][0]["call"]["decided"]) == (
        "Ada",
        "decider",
    )
    ((joined,), _) = with_calls([record], calls[:2], "Ada")
    assert joined["pieces"][0]["call"]["decided"] == "alone"


def test_the_scene_of_another_person_is_named_and_ones_own_is_not(make_graded):
    record = photo_record(make_graded())
    calls = [_on(record, by="Ben", scene=20), _on(record, by="Ada", grade="waste")]
    ((joined,), _) = with_calls([record], calls)
    call = joined["pieces"][0]["call"]
    assert (call["by"], call["grade"], call["scene"], call["scene_by"]) == (
        "Ada",
        "waste",
        20,
        "Ben",
    )
    assert [call["scene_by"] for call in joined["pieces"][0]["calls"]] == [None, None]


def test_joining_again_starts_anew(make_graded):
    record = photo_record(make_graded())
    ((once,), _) = with_calls([record], [_on(record, by="Ben"), _on(record, box=(900, 0, 9, 9))])
    assert [w["code"] for w in once["photo"]["warnings"]][-1:] == ["call_without_stone"]
    ((again,), _) = with_calls([once], [])
    assert (again["pieces"][0]["call"], again["pieces"][0]["calls"]) == (None, [])
    assert again["photo"]["warnings"] == record["photo"]["warnings"]


def test_a_word_on_a_line_is_no_call_on_its_stone(make_graded):
    record = photo_record(make_graded())
    ((joined,), lost) = with_calls([record], [replace(_on(record), grade=None, line=LINE.line)])
    assert (joined["pieces"][0]["calls"], lost) == ([], [])
    assert with_calls([record], [LINE])[1] == []


def test_what_a_record_says_of_a_stone_is_what_a_call_on_it_has_shown(make_graded):
    (piece,) = photo_record(make_graded())["pieces"]
    assert shown_of(piece) == Shown("cabbing", 54, "starter 01234567", "dry")
    (piece,) = photo_record(make_graded(verdict="retake"))["pieces"]
    assert shown_of(piece) == Shown(None, 54, None, "dry")


def test_what_was_saved_is_told_beside_what_is_proposed(make_graded):
    record = photo_record(make_graded())
    call = _on(record, by="Ada", scene=70)
    assert saved_words(call, record["pieces"][0]) == (
        "saved: a.jpg, stone 1: select, scene 70 by Ada; proposed is cabbing, scene 54 (starter 01234567)"
    )
    retake = photo_record(make_graded(verdict="retake"))["pieces"][0]
    assert saved_words(replace(call, by=None, scene=None), retake) == (
        "saved: a.jpg, stone 1: select; no grade is proposed from this photo"
    )


def test_a_word_on_a_line_is_told_with_what_it_changes(make_graded):
    before, same, now = (
        photo_record(make_graded(grade=g))["pieces"][0] for g in ("waste", "waste", "select")
    )
    call = replace(CALL, photo="a.jpg", by="Ada")
    shown = {"id": 3, "class": "crack", "length_px": 80.0, "length_mm": 16.0}
    line = shown, LineFacts("crack", 40.0, 0.9, Position("middle", "left"), False, 0.2)
    text = saved_line_words(call, line, "pattern", "after cutting", (before, now))
    known = "saved: a.jpg, stone 1, line 3 (crack, 16 mm, at the left edge): "
    assert (
        text
        == f"{known}a pattern line, found after cutting by Ada; proposed is now select, before waste"
    )
    for after in (same, None):
        text = saved_line_words(replace(call, by=None), line, "crack", None, (before, after))
        assert text == f"{known}a crack"


def test_calls_on_photos_that_are_not_here_are_one_line(make_graded):
    record = photo_record(make_graded())
    elsewhere = [replace(CALL, photo=f"{n}.jpg", sha256=f"{n}" * 64) for n in range(5)]
    here = replace(CALL, photo="a.jpg", sha256=record["photo"]["sha256"])
    _, calls = with_calls([record], [*elsewhere, here])
    lines = lost_words([record], calls)
    assert lines[0].startswith("call without a stone: select (a.jpg: no stone overlaps")
    assert lines[1:] == ["5 calls are on photos that are not here: 0.jpg, 1.jpg, 2.jpg and 2 more"]
