"""``grader retrain``: a model from the seller's own calls, judged before it is used."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    PhotosOption,
    beside,
    folder_place,
    progress,
    takes_session,
    takes_terms,
    words,
)


@takes_session
@takes_terms
def retrain(
    out: Annotated[
        Path, typer.Option(metavar="DIR", callback=folder_place, help="Folder of the new model.")
    ],
    calls: Annotated[
        Path | None,
        typer.Argument(
            metavar="CALLS.csv",
            help="Learn from this table alone; else from all calls in the ledger.",
        ),
    ] = None,
    comparisons: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv",
            help="better_photo, better_piece, other_photo, other_piece: which of two scenes is better.",
        ),
    ] = None,
    photos: PhotosOption = None,
    by: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            callback=words,
            help="Learn from this person's calls alone; else from the house's, the decider's word first.",
        ),
    ] = None,
    agreed: Annotated[
        bool,
        typer.Option(
            "--agreed", help="Learn only from stones that two or more people called, all alike."
        ),
    ] = False,
    old: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="DIR|starter", help="Model to start from; else the one in use."
        ),
    ] = None,
    use: Annotated[bool, typer.Option("--use", help="Take it into use from now on.")] = False,
    *,
    terms,
    session,
) -> None:
    """Train a model on your calls and judge it beside the old one on those that neither has seen.

    Comparisons teach the scene score alone. To begin again: --from starter.
    """
    tables = calls is not None or comparisons is not None
    _check_whose(by, agreed, tables)
    if photos and not tables:
        raise typer.BadParameter("goes with CALLS.csv or --comparisons", param_hint="--photos")
    from grader.grading.models.model_files import check_place
    from grader.report.retrain_report import report_lines
    from grader.retraining import called_by, check_called, learned, save_learned, whose_words

    check_place(out)
    profile, base = session.profile, session.model(old)
    now = datetime.now().astimezone()
    # Known before anything is looked at or learned.
    if use:
        session.need_ledger("--use")
    if tables:
        terms = session.with_usual_scale(terms)
        called = _in_tables(calls, comparisons, photos, terms, session, now)
    else:
        with progress("looking") as on_photo:
            called = called_by(session, by, agreed, on_photo)
    for line in called.refused:
        typer.echo(line, err=True)
    if not tables:
        check_called(called, by, agreed)
    with progress("learning", "steps") as on_step:
        done = learned(
            called,
            profile,
            base,
            named=(out.name, now.date().isoformat()),
            whose=whose_words(by, agreed),
            on_step=on_step,
        )
    for remark in done.refused:
        typer.echo(remark.text, err=True)
    typer.echo("\n".join(report_lines(done.report)))
    kept = save_learned(done, called, out, profile)
    if kept:
        typer.echo(f"the model that was in {out} is kept as {kept}", err=True)
    typer.echo(f"new model: {out}")
    if use:
        session.note_use(out.resolve(), done.model)
        typer.echo(f"in use from now on: {done.model.label}")


def _check_whose(by: str | None, agreed: bool, tables: bool) -> None:
    for given, name in ((by, "--by"), (agreed, "--agreed")):
        if given and tables:
            raise typer.BadParameter("a table is taken whole; leave it away", param_hint=name)
    if by and agreed:
        raise typer.BadParameter("one person's calls, or those of all who agree", param_hint="--by")


def _in_tables(calls: Path | None, comparisons: Path | None, photos, terms, session, now: datetime):
    from grader.called import called_in_tables

    with progress("looking") as on_photo:
        return called_in_tables(
            calls,
            comparisons,
            photos or beside(calls, comparisons),
            terms,
            session.profile,
            session.ledger,
            time=now.isoformat(timespec="seconds"),
            on_photo=on_photo,
        )
