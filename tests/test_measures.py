"""Every measure is declared once and carries the same name wherever it is told."""

import re
from pathlib import Path

import pytest

import grader.report
from grader.measures import BACKGROUND, MEASURES, UNREADABLE
from grader.profile import RULE_MEASURES, load_profile
from grader.report.columns import column_names

UNITS = {"share", "px", "mm", "cm2", "deg", "Lab", "count", "score", "mm/cm2", ""}


@pytest.mark.parametrize("measure", MEASURES.values(), ids=list(MEASURES))
def test_a_measure_has_name_unit_range_and_meaning(measure):
    assert re.fullmatch(r"[a-z]+(_[a-z0-9]+)*", measure.name)
    assert measure.unit in UNITS
    assert measure.low is None or measure.high is None or measure.low < measure.high
    assert measure.meaning
    assert "\n" not in measure.meaning


@pytest.mark.parametrize("measure", MEASURES.values(), ids=list(MEASURES))
def test_the_unit_stands_at_the_end_of_the_name(measure):
    for unit in ("px", "mm", "cm2", "deg", "share"):
        # A rate, as mm_per_cm2, names two.
        rate = f"_per_{unit}" in measure.name and measure.unit.endswith(f"/{unit}")
        assert rate or measure.unit == unit or not measure.name.endswith(f"_{unit}")


def test_every_measure_is_a_column_of_the_results():
    classes = [colour.name for colour in load_profile().colours]
    assert set(MEASURES) <= set(column_names(classes))


def test_written_rules_know_measures_by_the_same_names():
    assert set(RULE_MEASURES) - set(MEASURES) == {"pattern_share"}


def test_the_list_of_measures_is_that_of_the_code():
    page = (Path(grader.report.__file__).parent / "measures.md").read_text("utf-8")
    table = [[cell.strip() for cell in line.split("|")[1:-1]] for line in page.splitlines()]
    assert [row for row in table if row][2:] == [
        [f"`{m.name}`", m.unit or "ratio", _range(m), m.meaning] for m in MEASURES.values()
    ]


def _range(measure) -> str:
    return f"from {measure.low}" if measure.high is None else f"{measure.low} to {measure.high}"


def test_codes_that_are_no_class_lie_outside_the_classes():
    assert {BACKGROUND, UNREADABLE}.isdisjoint(range(1, 9))
