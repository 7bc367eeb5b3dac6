"""``grader retrain``: a model from the seller's own calls, judged before it is used."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import ProfileOption, ScaleOption


def retrain(
    calls: Annotated[
        Path, typer.Argument(metavar="CALLS.csv", help="Table with photo, piece, grade and scene.")
    ],
    photos: Annotated[
        Path,
        typer.Option(
            metavar="FOLDER", exists=True, file_okay=False, help="The photos that it names."
        ),
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", file_okay=False, help="Folder of the new model.")
    ],
    old: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="DIR", help="Model to start from; the one in use by default."
        ),
    ] = None,
    use: Annotated[
        bool, typer.Option("--use", help="Make it this folder's model, in grader.toml.")
    ] = False,
    profile: ProfileOption = None,
    mm_per_px: ScaleOption = None,
) -> None:
    """Train a model on your calls and judge it beside the old one on calls that neither has seen."""
