"""The command line: parses, calls one public function, prints. Data goes to stdout, talk to
stderr."""

import sys
import warnings
from typing import Annotated

import typer
from typer.core import TyperGroup

from grader import __version__
from grader.cli import (
    ask,
    batch,
    call,
    card,
    check,
    colours,
    cutplan,
    doctor,
    models,
    retrain,
    second_look,
)
from grader.errors import GraderError, ModelError, SettingsError


class ToldErrors(TyperGroup):
    """Ends every error of the family as one line on stderr.

    Exit code 2 where what the command was given to work with does not make sense, so that no photo
    was looked at; else 1.
    """

    def invoke(self, ctx):
        try:
            return super().invoke(ctx)
        except GraderError as err:
            typer.echo(f"grader: {err}", err=True)
            raise typer.Exit(2 if isinstance(err, SettingsError | ModelError) else 1) from err


app = typer.Typer(
    cls=ToldErrors,
    help="Grades photographed faces of banded scenic rough. The last word is the seller's.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("check", short_help="Grade photos, one by one.")(check.check)
app.command("batch", short_help="Grade a folder of photos.")(batch.batch)
app.command("call", short_help="Say what a stone is.")(call.call)
app.command("retrain", short_help="Train on your calls.")(retrain.retrain)
app.command("models", short_help="List, compare and choose models.")(models.models)
app.command("ask", short_help="Name the stones to call next.")(ask.ask)
app.command("second-look", short_help="Sort called stones again, blind.")(second_look.second_look)
app.command("colours", short_help="Fit a profile to your stone.")(colours.colours)
app.command("cutplan", short_help="Plan the cuts for the saw.")(cutplan.cutplan)
app.command("card", short_help="Print the photo card.")(card.card)
app.command("doctor", short_help="Show what a photo holds to measure by.")(doctor.doctor)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"grader {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Grades photographed faces of banded scenic rough. The last word is the seller's."""


def run() -> None:
    """Entry point of ``grader``."""
    for stream in (sys.stdout, sys.stderr):
        # A grade named in another script must not end a command on a console that cannot show it.
        stream.reconfigure(errors="backslashreplace")
    # Of processes that start anew; it tells a seller nothing.
    warnings.filterwarnings("ignore", message="A worker stopped")
    app()
