"""The command line: parses, calls one public function, prints. Data goes to stdout, talk to
stderr."""

import sys
import warnings
from contextlib import redirect_stderr, redirect_stdout
from typing import Annotated, TextIO

import typer
from typer.core import TyperGroup

from grader import __version__
from grader.cli import (
    acts,
    ask,
    backup,
    batch,
    call,
    calls,
    card,
    care,
    check,
    colours,
    cutplan,
    demo,
    doctor,
    export,
    haul,
    keep,
    labels,
    limits,
    listing,
    lots,
    models,
    parcel,
    retrain,
    second_look,
    selling,
    table,
    trip,
    weigh,
)
from grader.errors import GraderError, ModelError, SettingsError, harmless

#: What the command line itself refuses.
UsageError = typer.BadParameter.__base__


class HarmlessStream:
    """A text stream that only shows what is written: names of files, models and people may hold letters that would
    steer a terminal."""

    #: Of one that takes ASCII alone Typer would go round it, to the bytes below.
    encoding = "utf-8"

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        #: Where rich draws its bar, which steers by intent and holds no names.
        self.rich_proxied_file = stream

    def write(self, text: str) -> int:
        # While the bar is there rich stands before this stream, and what comes is what it draws.
        drawn = self is not sys.stdout and self is not sys.stderr
        # By bytes Typer tries whether this is a text stream: such a one refuses them.
        return self._stream.write(text if drawn or isinstance(text, bytes) else harmless(text))

    def writelines(self, lines) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str):
        return getattr(self._stream, name)


class OneLineErrors(TyperGroup):
    """Ends every error as one line on stderr, and makes all that is printed harmless to a terminal.

    Exit code 2 where what the command was given to work with does not make sense, so that no photo
    was looked at; else 1.
    """

    def main(self, *args, **named):
        # Here, around every command: so that none can forget it.
        with (
            redirect_stdout(HarmlessStream(sys.stdout)),
            redirect_stderr(HarmlessStream(sys.stderr)),
        ):
            return super().main(*args, **named)

    def parse_args(self, ctx, args):
        if not args:  # Then the help is shown.
            return super().parse_args(ctx, args)
        try:
            return super().parse_args(ctx, args)
        except UsageError as err:
            typer.echo(usage_line(err), err=True)
            raise typer.Exit(2) from err

    def invoke(self, ctx):
        try:
            return super().invoke(ctx)
        except UsageError as err:
            typer.echo(usage_line(err), err=True)
            raise typer.Exit(2) from err
        except GraderError as err:
            typer.echo(f"grader: {err}", err=True)
            raise typer.Exit(2 if isinstance(err, SettingsError | ModelError) else 1) from err


def usage_line(err) -> str:
    """Return what is wrong with a command as one line: command, option, what is wrong, what to do."""
    command = err.ctx.command_path if err.ctx else "grader"
    if not isinstance(err, typer.BadParameter):
        message = err.format_message().rstrip(".")
        return f"{command}: {message[:1].lower()}{message[1:]} ({command} --help tells more)"
    name = err.param_hint or (_name(err.param) if err.param else "what it was given")
    if not err.message:
        return f"{command}: {name} is missing; {command} --help tells what it is"
    return f"{command}: {name}: {err.message.removeprefix('Value error, ').rstrip('.')}"


def _name(param) -> str:
    """An option as it is typed, an argument as the help calls it."""
    return param.opts[0] if param.opts[0].startswith("-") else param.metavar


app = typer.Typer(
    cls=OneLineErrors,
    help="Grades photographed faces of banded scenic rough. The last word is the seller's.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("check", short_help="Grade photos, one by one.")(check.check)
app.command("batch", short_help="Grade a folder of photos.")(batch.batch)
app.command("call", cls=call.FromDownloads, short_help="Say what a stone is.")(call.call)
app.command("calls", short_help="List what was called.")(calls.calls)
app.command("retrain", short_help="Train on your calls.")(retrain.retrain)
app.command("models", short_help="List, compare and choose models.")(models.models)
app.command("ask", short_help="Name the stones to call next.")(ask.ask)
app.command("second-look", short_help="Sort called stones again, blind.")(second_look.second_look)
app.command("colours", short_help="Fit a profile to your stone.")(colours.colours)
app.command("cutplan", short_help="Plan the cuts for the saw.")(cutplan.cutplan)
app.add_typer(trip.trip, name="trip", short_help="Begin a trip to dig.")
app.add_typer(haul.haul, name="haul", short_help="Keep what a trip brought home.")
app.command("weigh", short_help="Weigh pieces and lots.")(weigh.weigh)
app.command("keep-or-break", short_help="Weigh a piece whole against broken.")(keep.keep_or_break)
app.command("break", short_help="Break a piece into new ones.")(acts.break_)
app.add_typer(lots.lots, name="lots", short_help="Make up lots of equal weight.")
app.command("chips", short_help="Fill bags of chips.")(lots.chips)
app.add_typer(selling.prices, name="prices", short_help="Set your price table.")
app.command("labels", short_help="Print labels and tags.")(labels.labels)
app.command("describe", short_help="Say what no photo shows.")(listing.describe)
app.command("listing", short_help="List pieces and lots for buyers.")(listing.listing)
app.command("answer", short_help="Answer what buyers ask.")(listing.answer)
app.command("sell", short_help="Sell pieces and lots.")(selling.sell)
app.command("reserve", short_help="Hold pieces for somebody.")(selling.reserve)
app.command("slip", short_help="Write the packing slip of an order.")(selling.slip)
app.command("return", short_help="Take a sale back in.")(selling.come_back)
app.command("buyers", short_help="List buyers, erase a name.")(selling.buyers)
app.command("parcel", short_help="Find the box that takes it.")(parcel.parcel)
app.add_typer(limits.limits, name="limits", short_help="Add up limits that you typed.")
app.command("undo", short_help="Take your last act back.")(acts.undo)
app.command("history", short_help="Show all that was done with it.")(acts.history)
app.command("export", short_help="Write all as tables.")(export.export)
app.command("backup", short_help="Save the whole ledger.")(backup.backup)
app.command("restore", short_help="Put a backup back.")(backup.restore)
app.command("take-in", short_help="Add another ledger's facts.")(backup.take_in)
app.command("table", short_help="Sort in the browser.")(table.table)
app.command("card", short_help="Print the photo card.")(card.card)
app.command("care", short_help="Show all cautions.")(care.care)
app.command("demo", short_help="Make an invented season to try.")(demo.demo)
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
