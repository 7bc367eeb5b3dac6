"""``grader models``: which models there are, which is in use since when, and whether stones or calls have moved."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    PhotosOption,
    beside,
    folder_there,
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
            callback=folder_there,
            help="A season's photos: how far their stones lie from those that the model knows.",
        ),
    ] = None,
    *,
    terms,
    session,
) -> None:
    """List the models that were in use or lie here; compare two, take one into use, or go back to the one before.

    Nothing is overwritten: each change is a fact more in the ledger.
    """
    if sum((use is not None, back, compare is not None, stones is not None)) > 1:
        raise typer.BadParameter("one of --use, --back, --compare and --stones at a time")
    if compare is None and (calls is not None or photos):
        raise typer.BadParameter("--calls and --photos go with it", param_hint="--compare")
    if use is not None or back:
        _take(use, back, session)
    elif compare is not None:
        _compare(compare, calls, photos, session, session.with_usual_scale(terms))
    elif stones is not None:
        _stones(stones, session)
    else:
        _list(session)


def _take(use: str | None, back: bool, session) -> None:
    from grader.errors import SettingsError
    from grader.grading.models.model import load_model, load_model_as
    from grader.ledger import views
    from grader.ledger.facts import ModelUse

    ledger = session.need_ledger("--back" if back else "--use")
    if not back:
        folder = None if use == "starter" else Path(use).resolve()
        model = load_model(folder)
    else:
        uses = [entry.fact for entry in views.model_uses(ledger)]
        starter = ModelUse(folder=None, label=load_model().label)
        now = uses[-1] if uses else starter
        # Before the first change the starter was in use.
        earlier = [
            one for one in (starter, *uses) if (one.folder, one.label) != (now.folder, now.label)
        ]
        if not earlier:
            raise SettingsError("no other model was in use before; name one with --use")
        folder = earlier[-1].folder and Path(earlier[-1].folder)
        model = load_model_as(folder, earlier[-1].label) if folder else load_model()
    ledger.add(ModelUse(folder=folder and str(folder), label=model.label))
    typer.echo(f"in use from now on: {model.label} ({folder or 'the starter'})")


def _list(session) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from grader.errors import ModelError
    from grader.grading.learning.drift import LEAST, call_seasons, moved
    from grader.grading.models.model import load_model, load_model_as
    from grader.ledger import views

    ledger = session.ledger
    uses = views.model_uses(ledger) if ledger else ()
    labels = {entry.fact.folder: entry.fact.label for entry in uses}
    in_use = uses[-1].fact.folder if uses else None
    here = [str(path.parent.resolve()) for path in sorted(Path().glob("*/grade.json"))]
    known = dict.fromkeys([None, *labels, *here])
    table = Table("", "model", "kind", "made", "from", box=None, pad_edge=False)
    for folder in known:
        mark = "in use" if folder == in_use else ""
        try:
            label = labels.get(folder)
            model = (
                load_model_as(Path(folder), label)
                if folder and label
                else load_model(folder and Path(folder))
            )
        except ModelError as err:
            table.add_row(mark, Text(_near(folder)), "cannot be read", "", Text(str(err)))
            continue
        name = model.label if folder is None else f"{_near(folder)} ({model.label})"
        made = Text(str(model.made.date)), Text(model.made.data)
        table.add_row(mark, Text(name), Text(model.grade.kind), *made)
    # So wide that no name is broken in two.
    console = Console(width=10_000, soft_wrap=True)
    with console.capture() as listed:
        console.print(table)
    for line in listed.get().splitlines():
        typer.echo(line.rstrip())
    for entry in uses:
        typer.echo(
            f"since {entry.time[:16]}: {entry.fact.label or 'a model that could not be read'} "
            f"({entry.fact.folder or 'the starter'})"
        )
    calls = views.calls(ledger) if ledger else ()
    seasons = call_seasons(calls, session.profile.grades)
    for season in seasons:
        typer.echo(
            f"calls of {season.name}: {season.n} beside a proposal of {season.model}, "
            f"{season.above} grades above it"
        )
    shifts = moved(seasons)
    for shift in shifts:
        if shift.by.low * shift.by.high > 0:
            way = "higher" if shift.by.value > 0 else "lower"
            typer.echo(
                f"the last season is called {way} than {shift.before}, by {shift.by} grades against the "
                f"proposals of {shift.model}: look again (grader second-look) or retrain"
            )
    if len({season.name for season in seasons}) > 1 and not shifts:
        typer.echo(
            f"whether the last season is called otherwise cannot be told: no model has {LEAST} calls beside it then "
            "and in an earlier season"
        )


def _near(folder: str) -> str:
    """A folder as it is called from here: below the working folder by its path there, else by its whole path."""
    path = Path(folder)
    here = Path().resolve()
    return str(path.relative_to(here)) if path.is_relative_to(here) else folder


def _compare(folder: Path, calls: Path | None, photos, session, terms) -> None:
    import numpy as np

    from grader.called import called_in_ledger, called_in_tables
    from grader.errors import CallsError, SettingsError
    from grader.grading.learning.agreement import side_by_side
    from grader.grading.learning.retrain import called_rungs
    from grader.report.agreement import comparison_lines

    profile, used = session.profile, session.model()
    other = session.model(folder)
    if other.label == used.label:
        raise SettingsError(f"{folder} is the model in use; name another to hold against it")
    where = calls or "the ledger"
    ledger = session.need_ledger("comparing on your calls") if calls is None else session.ledger
    with progress("looking") as on_photo:
        if calls is None:
            measured = called_in_ledger(
                ledger,
                profile,
                decider=session.settings.decider,
                on_photo=on_photo,
            )
        else:
            measured = called_in_tables(
                calls,
                None,
                photos or beside(calls),
                terms,
                profile,
                ledger,
                time=datetime.now().astimezone().isoformat(timespec="seconds"),
                on_photo=on_photo,
            )
    for line in measured.refused:
        typer.echo(line, err=True)
    called = called_rungs(measured.calls, measured.features, profile)
    if not called.names:
        raise CallsError(f"{where}: no grade in it that can be used; call some stones first")
    pair = [model.for_ladder(profile) for model in (used, other)]
    unseen = called.unseen_by(pair)
    if known := len(called.names) - len(unseen.names):
        typer.echo(f"left out, since a model has learned from them: {known} called faces", err=True)
    if not unseen.names:
        raise CallsError(
            f"{where}: a model has learned from all of these; call other stones, or read its card.md"
        )
    called = unseen
    rungs = [m.grade.rungs([m.complete(row, profile) for row in called.rows]) for m in pair]
    both = side_by_side(
        *rungs, called.rung, len(profile.grades), called.names, np.random.default_rng(0)
    )
    typer.echo("\n".join(comparison_lines(used.label, other.label, both)))


def _stones(folder: Path, session) -> None:
    from grader.called import graded_stones
    from grader.grading.learning.drift import LEAST, far_features
    from grader.measures import MEASURES

    model = session.model()
    ledger = session.need_ledger("--stones")
    stones = graded_stones(folder, session.profile, model, ledger)
    complete = [model.complete(stone.facts.features, session.profile) for stone in stones]
    rows = [{name: row[name] for name in MEASURES if name in row} for row in complete]
    if len(rows) < LEAST:
        typer.echo(f"{len(rows)} stones: too few to tell a shift; {LEAST} are needed")
        return
    far = far_features(rows, model)
    if not far:
        typer.echo(f"{len(rows)} stones, no shift from the stones that {model.label} knows")
    for name, figure in far:
        typer.echo(f"{name}: {figure} spreads from the stones that {model.label} knows")
    if far:
        typer.echo("call some of them and retrain, or look at light and scale first")
