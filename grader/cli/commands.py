"""Which commands there are, and where each is written. A command's module is read when that command is asked for: all
of them together took a tenth of a second of each start."""

from dataclasses import dataclass
from importlib import import_module

import typer


@dataclass(frozen=True)
class Place:
    """Where a command is written: a function of a module of ``grader.cli``, or several commands under one name.

    short_help : beside its name in the list of all.   cls : name of its own class of command, in the same module.
    """

    module: str
    name: str
    short_help: str
    cls: str | None = None


#: In the order of the help.
COMMANDS = {
    "check": Place("check", "check", "Grade photos, one by one."),
    "batch": Place("batch", "batch", "Grade a folder of photos."),
    "call": Place("call", "call", "Say what a stone is.", "FromDownloads"),
    "calls": Place("calls", "calls", "List what was called."),
    "retrain": Place("retrain", "retrain", "Train on your calls."),
    "models": Place("models", "models", "List, compare and choose models."),
    "ask": Place("ask", "ask", "Name the stones to call next."),
    "second-look": Place("second_look", "second_look", "Sort called stones again, blind."),
    "colours": Place("colours", "colours", "Fit a profile to your stone."),
    "cutplan": Place("cutplan", "cutplan", "Plan the cuts for the saw."),
    "weigh": Place("weigh", "weigh", "Weigh pieces and lots."),
    "keep-or-break": Place("keep", "keep_or_break", "Weigh a piece whole against broken."),
    "break": Place("acts", "break_", "Break a piece into new ones."),
    "chips": Place("lots", "chips", "Fill bags of chips."),
    "labels": Place("labels", "labels", "Print labels and tags."),
    "describe": Place("listing", "describe", "Say what no photo shows."),
    "listing": Place("listing", "listing", "List pieces and lots for buyers."),
    "answer": Place("listing", "answer", "Answer what buyers ask."),
    "sell": Place("selling", "sell", "Sell pieces and lots."),
    "reserve": Place("selling", "reserve", "Hold pieces for somebody."),
    "slip": Place("selling", "slip", "Write the packing slip of an order."),
    "return": Place("selling", "come_back", "Take a sale back in."),
    "buyers": Place("selling", "buyers", "List buyers, erase a name."),
    "parcel": Place("parcel", "parcel", "Find the box that takes it."),
    "undo": Place("acts", "undo", "Take your last act back."),
    "history": Place("acts", "history", "Show all that was done with it."),
    "export": Place("export", "export", "Write all as tables."),
    "backup": Place("backup", "backup", "Save the whole ledger."),
    "restore": Place("backup", "restore", "Put a backup back."),
    "take-in": Place("backup", "take_in", "Add another ledger's facts."),
    "table": Place("table", "table", "Sort in the browser."),
    "card": Place("card", "card", "Print the photo card."),
    "care": Place("care", "care", "Show all cautions."),
    "demo": Place("demo", "demo", "Make an invented season to try."),
    "doctor": Place("doctor", "doctor", "Show what a photo holds to measure by."),
    "trip": Place("trip", "trip", "Begin a trip to dig."),
    "haul": Place("haul", "haul", "Keep what a trip brought home."),
    "lots": Place("lots", "lots", "Make up lots of equal weight."),
    "prices": Place("selling", "prices", "Set your price table."),
    "limits": Place("limits", "limits", "Add up limits that you typed."),
}


def command_of(name: str):
    """Return a command as Typer runs it, with its options."""
    place = COMMANDS[name]
    module = import_module(f"grader.cli.{place.module}")
    what = getattr(module, place.name)
    if isinstance(what, typer.Typer):
        return typer.main.get_command(what)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None)
    alone.command(name, cls=place.cls and getattr(module, place.cls))(what)
    return typer.main.get_command(alone)
