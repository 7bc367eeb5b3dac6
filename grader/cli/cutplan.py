"""``grader cutplan``: where templates fit on a face, for the saw."""

import re
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
from grader.files import read_number


def _oval_mm(text: str) -> tuple[float, float]:
    """Long and short side in mm of "30x22", or of "20" for a round one."""
    parts = re.split(r"\s*[x×]\s*", text.strip().removesuffix("mm"))
    if len(parts) == 1 and "," in text:
        point, times = text.replace(",", "."), text.replace(",", "x")
        raise typer.BadParameter(f"{text!r}: a round or an oval? write {point} or {times}")
    try:
        sides = [read_number(part) for part in parts]
    except ValueError:
        sides = []
    if len(sides) not in (1, 2) or not all(3 <= side <= 300 for side in sides):
        raise typer.BadParameter(
            f"{text!r}: give long x short in mm, as 30x22, or 20 for a round one; 3 to 300 mm"
        )
    return max(sides), min(sides)


class PlanName(StrEnum):
    """Which of the plans is drawn; both are told."""

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
    from grader.cutting import cut_piece
    from grader.errors import GraderError
    from grader.looking import measured_again
    from grader.looks import ask_for
    from grader.made import write_made
    from grader.report.cutsheet import cut_record, cut_svg, cut_text, draw_cuts
    from grader.report.overlay import write_picture
    from grader.report.result import to_json

    ask = ask_for(photo, session.with_usual_scale(terms), session.ledger)
    measured = measured_again(ask, session.profile)
    stones = list(measured.pieces)
    if piece is not None:
        chosen = [stone for stone in stones if stone.piece.id == piece]
        if not chosen:
            there = {0: "no stone", 1: "one stone"}.get(len(stones), f"{len(stones)} stones")
            raise GraderError(
                f"{photo.name}: no piece {piece}, it holds {there}; give another number",
                "no_piece",
            )
        stones = chosen
    if svg and len(stones) != 1:
        raise GraderError(
            f"{photo.name}: a drawing holds one stone and here are {len(stones)}; "
            + ("name it with --piece" if stones else "take the photo again"),
            "no_piece",
        )
    cut = tuple(cut_piece(stone, template, margin_mm, session.profile) for stone in stones)
    typer.echo(to_json(cut_record(measured, cut)) if json else cut_text(measured, cut))
    if picture:
        write_picture(picture, draw_cuts(measured, cut, plan.value))
    if svg:
        title = f"{photo.name}, stone {stones[0].piece.id}"
        write_made(svg, cut_svg(cut[0], plan.value, title).encode())
