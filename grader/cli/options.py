"""Options that several commands share, declared once."""

import math
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.settings import MOST_MM_PER_PX, load_settings


def _positive(value: float | None) -> float | None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise typer.BadParameter("give a number above 0")
    if value is not None and value > MOST_MM_PER_PX:
        raise typer.BadParameter(
            f"{value:g} mm for one px is too coarse to grade by; is it px per mm? give mm per px"
        )
    return value


ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", metavar="NAME|FILE", help="A shipped profile or a TOML file."),
]
ModelOption = Annotated[
    Path | None,
    typer.Option(
        "--model", metavar="DIR", help="Folder of a trained model; the starter by default."
    ),
]
ScaleOption = Annotated[
    float | None,
    typer.Option(
        "--mm-per-px",
        metavar="X",
        callback=_positive,
        help="Millimetres per px of the full-size photo.",
    ),
]
WholeOption = Annotated[
    bool, typer.Option("--whole", help="The picture is filled by one face: cut nothing out.")
]


class SeenState(StrEnum):
    """How the faces were photographed, in the seller's word."""

    wet = "wet"
    dry = "dry"
    patchy = "patchy"


StateOption = Annotated[
    SeenState | None,
    typer.Option(
        "--state", help="How the faces were photographed; wins over what the photo shows."
    ),
]


def settled(profile: str | None, model: Path | None, mm_per_px: float | None):
    """Return profile, model and scale loaded: the command line wins over ``grader.toml`` of the
    working folder."""
    from grader.grading.model import load_model
    from grader.profile import load_profile

    settings = load_settings()
    return (
        load_profile(profile or settings.profile),
        load_model(model or (settings.model and Path(settings.model))),
        mm_per_px if mm_per_px is not None else settings.mm_per_px,
    )


def working_calls():
    """Return the calls made in the working folder so far; a line that holds no call is told and
    left."""
    from grader.grading.calls import read_calls

    read = read_calls()
    for remark in read.refused:
        typer.echo(str(remark), err=True)
    return read.calls
