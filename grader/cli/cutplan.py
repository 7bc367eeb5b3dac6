"""``grader cutplan``: where templates fit on a face, for the saw."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    check_made,
    check_picture,
    number,
    takes_session,
    takes_terms,
    whole_number,
)


def _oval_mm(text: str) -> tuple[float, float]:
    from grader.cutting import oval_mm_of

    try:
        return oval_mm_of(text)
    except ValueError as err:
        raise typer.BadParameter(str(err)) from None


class PlanName(StrEnum):
    """Which of the plans is drawn; the text holds both."""

    most = "most"
    scenes = "scenes"


@takes_session
@takes_terms
def cutplan(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="Photo of stone faces.")],
    piece: Annotated[
        int | None,
        typer.Option(
            metavar="N", parser=whole_number(1), help="Only this stone, where there are more."
        ),
    ] = None,
    template: Annotated[
        str,
        typer.Option(metavar="LxS", parser=_oval_mm, help="The oval in mm; one number is a round."),
    ] = "30x22",
    margin_mm: Annotated[
        float,
        typer.Option(
            metavar="MM",
            parser=number(0, 20),
            help="Kept between templates, from outline and lines.",
        ),
    ] = 1.5,
    plan: Annotated[PlanName, typer.Option(help="Which plan is drawn.")] = PlanName.most,
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write one stone's plan in true size.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON alone.")] = False,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the photo with the plan drawn in.")
    ] = None,
    *,
    terms,
    session,
) -> None:
    """Plan the cuts: how many templates fit with no line seen in them, as many as can be, or the best scenes first."""
    check_picture(picture, [photo])
    if svg and svg.suffix.lower() != ".svg":
        raise typer.BadParameter(f"{svg}: end the name in .svg", param_hint="--svg")
    check_made(svg, "--svg")
    from grader.cutting import cut_piece, stones_to_cut
    from grader.looking import measured_again
    from grader.looks import ask_for
    from grader.made import write_made
    from grader.report.cutsheet import cut_record, cut_svg, cut_text, draw_cuts
    from grader.report.json_text import to_json
    from grader.report.overlay import write_picture

    ask = ask_for(photo, session.with_usual_scale(terms), session.ledger)
    measured = measured_again(ask, session.profile)
    stones = stones_to_cut(measured, piece, one=svg is not None)
    cut = tuple(cut_piece(stone, template, margin_mm, session.profile) for stone in stones)
    typer.echo(to_json(cut_record(measured, cut)) if json else cut_text(measured, cut))
    if picture:
        write_picture(picture, draw_cuts(measured, cut, plan.value))
    if svg:
        write_made(svg, cut_svg(cut[0], plan.value, photo.name).encode())
