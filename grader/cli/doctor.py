"""``grader doctor``: what was found in one photo, as a picture and a table."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import check_picture, takes_session, takes_terms


@takes_session
@takes_terms
def doctor(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="One photo.")],
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the photo with all that was found drawn in."),
    ] = None,
    *,
    terms,
    session,
) -> None:
    """Show what a photo holds to measure by: card, chart, scale, white, light, glare, and why a verdict was given."""
    check_picture(picture, [photo])
    from grader.looking import measured_again
    from grader.looks import ask_for
    from grader.report.found import draw_found, found_text
    from grader.report.overlay import write_picture

    ask = ask_for(photo, session.with_usual_scale(terms), session.ledger)
    measured = measured_again(ask, session.profile)
    typer.echo(found_text(measured))
    if picture:
        write_picture(picture, draw_found(measured))
