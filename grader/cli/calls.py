"""``grader calls``: what was called, by whom, beside which proposal; and where people differ."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import progress, takes_session, words


def day(text: str | date) -> date:
    """Return the day that a person wrote as 2025-03-01."""
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        raise typer.BadParameter(f"{text}: write the day as 2025-03-01") from None


@takes_session
def calls(
    by: Annotated[
        str | None, typer.Option(metavar="NAME", callback=words, help="This person's alone.")
    ] = None,
    stone: Annotated[
        str | None,
        typer.Option(
            metavar="ID|PHOTO", callback=words, help="On the stone that you named so, or the photo."
        ),
    ] = None,
    photo: Annotated[
        Path | None, typer.Option(metavar="FILE", help="On this photo, by what the file holds.")
    ] = None,
    since: Annotated[
        date | None, typer.Option(metavar="DATE", parser=day, help="From this day on.")
    ] = None,
    until: Annotated[
        date | None, typer.Option(metavar="DATE", parser=day, help="Up to this day.")
    ] = None,
    lines: Annotated[
        bool, typer.Option("--lines", help="Also words on lines and patches.")
    ] = False,
    taken_back: Annotated[
        bool, typer.Option("--taken-back", help="Also calls that were taken back.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON alone: a list.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv",
            help="Write them as a table that call --from and retrain read; must be new.",
        ),
    ] = None,
    differ: Annotated[
        Path | None,
        typer.Option(
            metavar="PAGE.html",
            help="Write a page: how well each two people agree, and the stones that divide them most; must be new.",
        ),
    ] = None,
    *,
    session,
) -> None:
    """List the calls that hold, the newest last: day, person, stone, call, the proposal beside it, note.

    A call whose stone or photo is not found any more is listed with why.
    """
    ledger = session.need_ledger("listing calls")
    if differ is not None:
        if any((by, stone, photo, since, until, lines, taken_back, json, out)):
            raise typer.BadParameter("goes alone: it tells of all people", param_hint="--differ")
        _differ(differ, session)
        return
    from grader.files import check_new
    from grader.opinions import Wanted, listed_calls

    if out is not None:
        check_new(out)
    wanted = Wanted(by, stone, photo, since, until)
    listed = listed_calls(ledger, wanted, lines=lines, taken_back=taken_back)
    if out is not None:
        _write_table(listed, out)
    if json or out is None:
        _print(listed, json)
    if not listed:
        typer.echo("no such call in the ledger; grader call says one", err=True)


def _write_table(listed, out: Path) -> None:
    from grader.files import write_new
    from grader.report.call_list import calls_csv, table_words

    write_new(out, calls_csv(listed))
    typer.echo(table_words(listed, out), err=True)


def _print(listed, json: bool) -> None:
    from grader.report.call_list import call_lines, call_records
    from grader.report.json_text import to_json

    if json:
        typer.echo(to_json(call_records(listed)))
        return
    for line in call_lines(listed):
        typer.echo(line)


def _differ(page: Path, session) -> None:
    from grader.files import check_new, write_new
    from grader.opinions import disagreement
    from grader.report.disagreement import disagreement_lines, disagreement_page

    check_new(page)
    model = session.model()
    with progress("looking", "stones") as on_stone:
        found = disagreement(
            session.ledger, session.profile, model, session.settings.decider, on_stone=on_stone
        )
    for line in disagreement_lines(found):
        typer.echo(line)
    write_new(page, disagreement_page(found, model.label))
    typer.echo(f"with pictures: {page}", err=True)
