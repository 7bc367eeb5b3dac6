"""Who has become stricter or milder, in plain sentences."""

from grader.grading.learning.drift import Quarter, Season, SecondLookShift, Shift, Span
from grader.measures import Interval
from grader.report.drift import Drift, drift_lines, season_lines

BEFORE, LAST = Span(60, "2026-04-02", "2026-06-28"), Span(45, "2026-07-01", "2026-08-30")
SPRING, SUMMER = (
    Season("Nell", Quarter(2026, month), "starter 0f0f0f0f", 30, Interval(0.2, 0.1, 0.3))
    for month in (4, 7)
)


def shift(value, low, high, by="Nell"):
    return Shift(by, "starter 0f0f0f0f", BEFORE, LAST, Interval(value, low, high))


def lines(*shifts, seasons=(), looks=()):
    return drift_lines(Drift(seasons, shifts, looks))


def test_a_person_who_became_stricter_is_told_in_one_sentence_with_its_range():
    assert lines(shift(-0.4, -0.6, -0.2)) == [
        "Nell has become stricter: -0.40 grades (-0.60 to -0.20) on stones for which starter 0f0f0f0f proposed the "
        "same, 45 calls of 2026-07-01 to 2026-08-30 against 60 calls of 2026-04-02 to 2026-06-28: look again (grader "
        "second-look) or retrain"
    ]
    (line,) = lines(shift(0.4, 0.2, 0.6, by=None))
    assert line.startswith("unnamed has become milder: +0.40 grades (+0.20 to +0.60)")


def test_a_steady_person_is_told_so_and_asked_for_nothing():
    (line,) = lines(shift(0.05, -0.15, 0.25))
    assert line.startswith(
        "Nell is neither stricter nor milder than before, as far as can be told: +0.05"
    )
    assert "retrain" not in line


def test_a_second_look_is_told_beside():
    look = SecondLookShift("Nell", "2026-08-03", 30, Interval(-0.5, -0.7, -0.3))
    (line,) = lines(looks=(look,))
    assert line.startswith(
        "Nell has become stricter: -0.50 grades (-0.70 to -0.30) on 30 stones called before and sorted again, blind, "
        "from 2026-08-03 on"
    )


def test_what_cannot_be_told_yet_says_what_it_takes():
    (line,) = lines(seasons=(SPRING, SUMMER))
    assert line.startswith(
        "whether Nell has become stricter or milder cannot be told yet: it takes 40 calls"
    )
    # One season alone asks no question.
    assert lines(seasons=(SPRING,)) == []
    assert len(lines(shift(0, -1, 1), seasons=(SPRING, SUMMER))) == 1


def test_a_season_is_a_line():
    assert season_lines([SPRING]) == [
        "Nell, 2026, months 4 to 6: 30 calls beside a proposal of starter 0f0f0f0f, 0.20 (0.10 to 0.30) grades above it"
    ]
