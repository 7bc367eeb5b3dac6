"""``grader batch``: a folder of photos into a table and a sheet."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    AnewOption,
    ModelOption,
    existing_folder,
    folder_place,
    progress,
    takes_session,
    takes_terms,
    whole_number,
)


@takes_session
@takes_terms
def batch(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", callback=existing_folder, help="Every photo below it is graded."
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
    model: ModelOption = None,
    anew: AnewOption = False,
    *,
    terms,
    session,
) -> None:
    """Grade every photo below a folder; run again, it measures only what is new or changed.

    Writes results.jsonl, results.csv and sheet.html. Exit code 1 if a photo could not be read; the
    rest is graded.
    """
    from grader.batch import grade_folder

    try:
        with progress("grading") as on_photo:
            done = grade_folder(
                folder,
                session.profile,
                session.model(model),
                session.ledger,
                terms=session.with_usual_scale(terms),
                out=out,
                workers=workers,
                anew=anew,
                decider=session.settings.decider,
                on_photo=on_photo,
            )
    except KeyboardInterrupt:
        kept = "nothing is kept" if session.ledger is None else "what is done is kept"
        typer.echo(f"stopped; {kept}: run it again to go on", err=True)
        raise typer.Exit(130) from None
    for line in _told(done):
        typer.echo(line, err=True)
    typer.echo(done.sheet)
    if done.failed:
        raise typer.Exit(1)


def _told(done) -> list[str]:
    """What a person should know of a batch, a line each."""
    from grader.report.calls import lost_words
    from grader.report.words import models_words, unsettled_words

    graded = [record for record in done.records if "error" not in record]
    stones = sum(len(record["pieces"]) for record in graded)
    proposed = models_words(graded)
    lines = [
        f"{_many(len(graded), 'photo')} graded, {_many(stones, 'stone')}"
        + (f"; {_many(done.known, 'photo')} known before" if done.known else "")
        + (f"; {proposed}" if proposed else "")
    ]
    lines += [
        f"no stone found: {record['photo']['file']}" for record in graded if not record["pieces"]
    ]
    lines += [f"same photo: {file} and {same}" for file, same in done.duplicates]
    lines += lost_words(done.records, done.lost_calls)
    if unsettled := unsettled_words(graded):
        lines.append(unsettled)
    lines += [str(kept) for kept in done.kept_aside]
    lines += [f"failed: {record['error']['text']}" for record in done.failed]
    return lines


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
