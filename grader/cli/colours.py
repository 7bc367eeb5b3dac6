"""``grader colours``: a profile fitted to the seller's own stone."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import beside, check_picture, progress, takes_session, takes_terms


@takes_session
@takes_terms
def colours(
    source: Annotated[
        Path | None,
        typer.Argument(
            metavar="SPOTS.csv",
            help="Table photo,x,y,w,h,class of marked spots; with --grid the photo.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE.toml", help="Where the fitted profile is written."),
    ] = None,
    spot: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PHOTO,C4=CLASS",
            help="Spots by the cells of the grid, as IMG.jpg,C4=white,F9=blue; "
            "or PHOTO,X,Y,W,H,CLASS in px, W and H empty for a point. May be given again and again.",
        ),
    ] = None,
    grid: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.png", help="Write the photo with a lettered grid, to pick spots from."
        ),
    ] = None,
    *,
    terms,
    session,
) -> None:
    """Fit the colour classes of a profile to your stone: mark spots of blue, white and host (and of
    glare, if you like) on a few photos; two or three of each on four or five stones are enough.
    Without spots it is what you said of patches (grader call PHOTO --patch) that counts.

    A class moves only on evidence: outwards to what you marked as it, inwards from what you marked
    as another. Each stone is held out in turn, to say whether that gains. The rest of the profile
    stays as it is.
    """
    if grid is not None:
        _write_grid(source, grid, (out, spot), session)
        return
    _usage_of_out(out)
    from grader.colours import fit_profile, marked_photos, marked_spots
    from grader.files import write_new
    from grader.report.fitted import fitted_lines, written_words
    from grader.spots import read_spots_csv, spots_of

    if source or spot:
        spots = [*(read_spots_csv(source) if source else []), *spots_of(spot or [])]
    else:
        spots = marked_spots(session.need_ledger("a profile from your words on patches"))
    terms = session.with_usual_scale(terms)
    with progress("looking") as on_photo:
        photos = marked_photos(
            spots, beside(source), terms, session.profile, session.ledger, on_photo
        )
    fitted = fit_profile(spots, photos, session.profile_name, name=out.stem)
    write_new(out, fitted.text)
    typer.echo("\n".join(fitted_lines(fitted)))
    typer.echo(written_words(out, fitted), err=True)


def _usage_of_out(out: Path | None) -> None:
    from grader.settings import FILE

    if out is None:
        raise typer.BadParameter(
            "say where the profile is written, as mine.toml", param_hint="--out"
        )
    if out.exists() or out.name == FILE:
        raise typer.BadParameter(
            f"{out} is there already, or holds your settings; choose another name",
            param_hint="--out",
        )
    if out.suffix != ".toml":
        raise typer.BadParameter(f"{out}: end the name in .toml", param_hint="--out")


def _write_grid(photo: Path | None, grid: Path, others: tuple, session) -> None:
    """Write the photo with its grid; ``others`` are the options that do not go with it."""
    if photo is None:
        raise typer.BadParameter("name the photo that the grid is laid on", param_hint="--grid")
    if any(others):
        raise typer.BadParameter(
            "lay the grid first; then give --spot and --out without it", param_hint="--grid"
        )
    check_picture(grid, [photo], "--grid")
    from grader.photo.read import read_photo
    from grader.report.fitted import grid_words
    from grader.report.grid import grid_picture
    from grader.report.overlay import write_picture

    most = session.profile.limits.photo_megapixels
    write_picture(grid, grid_picture(read_photo(photo, max_megapixels=most, mm_per_px=None)))
    typer.echo(grid_words(photo, grid))
