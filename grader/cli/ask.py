"""``grader ask``: stones of a graded folder to call next, those whose calls would tell most."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import CountOption, GradedFolder, takes_session


@takes_session
def ask(
    folder: GradedFolder,
    count: CountOption = 20,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv", help="Write them as a table to fill in, for grader call --from."
        ),
    ] = None,
    *,
    session,
) -> None:
    """Name the stones to call next: those whose calls would tell most of how you would grade the others.

    Stones with a called grade are left out; of several photos of one piece, one is asked for.
    """
    from grader.asking import stones_to_call
    from grader.files import check_new, write_new
    from grader.report.columns import calls_table
    from grader.report.headline import headline_words, proposal_of

    if out:
        check_new(out)
    asked = stones_to_call(folder, session, count)
    for stone in asked:
        typer.echo(
            f"{stone.file} stone {stone.piece['id']}: {headline_words(proposal_of(stone.piece))}"
        )
    if not asked:
        typer.echo("every stone there has a called grade, or no grade could be proposed", err=True)
    elif len(asked) < count:
        typer.echo(f"no more than these {len(asked)} stones are without a called grade", err=True)
    if out:
        write_new(out, calls_table([(s.look.record, s.piece) for s in asked]))
        typer.echo(f"fill in grade or scene, then: grader call --from {out}", err=True)
