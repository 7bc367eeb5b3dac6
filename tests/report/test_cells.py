"""Cells that a spreadsheet would run. What begins a formula: OWASP, "CSV Injection", from memory."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import grader
from grader.files import defused, undefused
from grader.report.cells import cell, table_text


def test_a_formula_is_defused_and_plain_words_stay():
    assert cell('=HYPERLINK("http://x","y")').startswith("'=")
    assert [cell(t) for t in ("+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1")] == [
        "'+1", "'-1", "'@SUM(A1)", "'\t=1", "'\r=1", "'＝1",
    ]  # fmt: skip
    assert cell("none, as dug") == "none, as dug"
    assert cell(None) == ""


@given(
    st.lists(
        st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20),
        max_size=5,
    )
)
def test_whatever_is_typed_no_cell_of_a_table_begins_like_a_formula(texts):
    rows = list(csv.reader(io.StringIO(table_text(["a"] * len(texts), [texts, [-1]]), newline="")))
    assert all(not one or one[0] not in "=+-@\t\r" for one in (rows[1] if texts else []))
    # A number is no text: it stays one.
    assert rows[-1] == ["-1"]


@given(st.text(st.sampled_from("'=+-@\t\r\n＝ab 1"), max_size=8))
def test_a_defused_text_is_read_back_as_it_was(text):
    # A table of calls is told again by its photos' names: one that begins like a formula must come back.
    assert undefused(defused(text)) == text
    assert defused(text)[:1] not in tuple("=+-@\t\r\n＝＋－＠")


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_an_end_of_line_within_a_cell_ends_no_row(end):
    # RFC 4180, 2.6: a field that holds a line break stands in double quotes.
    assert table_text(["a", "b"], [[f"x{end}y", 1]]) == f'a,b\n"x{end}y",1\n'


def test_every_table_is_written_by_one_writer():
    # Another one would not know what a spreadsheet runs, nor which ends of lines split a row.
    writers = ("csv.writer", "csv.DictWriter")
    modules = (Path(grader.__file__).parent).rglob("*.py")
    found = [path.name for path in modules if any(w in path.read_text("utf-8") for w in writers)]
    assert found == ["cells.py"]
