"""``grader demo``: an invented season in a folder of its own."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import JsonOption, folder_place, progress, whole_number


def demo(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", callback=folder_place, help="A new or empty folder."),
    ],
    seed: Annotated[
        int, typer.Option(metavar="N", parser=whole_number(0), help="Another number, other stones.")
    ] = 0,
    json: JsonOption = False,
) -> None:
    """Make an invented season to try the tool on: three trips with drawn stones, weights, calls, prices, lots, sales
    and returns. It has a ledger of its own; yours is left alone. Takes a minute or so."""
    from grader.demo.season import make_season
    from grader.demo.told import season_lines, season_record
    from grader.report.json_text import to_json

    with progress("drawing and grading", "steps") as on_stone:
        made = make_season(folder, seed, on_stone=on_stone)
    if json:
        typer.echo(to_json(season_record(made)))
        return
    for line in season_lines(made):
        typer.echo(line)
