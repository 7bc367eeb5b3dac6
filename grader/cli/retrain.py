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
        typer.Option(metavar="NAME", callback=words, help="Learn from this person's calls alone."),
    ] = None,
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
    if by and tables:
        raise typer.BadParameter("a table is taken whole; leave it away", param_hint="--by")
    if photos and not tables:
        raise typer.BadParameter("goes with CALLS.csv or --comparisons", param_hint="--photos")
    from grader.called import called_in_ledger, called_in_tables
    from grader.errors import CallsError
    from grader.grading.learning.retrain import retrain as retrain_on
    from grader.grading.models.model_files import check_place, save_model
    from grader.ledger.facts import ModelUse
    from grader.report.card import retrained_card
    from grader.report.retrain_report import report_lines

    check_place(out)
    profile, base = session.profile, session.model(old)
    now = datetime.now().astimezone()
    # Known before anything is looked at or learned.
    ledger = session.ledger if tables else session.need_ledger("learning from your calls")
    if use:
        ledger = session.need_ledger("--use")
    with progress("looking") as on_photo:
        if tables:
            called = called_in_tables(
                calls,
                comparisons,
                photos or beside(calls, comparisons),
                session.with_usual_scale(terms),
                profile,
                ledger,
                time=now.isoformat(timespec="seconds"),
                on_photo=on_photo,
            )
        else:
            decider = session.settings.decider
            called = called_in_ledger(ledger, profile, by=by, decider=decider, on_photo=on_photo)
    for line in called.refused:
        typer.echo(line, err=True)
    if not tables and not called.calls and not called.comparisons:
        whose = f" by {by}" if by else ""
        raise CallsError(f"no call{whose} in the ledger yet; call some stones first: grader call")
    with progress("learning", "steps") as on_step:
        done = retrain_on(
            called.calls,
            called.features,
            profile,
            base,
            comparisons=called.comparisons,
            on_step=on_step,
        ).named(out.name, now.date().isoformat())
    for remark in done.refused:
        typer.echo(remark.text, err=True)
    typer.echo("\n".join(report_lines(done.report)))
    stones = [(call.sha256, call.piece) for call in called.calls]
    stones += [stone for pair in called.comparisons for stone in pair]
    samples = [called.features[stone] for stone in dict.fromkeys(stones)][:3]
    kept = save_model(done.model, out, samples, retrained_card(done, profile), profile)
    if kept:
        typer.echo(f"the model that was in {out} is kept as {kept}", err=True)
    typer.echo(f"new model: {out}")
    if use:
        ledger.add(ModelUse(folder=str(out.resolve()), label=done.model.label))
        typer.echo(f"in use from now on: {done.model.label}")
