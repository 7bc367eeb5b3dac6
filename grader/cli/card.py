"""``grader card``: the card that lies beside the stone, to print."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import number


class Paper(StrEnum):
    """What the printer is loaded with."""

    a4 = "a4"
    letter = "letter"


def card(
    out: Annotated[Path, typer.Option(metavar="FILE.pdf", help="Where the card is written.")],
    paper: Annotated[Paper, typer.Option(help="What the printer is loaded with.")] = Paper.a4,
    measured: Annotated[
        float,
        typer.Option(
            metavar="MM",
            parser=number(0, 1000),
            help="How long the 100 mm bar of your first print is; this one comes out true.",
        ),
    ] = 100.0,
) -> None:
    """Write the photo card and a page on how to photograph with it. Print at 100 %, measure the
    bar."""
    if out.suffix.lower() != ".pdf":
        raise typer.BadParameter(f"{out}: end the name in .pdf", param_hint="--out")
    if out.exists():
        raise typer.BadParameter(f"{out} is there already; choose another name", param_hint="--out")
    from grader.files import write_bytes
    from grader.report.photo_card import card_pdf

    write_bytes(out, card_pdf(paper.value, measured))
    typer.echo(
        f"{out} written; print it at 100 % and measure the bar"
        + ("" if measured == 100 else f": 100 mm now, with this printer (it drew {measured:g})"),
        err=True,
    )
