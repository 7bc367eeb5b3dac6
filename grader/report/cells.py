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
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow([cell(name) for name in names])
    table.writerows([cell(v) if isinstance(v, str | None) else v for v in row] for row in rows)
    return out.getvalue()
