"""``grader call``: the seller's word on a stone, kept beside the proposal."""

from dataclasses import replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    PhotosOption,
    beside,
    progress,
    takes_session,
    takes_terms,
    whole_number,
    words,
)


class LineClass(StrEnum):
    """What a seller says of a line."""

    crack = "crack"
    pattern = "pattern"
    withdrawn = "withdrawn"


class LineFound(StrEnum):
    """How a line was found by hand."""

    open = "open"
    tight = "tight"
    healed = "healed"
    unknown = "unknown"


@takes_session
@takes_terms
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
    by: ByOption = None,
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
        typer.Option("--is", help="What that line is; withdrawn takes your word back."),
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
    photos: PhotosOption = None,
    *,
    terms,
    session,
) -> None:
    """Say what a stone is, or a line on it. Your word is kept beside the proposal, which stays as it was.

    It stands on the stones and lines that check or batch showed last of that photo; what you say of the photo itself
    (scale, whole and so on) only counts where nothing was shown before.
    """
    if (photo is None) == (table is None):
        raise typer.BadParameter(
            "give a photo, or --from with a table of calls", param_hint="PHOTO"
        )
    _usage_of_line(line, says, found, how, grade, scene)
    of_one = (piece, grade, scene, note, line, stone, undo or None)
    if table and any(value is not None for value in of_one):
        raise typer.BadParameter("with --from, every call stands in the table", param_hint="--from")
    if photos and not table:
        raise typer.BadParameter("goes with --from", param_hint="--photos")
    if undo and (grade is not None or scene is not None or line is not None):
        raise typer.BadParameter(
            "--undo says nothing else; call anew after it", param_hint="--undo"
        )
    if photo and grade is None and scene is None and line is None and not undo:
        raise typer.BadParameter(
            "give --grade, --scene or both, or --line; --stone, --by and --note only go with them",
            param_hint="--grade",
        )
    from grader.calling import look_shown, place_on
    from grader.errors import CallsError
    from grader.files import path_text
    from grader.grading.calls.calls import known_grade
    from grader.grading.proposal import Call
    from grader.report.calls import UNNAMED

    ledger = session.need_ledger("a call")
    by = by or session.settings.by
    terms = session.with_usual_scale(terms)
    if table:
        _from_table(table, photos, by, terms, session)
        return
    try:
        grade = grade and known_grade(grade, session.profile.grades)
    except ValueError as err:
        raise CallsError(str(err)) from err
    look = look_shown(photo, terms, session.profile, ledger)
    said = Call(path_text(photo), None, piece, None, grade, scene, by, _now(), note, stone=stone)
    placed = place_on(look, replace(said, sha256=look.ask.sha256))
    if undo:
        typer.echo(_undone(look, placed, session))
        return
    if line is not None:
        typer.echo(
            _line_called(look, placed, line, says.value, found and found.value, how, session)
        )
    else:
        typer.echo(_called(look, placed, session))
    if by is None:
        typer.echo(UNNAMED, err=True)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _called(look, placed, session) -> str:
    """Save a call on a stone; what was saved, beside what is proposed."""
    from grader.calling import save_calls, with_shown
    from grader.report.calls import saved_words

    record = look.graded(session.profile, session.model())
    call = with_shown(placed, record)
    save_calls([call], session.ledger)
    return saved_words(call, _with_calls(look, record, call.piece, session))


def _with_calls(look, record, number: int, session) -> dict:
    """The stone's record with all calls on it that hold."""
    from grader.looks import calls_on
    from grader.report.calls import with_calls

    calls = calls_on([look], session.ledger)
    (joined,), _ = with_calls([record], calls, session.settings.decider)
    return next(piece for piece in joined["pieces"] if piece["id"] == number)


def _line_called(look, placed, line, says, found, how, session) -> str:
    """Save a word on a line and measure the stone with it; what was saved, and what the stone is now."""
    from grader.calling import line_said, said_line
    from grader.looks import asks_again, look_at
    from grader.report.calls import saved_line_words

    where = said_line(look, placed, line)
    word = line_said(look, placed, line, says, found, how)
    session.ledger.add(word, author=placed.by)
    again = look_at(asks_again([look], session.ledger)[0], session.profile, session.ledger)
    model = session.model()
    before, now = (
        next(
            (p for p in one.graded(session.profile, model)["pieces"] if p["id"] == placed.piece),
            None,
        )
        for one in (look, again)
    )
    return saved_line_words(placed, line, where, says, found, before, now)


def _undone(look, placed, session) -> str:
    from grader.calling import last_call
    from grader.errors import CallsError
    from grader.ledger.facts import TakenBack
    from grader.report.calls import taken_back_words

    ledger = session.ledger
    back = last_call(placed, ledger)
    if back is None:
        whose = f" by {placed.by}" if placed.by else ""
        raise CallsError(
            f"{placed.photo}: nothing to take back, no call{whose} on stone {placed.piece} holds"
        )
    ledger.add(TakenBack(call=back.uid), author=placed.by)
    return taken_back_words(placed, back, _with_calls(look, look.record, placed.piece, session))


def _from_table(table: Path, photos: list[Path] | None, by: str | None, terms, session) -> None:
    from grader.calling import new_calls, place_table, save_calls
    from grader.errors import CallsError
    from grader.grading.calls.calls import remark_lines
    from grader.grading.calls.calls_csv import read_calls_csv
    from grader.report.calls import UNNAMED

    ledger = session.ledger
    read = read_calls_csv(table, session.profile.grades, _now(), by)
    folders = photos or beside(table)
    with progress("looking") as on_photo:
        placed, _ = place_table(read, folders, terms, session.profile, ledger, on_photo=on_photo)
    new = new_calls(placed.calls, ledger)
    save_calls(new, ledger)
    for line in remark_lines(table, placed.told):
        typer.echo(line, err=True)
    there = len(placed.calls) - len(new)
    known = f", {there} known before" if there else ""
    typer.echo(f"{len(new)} call{'' if len(new) == 1 else 's'} saved{known}")
    if any(one.by is None for one in new):
        typer.echo(UNNAMED, err=True)
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
            "say what the line is: --is crack, pattern or withdrawn", param_hint="--line"
        )
    elif grade is not None or scene is not None:
        raise typer.BadParameter("give a grade or scene in a call of its own", param_hint="--line")
