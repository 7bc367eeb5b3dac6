"""Cells of tables that a spreadsheet opens: what begins like a formula is defused, so that it is read and not run."""

import csv
import io
from collections.abc import Iterable, Sequence

from grader.files import defused


def cell(text: str | None) -> str:
    """Return a text as a cell; nothing for ``None``."""
    return defused(text) if text else ""


def table_text(names: Sequence[str], rows: Iterable[Sequence]) -> str:
    """Return a table as CSV; texts are defused, numbers stay as they are."""
    cells = ([cell(v) if isinstance(v, str | None) else v for v in row] for row in rows)
    return "".join(map(row_text, ([cell(name) for name in names], *cells)))


def row_text(cells: Sequence) -> str:
    """Return one row of a table as CSV, its cells as they are."""
    text = io.StringIO()
    # With this end the writer also puts a cell in marks that holds a carriage return: else it would end its row.
    csv.writer(text, lineterminator="\r\n").writerow(cells)
    return text.getvalue().removesuffix("\r\n") + "\n"
