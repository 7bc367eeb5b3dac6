"""All that the ledger tells as tables in one zip: each as CSV, and as JSON with nothing lost.

What is for the seller alone is left out unless it is asked for: exact places, paths, notes on the right to dig, names
of sorters and buyers.
"""

import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from typing import Any

from grader.ledger.export import Exported
from grader.report.cells import table_text

#: Members of the zip get this time, so that the same ledger gives the same bytes.
_TIME = (1980, 1, 1, 0, 0, 0)
README = """All that the ledger holds, as tables: each as CSV for a spreadsheet, and as JSON with nothing lost.
columns.csv says what each table and column is. pieces.csv and lots.csv tell weight, grade and state by number.
deeds.csv tells all that was done with stone, in order; what was taken back is marked.
Money and weights (g) are decimal numbers as text.
"""
_PRIVATE = """Exact places, paths, notes on the right to dig, and names of sorters and buyers are left out;
--private puts them in.
"""


def export_zip(tables: Iterable[Exported], private: bool) -> bytes:
    """Return the zip, the same bytes for the same tables."""
    out, columns = io.BytesIO(), []
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as file:

        def put(name: str, text: str) -> None:
            file.writestr(zipfile.ZipInfo(name, _TIME), text.encode(), zipfile.ZIP_DEFLATED)

        put("README.txt", README + ("" if private else _PRIVATE))
        for table in tables:
            columns += [(table.name, name, what) for name, what in table.columns.items()]
            put(f"{table.name}.csv", table_text(list(table.columns), _cells(table)))
            rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
            put(f"{table.name}.json", json.dumps(rows, ensure_ascii=False, indent=0) + "\n")
        put("columns.csv", table_text(["table", "column", "meaning"], columns))
    return out.getvalue()


def _cells(table: Exported) -> Iterator[list]:
    for row in table.rows:
        yield [_plain(value) for value in row]


def _plain(value: Any) -> Any:
    """A list or object as JSON in its cell."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value
