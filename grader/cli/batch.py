"""``grader batch``: a folder of photos into a table and a sheet."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    HeightOption,
    ModelOption,
    ProfileOption,
    ScaleOption,
    ScalePxOption,
    StateOption,
    WholeOption,
    folder_place,
    folder_there,
    scale_of,
    settled,
    whole_number,
    working_calls,
)


def batch(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", callback=folder_there, help="Every photo below it is graded."
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Where the results go; FOLDER/graded by default.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            parser=whole_number(1),
            help="Processes; as many as there are cores by default.",
        ),
    ] = None,
    profile: ProfileOption = None,
    model: ModelOption = None,
    mm_per_px: ScaleOption = None,
    scale_px: ScalePxOption = None,
    height_mm: HeightOption = None,
    whole: WholeOption = False,
    state: StateOption = None,
) -> None:
    """Grade every photo below a folder; run again, it grades only what is new or changed.

    Writes results.jsonl, results.csv and sheet.html. Exit code 1 if a photo could not be read; the
    rest is graded.
    """
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    from grader.batch import grade_folder

    profile, model, mm_per_px = settled(profile, model, scale_of(mm_per_px, scale_px))
    columns = ("grading", BarColumn(), MofNCompleteColumn(), "photos", TimeRemainingColumn())
    calls = working_calls()
    try:
        with Progress(*columns, console=Console(stderr=True)) as progress:
            bar = progress.add_task("", total=None)
            done = grade_folder(
                folder,
                out=out,
                profile=profile,
                model=model,
                mm_per_px=mm_per_px,
                height_mm=height_mm,
                whole=whole,
                state=state,
                workers=workers,
                calls=calls,
                on_photo=lambda count, total: progress.update(bar, completed=count, total=total),
            )
    except KeyboardInterrupt:
        typer.echo("stopped; what is done is kept: run it again to go on", err=True)
        raise typer.Exit(130) from None
    for line in _told(done):
        typer.echo(line, err=True)
    typer.echo(done.sheet)
    if done.failed:
        raise typer.Exit(1)


def _told(done) -> list[str]:
    """What a person should know of a batch, a line each."""
    from grader.report.calls import lost_words

    graded = [record for record in done.records if "error" not in record]
    stones = sum(len(record["pieces"]) for record in graded)
    lines = [
        f"{_many(len(graded), 'photo')} graded, {_many(stones, 'stone')}"
        + (f"; {_many(done.reused, 'photo')} of before, not changed" if done.reused else "")
    ]
    lines += [
        f"no stone found: {record['photo']['file']}" for record in graded if not record["pieces"]
    ]
    lines += [f"same photo: {file} and {same}" for file, same in done.duplicates]
    lines += lost_words(done.records, done.lost_calls)
    lines += [f"failed: {record['error']['text']}" for record in done.failed]
    return lines


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
