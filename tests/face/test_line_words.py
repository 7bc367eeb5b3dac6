"""The seller's word on a line holds for what lies there later."""

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.lines.line_words import LineWord, same_line, with_line_words
from grader.face.measurements import Line

#: Working px are half of the photo's, and the face begins at 40, 20 of it.
FACE = Face(np.zeros((1, 1, 3)), np.zeros((1, 1, 3)), np.ones((1, 1), bool), 0.5, (40.0, 20.0))


def line(*points, kind="uncertain", probability=0.4):
    points = np.array(points, float)
    return Line(points, float(np.hypot(*np.diff(points, axis=0).T).sum()), 2.0, kind, probability)


def word(says, *points):
    """A word on the line through those working px."""
    kept = FACE.to_photo_px(np.array(points, float))
    return LineWord(1, tuple((int(x), int(y)) for x, y in kept), says)


ACROSS, DOWN = ((10, 50), (110, 50)), ((60, 10), (60, 90))


def classes(lines, *words):
    return [(one.kind, one.probability, one.source) for one in with_line_words(lines, words, FACE)]


def test_the_sellers_class_takes_the_place_of_what_the_photo_shows():
    lines = (line(*ACROSS), line(*DOWN))
    assert classes(lines, word("pattern", *ACROSS)) == [
        ("pattern line", 0.0, "seller"),
        ("uncertain", 0.4, "photo"),
    ]
    assert classes(lines, word("crack", *DOWN))[1] == ("crack", 1.0, "seller")


def test_a_line_that_is_seen_a_little_otherwise_is_the_same():
    moved = line((14, 53), (70, 52), (115, 48))
    assert classes((moved,), word("crack", *ACROSS)) == [("crack", 1.0, "seller")]


@pytest.mark.parametrize(("share", "same"), [(0.7, True), (0.5, False)])
def test_a_line_is_the_same_where_most_of_its_length_lies_near(share, same):
    # So much of it along the kept line, the rest far off.
    bend = 10 + 100 * share
    points = np.array([(10, 50), (bend, 50), (bend, 50 + 100 * (1 - share))], float)
    assert same_line(points, np.array(ACROSS, float)) is same


def test_the_last_word_counts_and_withdrawn_takes_back():
    lines = (line(*ACROSS),)
    crack, pattern, unsaid = (word(says, *ACROSS) for says in ("crack", "pattern", "withdrawn"))
    assert classes(lines, crack, pattern) == [("pattern line", 0.0, "seller")]
    assert classes(lines, crack, unsaid) == [("uncertain", 0.4, "photo")]
    assert classes(lines, unsaid, crack) == [("crack", 1.0, "seller")]


def test_a_crack_of_the_sellers_that_is_not_seen_any_more_is_put_last():
    lines = (line(*DOWN),)
    (first, last) = with_line_words(lines, (word("crack", *ACROSS),), FACE)
    assert first is lines[0]
    assert (last.kind, last.source, round(last.length_px)) == ("crack", "seller", 100)
    assert last.points == pytest.approx(np.array(ACROSS, float), abs=0.5)
    assert with_line_words(lines, (word("pattern", *ACROSS),), FACE) == lines
    assert with_line_words((), (word("crack", *ACROSS), word("withdrawn", *ACROSS)), FACE) == ()
