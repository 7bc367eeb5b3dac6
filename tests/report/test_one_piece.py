"""What is told of a piece with several faces: one grade, which face it is from, and never more than was seen."""

from dataclasses import replace

from grader.grading.proposal import SceneEstimate
from grader.profile import load_profile
from grader.report.one_piece import Face, from_words, one_piece_record, one_piece_text
from grader.report.result import photo_record

BANDED = load_profile()


def face(make_graded, file, lines=(), state="wet", **given):
    graded = make_graded(name=file, lines=lines)
    stone = photo_record(graded)["pieces"][0]
    stone["state"]["value"] = state
    return Face(file, "0" * 64, stone, replace(graded.pieces[0].facts, **given))


def piece_of(make_graded, *faces):
    proposal = make_graded().pieces[0].proposal
    return one_piece_record(faces, (SceneEstimate(54, 41, 67), proposal), None)


def told(piece, **proposal):
    changed = piece | {"proposal": piece["proposal"] and piece["proposal"] | proposal}
    return one_piece_text({"piece": changed, "call": None, "calls": []}, BANDED)


def test_the_worst_face_is_named_and_where_lines_are_seen(make_graded, crack):
    piece = piece_of(make_graded, face(make_graded, "a.jpg", (crack,)), face(make_graded, "b.jpg"))
    assert from_words(piece).endswith(", lines from a.jpg, the worst of 2 faces")
    text = told(piece)
    assert "seen on 1 of 2 faces: a.jpg" in text and "no line seen" not in text
    assert "can come apart" in text


def test_where_none_is_seen_that_is_all_it_says(make_graded):
    wet, dry = face(make_graded, "a.jpg"), face(make_graded, "b.jpg", state="dry")
    text = told(piece_of(make_graded, wet, dry))
    assert "no line seen on 2 faces, wet and dry" in text and "the best of 2 faces" in text
    unknown = face(make_graded, "b.jpg", state="unknown")
    assert "no line seen on 2 faces, wet, 1 not known" in told(piece_of(make_graded, wet, unknown))


def test_healed_lines_are_lines_too(make_graded, crack):
    seam = replace(crack, kind="pattern line")
    text = told(
        piece_of(make_graded, face(make_graded, "a.jpg", (seam,)), face(make_graded, "b.jpg"))
    )
    assert "1 healed line or seam; no other line seen on 2 faces, wet" in text
    assert "  no line seen" not in text


def test_the_headline_is_that_of_a_stone(make_graded):
    piece = piece_of(make_graded, face(make_graded, "a.jpg"), face(make_graded, "b.jpg"))
    assert told(piece).startswith("The piece, 2 faces   cabbing: ")
    both = told(piece, likely=["cabbing", "select"])
    assert both.startswith("The piece, 2 faces   cabbing or select: yours to say")


def test_a_face_to_be_photographed_again_is_named(make_graded):
    again = face(make_graded, "b.jpg", retake=True)
    piece = piece_of(make_graded, face(make_graded, "a.jpg"), again) | {"proposal": None}
    assert from_words(piece) == "photograph again: b.jpg"
    assert told(piece).startswith("The piece, 2 faces   retake: ")
