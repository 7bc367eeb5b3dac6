"""``grader models``: which models there are, which is in use since when, and who or what has moved."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    PhotosOption,
    beside,
    existing_folder,
    progress,
    takes_session,
    takes_terms,
)


@takes_session
@takes_terms
def models(
    use: Annotated[
        str | None,
        typer.Option(metavar="DIR|starter", help="Take this model into use from now on."),
    ] = None,
    back: Annotated[
        bool, typer.Option("--back", help="Take the model that was in use before this one.")
    ] = False,
    compare: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR|starter", file_okay=False, help="Hold this model against the one in use."
        ),
    ] = None,
    calls: Annotated[
        Path | None,
        typer.Option(
            metavar="CALLS.csv", help="The calls to compare them on; else all in the ledger."
        ),
    ] = None,
    photos: PhotosOption = None,
    stones: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            callback=existing_folder,
            help="A season's photos: how far their stones lie from those that the model knows.",
        ),
    ] = None,
    *,
    terms,
    session,
) -> None:
    """List the models that were in use or lie here; compare two, take one into use, or go back to the one before.

    The list also tells of each person who calls whether the grades have become stricter or milder, with the 95 % range.
    Nothing is overwritten: each change is a fact more in the ledger.
    """
    if sum((use is not None, back, compare is not None, stones is not None)) > 1:
        raise typer.BadParameter("one of --use, --back, --compare and --stones at a time")
    if compare is None and (calls is not None or photos):
        raise typer.BadParameter("--calls and --photos go with it", param_hint="--compare")
    if use is not None:
        _tell_use(session.use_model(use))
    elif back:
        _tell_use(session.use_model_before())
    elif compare is not None:
        _compare(compare, calls, photos, session, session.with_usual_scale(terms))
    elif stones is not None:
        _stones(stones, session)
    else:
        _list(session)


def _tell_use(use) -> None:
    from grader.report.model_list import use_words

    typer.echo(f"in use from now on: {use_words(use.folder, use.label)}")


def _list(session) -> None:
    from grader.ledger import views
    from grader.opinions import drift_of_people
    from grader.report.drift import drift_lines, season_lines
    from grader.report.model_list import HEADS, model_row, use_words

    ledger = session.ledger
    rows = [model_row(one.folder, one.model, one.in_use) for one in session.known_models()]
    for line in _table_lines(HEADS, rows):
        typer.echo(line)
    if ledger is None:
        return
    for entry in views.model_uses(ledger):
        typer.echo(f"since {entry.time[:16]}: {use_words(entry.fact.folder, entry.fact.label)}")
    drift = drift_of_people(ledger, session.profile.grades)
    for line in (*season_lines(drift.seasons), *drift_lines(drift)):
        typer.echo(line)


def _table_lines(heads, rows) -> list[str]:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(*heads, box=None, pad_edge=False)
    for row in rows:
        # As they are: a name may hold what would be read as markup.
        table.add_row(*map(Text, row))
    # So wide that no name is broken in two.
    console = Console(width=10_000, soft_wrap=True)
    with console.capture() as listed:
        console.print(table)
    return [line.rstrip() for line in listed.get().splitlines()]


def _compare(folder: Path, calls: Path | None, photos, session, terms) -> None:
    from grader.comparing import compare_models, faces_to_compare, stones_to_compare
    from grader.errors import SettingsError
    from grader.report.agreement import comparison_lines

    used, other = session.model(), session.model(folder)
    if other.label == used.label:
        raise SettingsError(f"{folder} is the model in use; name another to hold against it")
    time = datetime.now().astimezone().isoformat(timespec="seconds")
    with progress("looking") as on_photo:
        called = stones_to_compare(
            calls, photos or beside(calls), terms, session, time=time, on_photo=on_photo
        )
    for line in called.refused:
        typer.echo(line, err=True)
    profile, origin = session.profile, str(calls or "the ledger")
    faces, learned = faces_to_compare([used, other], called, profile, origin)
    if learned:
        typer.echo(
            f"left out, since a model has learned from them: {learned} called faces", err=True
        )
    both = compare_models(used, other, faces, profile, origin)
    typer.echo("\n".join(comparison_lines(used.label, other.label, both)))


def _stones(folder: Path, session) -> None:
    from grader.comparing import season_features
    from grader.report.model_list import stones_lines

    model = session.model()
    count, far = season_features(folder, model, session)
    typer.echo("\n".join(stones_lines(count, far, model.label)))
