"""``grader export``: all that the ledger tells as tables in one zip."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import JsonOption, takes_session


@takes_session
def export(
    out: Annotated[Path, typer.Option(metavar="FILE.zip", help="Where to put it; must be new.")],
    private: Annotated[
        bool,
        typer.Option(
            "--private", help="With exact places, paths, notes on the right to dig, and names."
        ),
    ] = False,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Put all that the ledger tells into one zip, each table as CSV and as JSON. What is for you alone stays out of it
    unless you say --private. To bring a ledger back, keep a backup instead."""
    from grader.cli.options import progress
    from grader.deals.exporting import all_tables
    from grader.files import check_new, write_bytes
    from grader.report.export import export_zip
    from grader.report.json_text import to_json

    check_new(out)
    with progress("writing", "tables") as on_done:

        def told(tables):
            for number, table in enumerate(tables, start=1):
                names.append(table.name)
                yield table
                on_done(number, None)

        names: list[str] = []
        content = export_zip(told(all_tables(session, private=private)), private)
    write_bytes(out, content)
    typer.echo(
        to_json({"file": str(out), "tables": names}) if json else f"{len(names)} tables: {out}"
    )
