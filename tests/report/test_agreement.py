"""Agreement in plain lines: each figure with its interval."""

import pytest

from grader.measures import Interval
from grader.report.agreement import figure_line, interval_words


@pytest.mark.parametrize(
    ("interval", "words"),
    [
        (Interval(0.5, 0.402, 0.598), "0.50 (0.40 to 0.60)"),
        (Interval(-0.126, None, None), "-0.13"),
        (Interval(None, None, None), "not defined"),
    ],
)
def test_an_interval_stands_behind_its_value_where_it_is_known(interval, words):
    assert interval_words(interval) == words


def test_the_cells_of_a_row_stand_below_each_other():
    first = figure_line("kappa", Interval(0.5, 0.4, 0.6), "no proposals")
    second = figure_line("same grade", "no proposals", Interval(0.5, None, None))
    assert first == f"{'kappa':28}{'0.50 (0.40 to 0.60)':24}no proposals"
    assert second == f"{'same grade':28}{'no proposals':24}0.50"
