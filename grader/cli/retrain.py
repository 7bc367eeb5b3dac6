"""``grader retrain``: a model from the seller's own calls, judged before it is used."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import ProfileOption, ScaleOption, settled


def retrain(
    calls: Annotated[Path, typer.Argument(metavar="CALLS.csv", help="photo, piece, grade, scene.")],
    photos: Annotated[
        Path,
        typer.Option(metavar="FOLDER", exists=True, file_okay=False, help="The photos it names."),
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", file_okay=False, help="Folder of the new model.")
    ],
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
    """Train a model on your calls and judge it beside the old one on calls that neither has
    seen."""
    from grader.calling import measure_called
    from grader.grading.calls_csv import read_calls_csv
    from grader.grading.model import save_model
    from grader.grading.retrain import retrain as retrain_on
    from grader.report.card import retrained_card
    from grader.settings import use_model

    loaded, base, mm_per_px = settled(profile, old, mm_per_px)
    now = datetime.now().astimezone()
    read = read_calls_csv(calls, loaded.grades, now.isoformat(timespec="seconds"))
    measured = measure_called(read, photos, loaded, mm_per_px=mm_per_px)
    for remark in (*measured.read.told, *measured.read.refused):
        typer.echo(f"{calls}: {remark}", err=True)
    done = retrain_on(
        measured.read.calls,
        measured.features,
        loaded,
        base,
        name=out.name,
        date=now.date().isoformat(),
    )
    for remark in done.refused:
        typer.echo(f"{calls}: {remark.text}", err=True)
    typer.echo("\n".join(done.report.lines()))
    called = [(call.sha256, call.piece) for call in measured.read.calls]
    samples = [measured.features[stone] for stone in dict.fromkeys(called)][:3]
    save_model(done.model, out, samples, retrained_card(done, loaded), loaded)
    typer.echo(f"new model: {out}")
    if use:
        typer.echo(f"in use from now on: {use_model(out)}")
