"""``grader doctor``: what was found in one photo, as a picture and a table."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    HeightOption,
    PaperOption,
    ProfileOption,
    ScaleOption,
    ScalePxOption,
    StateOption,
    TrayOption,
    WholeOption,
    check_picture,
    neutral_of,
    scale_of,
    settled,
)


def doctor(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="One photo.")],
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the photo with all that was found drawn in."),
    ] = None,
    profile: ProfileOption = None,
    mm_per_px: ScaleOption = None,
    scale_px: ScalePxOption = None,
    height_mm: HeightOption = None,
    paper_at: PaperOption = None,
    tray_at: TrayOption = None,
    whole: WholeOption = False,
    state: StateOption = None,
) -> None:
    """Show what a photo holds to measure by: card, chart, scale, white, light, glare, and why a verdict was given."""
    check_picture(picture, [photo])
    from grader.grade import grade_photo
    from grader.report.found import draw_found, found_text
    from grader.report.overlay import write_picture

    loaded_profile, model, mm_per_px = settled(profile, None, scale_of(mm_per_px, scale_px))
    graded = grade_photo(
        photo,
        profile=loaded_profile,
        model=model,
        mm_per_px=mm_per_px,
        height_mm=height_mm,
        neutral=neutral_of(paper_at, tray_at),
        whole=whole,
        state=state,
    )
    typer.echo(found_text(graded))
    if picture:
        write_picture(picture, draw_found(graded))
