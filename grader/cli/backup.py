"""``grader backup``, ``restore`` and ``take-in``: the ledger kept in one file, brought back, joined with another."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import takes_session


@takes_session
def backup(
    out: Annotated[
        Path,
        typer.Option(metavar="FILE.zip", help="Where to put it; must be new."),
    ],
    *,
    session,
) -> None:
    """Put the ledger, what it keeps of stones and the model in use into one file.

    Your photos, grader.toml and other models are not in it: copy them too.
    """
    from grader.errors import ModelError
    from grader.grading.models.model_files import place_of
    from grader.ledger import backup as backups
    from grader.ledger import views
    from grader.report.kept import backup_lines

    ledger = session.need_ledger("a backup")
    uses = [entry.fact for entry in views.model_uses(ledger)]
    use, place = session.model_use, None
    try:
        if use and use.folder:
            place = place_of(Path(use.folder), use.label or "")
    except ModelError as err:
        typer.echo(f"the model in use cannot be put in: {err}", err=True)
    pictures = backups.backup(ledger, out, place)
    others = dict.fromkeys(
        one.folder for one in uses if one.folder and (one.folder, one.label) != _named(use)
    )
    models = [folder for folder in others if Path(folder).is_dir()]
    label = use.label if place else None
    files = session.own_files
    for line in backup_lines(out, views.counts(ledger), pictures, label, models, files):
        typer.echo(line)


def _named(use) -> tuple[str | None, str | None]:
    return (use.folder, use.label) if use else (None, None)


@takes_session
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="What grader backup wrote.")],
    *,
    session,
) -> None:
    """Bring a backup back as your ledger; the ledger that is there is kept beside it.

    Photos are found again by their content when you grade them, wherever they lie now.
    """
    from grader.errors import LedgerError
    from grader.ledger import backup as backups
    from grader.ledger import views
    from grader.report.kept import facts_words, pictures_words

    if session.dry:
        raise LedgerError("restoring needs the ledger; leave --no-ledger out")
    done = backups.restore(file, session.ledger_path)
    counts = views.counts(session.ledger)
    typer.echo(
        f"restored: {session.ledger_path}: {facts_words(counts)}, {pictures_words(done.pictures)}"
    )
    if done.aside:
        typer.echo(f"the ledger that was there is kept as {done.aside}")
    if done.model:
        typer.echo(f"in use from now on: {session.model_use.label} ({done.model})")


@takes_session
def take_in(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Another ledger, or a backup of one.")
    ],
    *,
    session,
) -> None:
    """Add what another ledger holds and yours does not: calls, words, measurements, pictures. Twice is once.

    The model in use stays yours.
    """
    from grader.grading.models.model_files import load_model
    from grader.ledger import views
    from grader.ledger.facts import ModelUse
    from grader.ledger.merge import take_in_file
    from grader.report.kept import taken_in_lines

    ledger = session.need_ledger("taking in")
    in_use = session.model_use or ModelUse(folder=None, label=load_model().label)
    had_calls = "call" in views.counts(ledger)
    taken = take_in_file(ledger, file, in_use)
    for line in taken_in_lines(file, taken.new, taken.known, taken.pictures, had_calls):
        typer.echo(line)
