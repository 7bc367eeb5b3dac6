"""The figures of the benchmarks: one file for each area, and a first page that follows from them."""

import re
from dataclasses import replace

import pytest
import tables
from tables import AREAS, Dated, Row

OLD = Dated(
    "crack F1", "renders, seed 1", "9 faces", "0.50", date="2020-01-02", machine="a slow one"
)
ROW = Row("bands seen", "renders, seed 1", "9 stones", "0.70", floor="≥ 0.60")


@pytest.fixture
def written(tmp_path):
    """Return a function that writes rows of the lines into an empty folder and reads that area's file again."""

    def write(*runs: list[Row]) -> list[Dated]:
        for rows in runs:
            tables.write("lines", rows, tmp_path, tmp_path / "FIGURES.md")
        return tables.read(tmp_path / "lines.md")

    (tmp_path / "lines.md").write_text(tables.area_page("Lines", [OLD]), "utf-8")
    return write


def test_a_row_that_was_not_measured_keeps_its_date_and_machine(written):
    assert written([ROW])[0] == OLD


def test_a_row_that_was_measured_has_the_date_and_machine_of_today_in_its_old_place(written):
    first, second = written([ROW, replace(ROW, figure="bands")], [ROW])[1:]
    assert (first.figure, first.floor, first.machine) == ("bands seen", "≥ 0.60", tables.machine())
    assert second.figure == "bands"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", first.date)


def test_a_row_is_known_by_what_it_was_measured_on_too(written):
    rows = written(
        [replace(ROW, figure="crack F1")], [Row("crack F1", "renders, seed 1", "1", "0.9")]
    )
    assert [(row.figure, row.ours) for row in rows] == [("crack F1", "0.9")]
    assert len(written([replace(ROW, figure="crack F1", measured_on="photographs")])) == 2


def test_date_and_machine_stand_once_where_all_rows_share_them(tmp_path):
    page = tables.area_page("Lines", [OLD, replace(OLD, figure="another")])
    assert page.count("2020-01-02") == page.count("a slow one") == 1
    assert "| figure | measured on | n | ours |\n" in page


def test_several_machines_are_named_by_letters_in_the_rows(tmp_path):
    rows = [OLD, replace(OLD, figure="another", machine="a fast one", date="2020-03-04")]
    (tmp_path / "lines.md").write_text(page := tables.area_page("Lines", rows), "utf-8")
    assert "| crack F1 | renders, seed 1 | 9 faces | 0.50 | 2020-01-02 | a |" in page
    assert tables.read(tmp_path / "lines.md") == rows


# By hand.
@pytest.mark.parametrize(
    ("ours", "floor", "answer"),
    [
        ("0.81", "≥ 0.80, aim 0.90", True),
        ("0.79", "≥ 0.80, aim 0.70", False),
        ("5.7 (R = 9.68 s)", "≤ 8 R", True),
        ("0.93", "aim 0.92–0.98", True),
        ("0.99", "aim 0.92–0.98", False),
        ("0.87", "aim 0.88 to 0.93", False),
        ("+0.178, -0.06", "aim ≥ 0, ≥ -0.05", False),
        ("+0.178, -0.04", "aim ≥ 0, ≥ -0.05", True),
        ("1.95 / 5.75", "≤ 2 / ≤ 5", False),
        ("2.80 / 9.62", "≤ 5 / –", True),
        ("0.44 / 1.82", "≤ 1.6", False),
        ("most 2.4; 9.00", "≤ 3", True),
        ("95 % under 0.02; 1.00", "≤ 0.5 %", True),
        ("95 % under 10.88; 0.80", "holds ≥ 0.90", False),
        ("0.1 / 0.5; 1.00", "95 % ≤ 2", True),
        ("9 / 10 / 10", "aim 10", False),
        ("0", "0", True),
        ("0.5", "", None),
        ("0.5", "above the wet photo alone", None),
    ],
)  # fmt: skip
def test_a_bound_is_kept_or_not(ours, floor, answer):
    assert tables.holds(ours, floor) is answer


def test_every_area_has_its_file_and_no_other_file_lies_there():
    assert {path.stem for path in tables.FOLDER.iterdir()} == set(AREAS)


@pytest.mark.parametrize("area", AREAS)
def test_a_file_is_what_writing_its_rows_again_gives(area):
    path = tables.FOLDER / f"{area}.md"
    assert tables.area_page(AREAS[area][0], tables.read(path)) == path.read_text("utf-8")


def test_the_first_page_follows_from_the_areas():
    assert tables.first_page() == tables.FIRST_PAGE.read_text("utf-8")


@pytest.mark.parametrize(
    ("area", "figure", "measured_on"),
    [(area, *head[:2]) for area, (_, heads) in AREAS.items() for head in heads],
)
def test_a_figure_of_the_first_page_stands_in_its_area_and_has_a_bound(area, figure, measured_on):
    row = tables.headline(tables.read(tables.FOLDER / f"{area}.md"), figure, measured_on)
    assert tables.holds(row.ours, row.floor) is not None


def test_a_page_names_whose_photographs_its_rows_speak_of():
    photographed = replace(OLD, measured_on="photographs of cracked surfaces, 224 x 224 px, marked")
    assert "Dais, Bal, Smyrou & Sarhosis 2021" in tables.area_page("Lines", [OLD, photographed])
    assert "Photographs" not in tables.area_page("Lines", [OLD])
