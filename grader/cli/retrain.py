"""``grader retrain``: a model from the seller's own calls, judged before it is used."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ProfileOption,
    ScaleOption,
    folder_place,
    folder_there,
    label_in_use,
    settled,
)


def retrain(
    photos: Annotated[
        Path,
        typer.Option(metavar="FOLDER", callback=folder_there, help="The photos it names."),
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", callback=folder_place, help="Folder of the new model.")
    ],
    calls: Annotated[
        Path | None, typer.Argument(metavar="CALLS.csv", help="photo, piece, grade, scene.")
    ] = None,
    picks: Annotated[
        Path | None,
        typer.Option(
            metavar="PICKS.csv",
            help="better_photo, better_piece, other_photo, other_piece: which of two scenes is better.",
        ),
    ] = None,
    old: Annotated[
        Path | None,
        typer.Option("--from", metavar="DIR", help="Model to start from; else the one in use."),
    ] = None,
    use: Annotated[
        bool, typer.Option("--use", help="Make it this folder's model, in grader.toml.")
    ] = False,
    profile: ProfileOption = None,
    mm_per_px: ScaleOption = None,
) -> None:
    """Train a model on your calls and picks and judge it beside the old one on those that neither
    has seen.

    Picks teach the scene score alone. To begin again: --from the starter's folder, or take the model
    line out of grader.toml.
    """
    if calls is None and picks is None:
        raise typer.BadParameter("give CALLS.csv, --picks or both", param_hint="CALLS.csv")
    from grader.calling import measure_called
    from grader.grading.calls import ReadCalls, remark_lines
    from grader.grading.calls_csv import read_calls_csv
    from grader.grading.model import check_place, save_model
    from grader.grading.picks_csv import paired, read_picks_csv
    from grader.grading.retrain import retrain as retrain_on
    from grader.report.card import retrained_card
    from grader.settings import use_model

    check_place(out)
    loaded, base, mm_per_px = settled(profile, old, mm_per_px)
    # Its folder may be the one that is written anew.
    replaced = label_in_use() if use else None
    now = datetime.now().astimezone()
    time, nothing = now.isoformat(timespec="seconds"), ReadCalls((), ())
    said = read_calls_csv(calls, loaded.grades, time) if calls else nothing
    sides = read_picks_csv(picks, time) if picks else nothing
    measured = measure_called((said, sides), photos, loaded, mm_per_px=mm_per_px)
    said, pairs = measured.reads[0], paired(measured.reads[1])
    for table, read in ((calls, said), (picks, pairs)):
        for line in (*remark_lines(table, read.told), *remark_lines(table, read.refused)):
            typer.echo(line, err=True)
    done = retrain_on(
        said.calls,
        measured.features,
        loaded,
        base,
        picks=pairs.picks,
        name=out.name,
        date=now.date().isoformat(),
    )
    for remark in done.refused:
        typer.echo(f"{calls}: {remark.text}", err=True)
    typer.echo("\n".join(done.report.lines()))
    stones = [(call.sha256, call.piece) for call in said.calls]
    stones += [stone for pick in pairs.picks for stone in pick]
    samples = [measured.features[stone] for stone in dict.fromkeys(stones)][:3]
    kept = save_model(done.model, out, samples, retrained_card(done, loaded), loaded)
    if kept:
        typer.echo(f"the model that was in {out} is kept as {kept}", err=True)
    typer.echo(f"new model: {out}")
    if use:
        where = use_model(out, done.model.label, time, replaced=replaced)
        typer.echo(f"in use from now on: {done.model.label} ({where})")
