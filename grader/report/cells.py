"""Cells of tables that a spreadsheet opens: what begins like a formula is defused, so that it is read and not run."""

import csv
import io
from collections.abc import Iterable, Sequence

#: OWASP, "CSV Injection", from memory; the wide ones are the same letters of East Asian keyboards.
_BEGINS = "=+-@\t\r\n＝＋－＠"


def cell(text: str | None) -> str:
    """Return a text as a cell; nothing for ``None``."""
    return f"'{text}" if text and text[0] in _BEGINS else text or ""


def table_text(names: Sequence[str], rows: Iterable[Sequence]) -> str:
    """Return a table as CSV; texts are defused, numbers stay as they are."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow([cell(name) for name in names])
    table.writerows([cell(v) if isinstance(v, str | None) else v for v in row] for row in rows)
    return out.getvalue()
