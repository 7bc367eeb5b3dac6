"""Cells that a spreadsheet would run. What begins a formula: OWASP, "CSV Injection", from memory."""

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

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
