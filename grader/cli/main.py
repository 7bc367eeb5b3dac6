"""The command line: parses, calls one public function, prints. Data goes to stdout, talk to
stderr."""

import atexit
import gc
import os
import sys
import warnings
from contextlib import redirect_stderr, redirect_stdout, suppress
from functools import cache
from typing import Annotated, TextIO

import typer
from typer.core import TyperCommand, TyperGroup

from grader import __version__
from grader.cli.commands import COMMANDS, command_of
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
    """All commands, each read when it is asked for. Ends every error as one line on stderr, and makes all that is
    printed harmless to a terminal.

    Exit code 2 where what the command was given to work with does not make sense, so that no photo
    was looked at; else 1.
    """

    def __init__(self, **named) -> None:
        listed = {
            name: TyperCommand(name, short_help=place.short_help, rich_markup_mode=None)
            for name, place in COMMANDS.items()
        }
        super().__init__(**named | {"commands": listed})
        self._read = cache(command_of)

    def resolve_command(self, ctx, args):
        name, _, rest = super().resolve_command(ctx, args)
        return name, self._read(name), rest

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
    """Return what is wrong with a command as one line: command, option, what is wrong, what to do; else its help."""
    command = err.ctx.command_path if err.ctx else "grader"
    if not isinstance(err, typer.BadParameter):
        message = err.format_message().rstrip(".")
        if message.startswith("Usage:"):  # A word with several under it, alone: these are shown.
            return message
        return f"{command}: {message[:1].lower()}{message[1:]} ({command} --help tells more)"
    name = err.param_hint or (_name(err.param) if err.param else "what it was given")
    if not err.message:
        return f"{command}: {name} is missing; {command} --help tells what it is"
    return f"{command}: {name}: {err.message.removeprefix('Value error, ').rstrip('.')}"


def _name(param) -> str:
    """An option as it is typed, an argument as the help calls it."""
    return param.opts[0] if param.opts[0].startswith("-") else param.metavar or param.name.upper()


app = typer.Typer(
    cls=OneLineErrors,
    help="Grades photographed faces of banded scenic rough. The last word is the seller's.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


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
    # What is loaded stays: to look through it for rubbish again and again takes a tenth of the start.
    gc.set_threshold(200_000)
    # And nobody needs it looked through when all is done and goes anyway: that takes a fifth of a short command.
    atexit.register(gc.freeze)
    for stream in (sys.stdout, sys.stderr):
        # A grade named in another script must not end a command on a console that cannot show it.
        stream.reconfigure(errors="backslashreplace")
    # Of processes that start anew; it tells a seller nothing.
    warnings.filterwarnings("ignore", message="A worker stopped")
    try:
        app()
    except SystemExit as end:
        # Who read no photo has left none behind, and need not load what watches over them.
        patience = sys.modules.get("grader.photo.patience")
        if patience and patience.left_behind():
            # A library that is still at work would be taken apart under its hands.
            for stream in (sys.stdout, sys.stderr):
                with suppress(OSError):  # Whoever read it may be gone.
                    stream.flush()
            os._exit(end.code if isinstance(end.code, int) else 1)
        raise
