"""The cautions are told everywhere in the same words."""

from decimal import Decimal
from pathlib import Path

from grader.report.cautions import (
    BREAK_CAUTIONS,
    CARE_LINE,
    CAUTIONS,
    DRYING_CAUTIONS,
    LIFT_CARE,
    LIFT_TWO,
    SAW_CAUTIONS,
    SELL_CAUTIONS,
    TRIP_CAUTIONS,
    care_text,
    caution_lines,
    lift_lines,
)

#: Told where somebody is about to act.
ACTS = (*BREAK_CAUTIONS, *TRIP_CAUTIONS, LIFT_CARE, LIFT_TWO, *SELL_CAUTIONS)


def words(text: str) -> str:
    return " ".join(text.split())


def test_the_readme_quotes_every_caution_with_its_source():
    readme = words((Path(__file__).parents[2] / "README.md").read_text("utf-8"))
    for caution in (*CAUTIONS, *SAW_CAUTIONS, *DRYING_CAUTIONS, *ACTS):
        assert words(caution.text) in readme
        assert words(caution.source) in readme


def test_care_tells_every_caution_with_its_source_once():
    text = care_text()
    lift = "Take care in lifting from 9 kg"
    for caution in (
        *CAUTIONS,
        *SAW_CAUTIONS,
        *DRYING_CAUTIONS,
        *BREAK_CAUTIONS,
        *TRIP_CAUTIONS,
        LIFT_TWO,
    ):
        assert text.count(caution.text) == 1
        assert caution.source in text
    assert text.count(lift) == 1
    assert text.splitlines()[-1] == "Local rules and licensed practice come first."


def test_one_line_names_what_hurts_and_where_all_stands():
    for word in ("dust", "chips", "heavy", "cracks that no photo shows", "grader care"):
        assert word in CARE_LINE
    assert len(CARE_LINE.splitlines()) == 1


def test_a_limit_is_never_told_without_where_it_comes_from():
    for caution in (*CAUTIONS, *DRYING_CAUTIONS, *ACTS):
        assert caution.source or not any(letter.isdigit() for letter in caution.text)


def test_cautions_of_an_act_are_told_with_their_sources_and_defer_to_local_rules():
    assert lift_lines(Decimal(23_000)) == [
        f"{LIFT_TWO.text} [{LIFT_TWO.source}]",
        "Local rules and licensed practice come first.",
    ]
    assert lift_lines(Decimal(9_000)) == caution_lines((LIFT_CARE,))
    assert lift_lines(Decimal(8_999)) == []
