"""``grader colours``: a profile fitted to the seller's own stone."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import beside, progress, takes_session, takes_terms
from grader.settings import FILE


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
    if out.exists() or out.name == FILE:
        raise typer.BadParameter(
            f"{out} is there already, or holds your settings; choose another name",
            param_hint="--out",
        )
    if out.suffix != ".toml":
        raise typer.BadParameter(f"{out}: end the name in .toml", param_hint="--out")
    from grader.colours import fit_profile, marked_photos, read_spots_csv, spots_of
    from grader.files import write_new

    spots = [*(read_spots_csv(table) if table else []), *spots_of(spot or [])]
    terms = session.with_usual_scale(terms)
    with progress("looking") as on_photo:
        photos = marked_photos(
            spots, beside(table), terms, session.profile, session.ledger, on_photo
        )
    fitted = fit_profile(spots, photos, session.profile_name, name=out.stem)
    write_new(out, fitted.text)
    typer.echo(_told(fitted))
    use = f"; use it: grader check PHOTO --profile {out}" if fitted.better else ""
    typer.echo(f"{out} written{use}", err=True)


def _told(fitted) -> str:
    """What was marked, how the ranges lie now, and what it changes, as plain lines."""
    from grader.report.words import percent

    spots = ", ".join(f"{name} {count}" for name, count in fitted.spots.items())
    lines = [f"spots marked: {spots}", f"{'class':<10} {'L*':>12} {'C*ab':>12} {'h_ab':>14}"]
    for colour in fitted.profile.colours:
        light, chroma, hue = (
            f"{low:g} to {high:g}"
            for low, high in (colour.lightness, colour.chroma, colour.hue_deg)
        )
        lines.append(f"{colour.name:<10} {light:>12} {chroma:>12} {hue:>14}")
    for face in fitted.shares:
        changes = ", ".join(
            f"{name} {percent(share)} -> {percent(face.after[name])}"
            for name, share in face.before.items()
        )
        lines.append(f"{face.photo} stone {face.piece}: {changes}")
    for spot in fitted.off_stone:
        lines.append(f"{spot.where}: on no stone that was found; its colour counts all the same")
    for spot in fitted.wrong:
        lines.append(f"{spot.where}: marked {spot.name}, still named otherwise")
    if not fitted.better:
        lines.append(
            f"no gain on these spots: {len(fitted.wrong_before)} named otherwise before, "
            f"{len(fitted.wrong)} now; mark more spots, or keep the profile you had"
        )
    return "\n".join(lines)
