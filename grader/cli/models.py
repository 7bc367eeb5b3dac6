"""``grader models``: which models there are, which is in use since when, and whether stones or calls have moved."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ProfileOption,
    ScaleOption,
    folder_there,
    label_in_use,
    settled,
    working_calls,
    working_models,
)


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
        Path | None, typer.Option(metavar="CALLS.csv", help="The calls to compare them on.")
    ] = None,
    photos: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", callback=folder_there, help="The photos it names."),
    ] = None,
    stones: Annotated[
        Path | None,
        typer.Option(
            metavar="RESULTS.jsonl",
            exists=True,
            dir_okay=False,
            help="A season's results: how far its stones lie from those that the model knows.",
        ),
    ] = None,
    profile: ProfileOption = None,
    mm_per_px: ScaleOption = None,
) -> None:
    """List the models of this folder; compare two, take one into use, or go back to the one before.

    Nothing is overwritten: each change is a line more in models.jsonl.
    """
    if sum((use is not None, back, compare is not None, stones is not None)) > 1:
        raise typer.BadParameter("one of --use, --back, --compare and --stones at a time")
    if (compare is None) != (calls is None) or (compare is None) != (photos is None):
        raise typer.BadParameter(
            "it wants --calls and --photos, and they want it", param_hint="--compare"
        )
    if use is not None or back:
        _take(use, back)
    elif compare is not None:
        _compare(compare, calls, photos, profile, mm_per_px)
    elif stones is not None:
        _stones(stones, profile)
    else:
        _list(profile)


def _take(use: str | None, back: bool) -> None:
    from grader.errors import SettingsError
    from grader.grading.model import aside_of, load_model
    from grader.settings import load_settings, use_model

    wanted, entry = None if use == "starter" else use, None
    if back:
        now = load_settings().model
        here = now and Path(now).as_posix()
        now_used = here, label_in_use()
        earlier = [one for one in working_models() if (one.model, one.label) != now_used]
        if not earlier:
            raise SettingsError("no other model was in use here before; name one with --use")
        entry = earlier[-1]
        wanted = entry.model
    model = load_model(wanted and Path(wanted))
    if wanted and entry is not None and entry.label not in (None, model.label):
        # A later model of the same name has moved it aside.
        kept = aside_of(Path(wanted), entry.label)
        if kept.is_dir():
            wanted, model = kept.as_posix(), load_model(kept)
    time = datetime.now().astimezone().isoformat(timespec="seconds")
    use_model(wanted, model.label, time, replaced=label_in_use())
    if entry is not None and entry.label not in (None, model.label):
        typer.echo(
            f"{wanted or 'the starter'}: made anew since; {entry.label} was in use before", err=True
        )
    typer.echo(f"in use from now on: {model.label} ({wanted or 'the starter'})")


def _list(profile: str | None) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from grader.errors import ModelError
    from grader.grading.drift import LEAST, call_seasons, moved
    from grader.grading.model import load_model
    from grader.profile import load_profile
    from grader.settings import load_settings

    settings, used = load_settings(), working_models()
    there = [path.parent.as_posix() for path in sorted(Path().glob("*/grade.json"))]
    in_use = settings.model and Path(settings.model).as_posix()
    known = dict.fromkeys([None, *(entry.model for entry in used), in_use, *there])
    table = Table("", "model", "kind", "made", "from", box=None, pad_edge=False)
    for name in known:
        mark = "in use" if name == in_use else ""
        try:
            model = load_model(name and Path(name))
        except ModelError as err:
            row = (mark, name or "the starter", "cannot be read", "", str(err))
        else:
            label = model.label if name is None else f"{name} ({model.label})"
            row = (mark, label, model.grade.kind, model.made.date, model.made.data)
        # Names and words of a model that others made are text, never markup.
        table.add_row(*map(Text, row))
    console = Console(width=160, soft_wrap=True)
    with console.capture() as listed:
        console.print(table)
    for line in listed.get().splitlines():
        typer.echo(line.rstrip())
    for entry in used:
        when = f"since {entry.time[:16]}" if entry.time else "since an unknown day"
        told = entry.label or "a model that could not be read"
        typer.echo(f"{when}: {told} ({entry.model or 'the starter'})")
    seasons = call_seasons(working_calls(), load_profile(profile or settings.profile).grades)
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


def _compare(folder: Path, calls: Path, photos: Path, profile, mm_per_px) -> None:
    import numpy as np

    from grader.calling import measure_called
    from grader.errors import CallsError, SettingsError
    from grader.grading.agreement import beside, beyond, side_by_side
    from grader.grading.calls import remark_lines
    from grader.grading.calls_csv import read_calls_csv
    from grader.grading.model import load_model
    from grader.grading.retrain import called_rungs
    from grader.settings import load_settings

    loaded, used, mm_per_px = settled(profile, None, mm_per_px)
    if folder == Path(load_settings().model or "starter"):
        raise SettingsError(f"{folder} is the model in use; name another to hold against it")
    other = load_model(None if folder == Path("starter") else folder)
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    read = read_calls_csv(calls, loaded.grades, now)
    measured = measure_called((read,), photos, loaded, mm_per_px=mm_per_px)
    (placed,) = measured.reads
    for line in (*remark_lines(calls, placed.told), *remark_lines(calls, placed.refused)):
        typer.echo(line, err=True)
    called = called_rungs(placed.calls, measured.features, loaded)
    if not called.names:
        raise CallsError(f"{calls}: no grade in it that can be used; call some stones first")
    pair = [model.for_ladder(loaded) for model in (used, other)]
    unseen = called.unseen_by(pair)
    if known := len(called.names) - len(unseen.names):
        typer.echo(f"left out, since a model has learned from them: {known} called faces", err=True)
    if not unseen.names:
        raise CallsError(
            f"{calls}: a model has learned from all of these; call other stones, or read its card.md"
        )
    called = unseen
    rungs = [m.grade.rungs([m.complete(row, loaded) for row in called.rows]) for m in pair]
    both = side_by_side(
        *rungs, called.rung, len(loaded.grades), called.names, np.random.default_rng(0)
    )
    words = {
        "better": "is better, beyond the uncertainty",
        "worse": "is worse, beyond the uncertainty",
        "alike": "is neither better nor worse beyond the uncertainty",
        "unknown": "cannot be told from the other on so few stones",
    }
    typer.echo(f"{other.label} {words[beyond(both.gain)]}: {both.second.n} called faces")
    typer.echo(f"{'':28}{used.label:<24}{other.label}")
    typer.echo("\n".join(beside(both.first, both.second, both.gain)))


def _stones(results: Path, profile: str | None) -> None:
    from grader.batch import read_records
    from grader.errors import CallsError
    from grader.grading.drift import LEAST, far_features
    from grader.report.columns import measured_row

    loaded, model, _ = settled(profile, None, None)
    records = list(read_records(results))
    if not records:
        raise CallsError(f"{results}: no results of grader batch in it; give its results.jsonl")
    rows = [measured_row(piece, loaded.colours) for record in records for piece in record["pieces"]]
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
