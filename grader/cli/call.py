"""``grader call``: the seller's word on a stone, kept beside the proposal."""

from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ProfileOption,
    WholeOption,
    settled,
    whole_number,
    words,
    working_calls,
)


class LineClass(StrEnum):
    """What a seller says of a line."""

    crack = "crack"
    pattern = "pattern"
    unsaid = "unsaid"


class LineFound(StrEnum):
    """How a line was found by hand."""

    open = "open"
    tight = "tight"
    healed = "healed"
    unknown = "unknown"


def call(
    photo: Annotated[
        Path | None, typer.Argument(metavar="PHOTO", help="The photo of the stone.")
    ] = None,
    piece: Annotated[
        int | None,
        typer.Option(
            metavar="N", parser=whole_number(1), help="Its number, where there are several."
        ),
    ] = None,
    grade: Annotated[
        str | None,
        typer.Option(metavar="G", callback=words, help="Your grade, by its name on your ladder."),
    ] = None,
    scene: Annotated[
        int | None,
        typer.Option(metavar="S", parser=whole_number(0, 100), help="Your scene score, 0 to 100."),
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", callback=words, help="Who says so.")
    ] = None,
    note: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="Why, or anything else.")
    ] = None,
    line: Annotated[
        int | None,
        typer.Option(
            metavar="K",
            parser=whole_number(1),
            help="A line on the stone, by its id in check --json.",
        ),
    ] = None,
    says: Annotated[
        LineClass | None,
        typer.Option("--is", help="What that line is; unsaid takes your word back."),
    ] = None,
    found: Annotated[LineFound | None, typer.Option(help="How you found that line.")] = None,
    how: Annotated[
        str | None,
        typer.Option(metavar="T", callback=words, help="How you checked it: nail, wetting, lamp."),
    ] = None,
    stone: Annotated[
        str | None,
        typer.Option(
            metavar="ID",
            callback=words,
            help="Your own name for the piece, the same on all its photos.",
        ),
    ] = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last call on the stone that still holds.")
    ] = False,
    table: Annotated[
        Path | None,
        typer.Option("--from", metavar="CALLS.csv", help="Take in the calls that a sheet saved."),
    ] = None,
    profile: ProfileOption = None,
    whole: WholeOption = False,
) -> None:
    """Say what a stone is. Your call is added to calls.jsonl in this folder; the proposal stays
    beside it."""
    if (photo is None) == (table is None):
        raise typer.BadParameter(
            "give a photo, or --from with a table of calls", param_hint="PHOTO"
        )
    _usage_of_line(line, says, found, how, grade, scene)
    if table and any(
        value is not None for value in (piece, grade, scene, by, note, line, stone, undo or None)
    ):
        raise typer.BadParameter("with --from, every call stands in the table", param_hint="--from")
    if undo and (grade is not None or scene is not None or line is not None):
        raise typer.BadParameter(
            "--undo says nothing else; call anew after it", param_hint="--undo"
        )
    if photo and grade is None and scene is None and line is None and not undo:
        raise typer.BadParameter(
            "give --grade, --scene or both, or --line; --stone, --by and --note only go with them",
            param_hint="--grade",
        )
    from grader.batch import RESULTS, Terms, grade_file, read_records, words_on_lines
    from grader.calling import (
        place_in_photos,
        place_on_line,
        say_new,
        taken_back,
        with_shown,
    )
    from grader.errors import CallsError
    from grader.grading.calls import CALLS_FILE, ReadCalls, append_calls, remark_lines
    from grader.grading.calls_csv import read_calls_csv

    loaded, model, mm_per_px = settled(profile, None, None)
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    if table:
        read = read_calls_csv(table, loaded.grades, now)
        # A sheet names photos below the folder of the photos, and stands in a folder of it.
        folders = (Path(), table.parent, table.parent.parent)
    else:
        read, folders = (
            _said(photo, piece, grade, scene, by, note, stone, undo, now, loaded.grades),
            (Path(),),
        )
    before = working_calls()
    if line is not None:
        word = {"found": found and found.value, "how": how, "whole": whole, "calls": before}
        said = place_on_line(read.calls[0], line, says.value, loaded, **word)
        placed = ReadCalls((said,), (1,))
    else:
        placed = place_in_photos(read, folders, loaded, whole=whole)
    back = taken_back(placed.calls[0], before) if undo and placed.calls else None
    if undo and placed.calls and back is None:
        raise CallsError(f"{photo}: nothing to take back, no call on that stone holds")
    new = say_new(placed.calls, before, by_hand=table is None)
    if photo and new:
        terms = Terms(loaded, model, mm_per_px, whole, line_words=words_on_lines(before))
        records = [grade_file(photo, str(photo), terms)[0]]
    else:
        records = [r for folder in folders for r in read_records(folder / RESULTS)]
    new = with_shown(new, records)
    told = [*remark_lines(table, placed.told), *(append_calls(CALLS_FILE, new) if new else ())]
    there = len(placed.calls) - len(new)
    added = f"{len(new)} added to {CALLS_FILE}" + (f", {there} there before" if there else "")
    if back:
        added = f"taken back: {back.said}; {added}"
    for remark in (*told, *([added] if table or placed.calls else [])):
        typer.echo(remark, err=True)
    if placed.refused:
        raise CallsError("\n".join(remark_lines(table, placed.refused)))


def _usage_of_line(line, says, found, how, grade, scene) -> None:
    """Refuse a word on a line that lacks the line or the word, or that says a grade as well."""
    if line is None:
        for name, value in (("--is", says), ("--found", found), ("--how", how)):
            if value is not None:
                raise typer.BadParameter(f"{name} speaks of a line; give --line", param_hint=name)
    elif says is None:
        raise typer.BadParameter(
            "say what the line is: --is crack, pattern or unsaid", param_hint="--line"
        )
    elif grade is not None or scene is not None:
        raise typer.BadParameter("give a grade or scene in a call of its own", param_hint="--line")


def _said(photo, piece, grade, scene, by, note, stone, undo, now, grades):
    from grader.errors import CallsError
    from grader.grading.calls import ReadCalls, known_grade
    from grader.grading.proposal import Call

    try:
        grade = grade and known_grade(grade, grades)
    except ValueError as err:
        raise CallsError(str(err)) from err
    said = Call(
        photo.as_posix(), None, piece, None, grade, scene, by, now, note, stone=stone, undo=undo
    )
    return ReadCalls((said,), (1,))
