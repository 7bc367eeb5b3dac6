"""``grader colours``: a profile fitted to the seller's own stone."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import beside, progress, takes_session, takes_terms


@takes_session
@takes_terms
def colours(
    out: Annotated[
        Path, typer.Option(metavar="FILE.toml", help="Where the fitted profile is written.")
    ],
    table: Annotated[
        Path | None,
        typer.Argument(metavar="SPOTS.csv", help="Table photo,x,y,w,h,class of marked spots."),
    ] = None,
    spot: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PHOTO,X,Y,W,H,CLASS",
            help="One spot in px; leave W and H empty for a point. May be given again and again.",
        ),
    ] = None,
    *,
    terms,
    session,
) -> None:
    """Fit the colour classes of a profile to your stone: mark a few spots of blue, white and host
    on a few photos.

    A class moves only on evidence: outwards to what you marked as it, inwards from what you marked
    as another. The rest of the profile stays as it is.
    """
    if table is None and not spot:
        raise typer.BadParameter("give a table of spots, or --spot", param_hint="SPOTS.csv")
    from grader.settings import FILE

    if out.exists() or out.name == FILE:
        raise typer.BadParameter(
            f"{out} is there already, or holds your settings; choose another name",
            param_hint="--out",
        )
    if out.suffix != ".toml":
        raise typer.BadParameter(f"{out}: end the name in .toml", param_hint="--out")
    from grader.colours import fit_profile, marked_photos
    from grader.files import write_new
    from grader.report.fitted import fitted_lines, written_words
    from grader.spots import read_spots_csv, spots_of

    spots = [*(read_spots_csv(table) if table else []), *spots_of(spot or [])]
    terms = session.with_usual_scale(terms)
    with progress("looking") as on_photo:
        photos = marked_photos(
            spots, beside(table), terms, session.profile, session.ledger, on_photo
        )
    fitted = fit_profile(spots, photos, session.profile_name, name=out.stem)
    write_new(out, fitted.text)
    typer.echo("\n".join(fitted_lines(fitted)))
    typer.echo(written_words(out, fitted), err=True)
