"""``grader second-look``: called stones shown again, shuffled and without names, and how well both agree."""

import os
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import CountOption, GradedFolder, takes_session, whole_number, words

#: Words for an answer that end the sitting, and that take back the last answer.
STOP, BACK = "stop", "back"


@takes_session
def second_look(
    folder: GradedFolder,
    count: CountOption = 30,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", callback=words, help="Who looks now.")
    ] = None,
    of: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", callback=words, help="Whose calls to look at again; else all."
        ),
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Draw new stones; else an unfinished look goes on.")
    ] = False,
    seed: Annotated[
        int | None, typer.Option(metavar="N", parser=whole_number(0), help="Of the draw.")
    ] = None,
    *,
    session,
) -> None:
    """Sort called stones again, blind: no old grade, no proposal and no photo's name is shown, only the stone's number.

    Each answer is written at once; "back" takes back the last one of this look, and that stone is shown again; "stop"
    ends the sitting and the next run goes on. Afterwards: how well the two sortings agree, and the model beside them.
    The answers are no calls.
    """
    from grader.report.second_look import second_look_lines, write_second_look
    from grader.resorting import finish, sit_down

    profile, ledger = session.profile, session.need_ledger("a second look")
    by = by or session.settings.by
    sitting = sit_down(folder, session, by=by, of=of, count=count, anew=new, seed=seed)
    with _picture(folder / "graded") as picture:
        sitting = _ask_all(sitting, picture, profile.grades, ledger)
    done = finish(sitting, profile, ledger)
    typer.echo("\n".join(second_look_lines(done.looked, done.judged, profile.grades)))
    page = folder / "graded" / f"second-look-{datetime.now():%Y-%m-%d-%H%M%S}.html"
    write_second_look(page, done.looked, done.judged, profile.grades, done.pictures)
    typer.echo(f"stones farthest apart, with pictures: {page}")


@contextmanager
def _picture(folder: Path):
    """Yield where the picture of the stone that is asked for lies, as long as the sitting lasts.

    One for each sitting, since two people may look at a time; under one name, so that no photo's name tells which
    stone it is.
    """
    picture = folder / f"second-look-{os.getpid()}-stone.jpg"
    try:
        yield picture
    finally:
        picture.unlink(missing_ok=True)


def _ask_all(sitting, picture: Path, grades, ledger):
    """The sitting with all its stones answered; an end where the person stops."""
    from grader.resorting import answer

    while (number := sitting.resort.next) is not None or _takes_back_the_last(sitting):
        if number is None:
            sitting = _take_back(sitting, ledger)
            continue
        if not _show(sitting, number, picture):
            sitting = sitting.without_next()
            continue
        word = _asked(grades)
        if word is None:
            typer.echo("stopped; what is said is kept: run it again to go on", err=True)
            raise typer.Exit(0)
        sitting = _take_back(sitting, ledger) if word == BACK else answer(sitting, word, ledger)
    return sitting


def _show(sitting, number: int, picture: Path) -> bool:
    """Write the picture of a stone and name it; whether there is one."""
    from grader.files import write_bytes

    stone = sitting.stones[number]
    if stone is None:
        typer.echo(f"stone {number + 1}: its photo is not graded here any more; left out", err=True)
        return False
    write_bytes(picture, stone.look.sheet_picture(stone.piece["id"]))
    typer.echo(f"{number + 1} of {len(sitting.stones)}: look at {picture}")
    return True


def _take_back(sitting, ledger):
    """The sitting without its last answer; as it is, and that told, where there is none."""
    from grader.errors import CallsError
    from grader.resorting import undo

    try:
        sitting, number = undo(sitting, ledger)
    except CallsError as err:
        typer.echo(str(err), err=True)
        return sitting
    typer.echo(f"taken back: stone {number + 1}", err=True)
    return sitting


def _takes_back_the_last(sitting) -> bool:
    """Whether the person takes back the last answer after all are given."""
    if not sitting.resort.answers:
        return False
    try:
        word = input(f"that was the last one ({BACK} takes it back; Enter ends): ")
    except (EOFError, KeyboardInterrupt):
        return False
    return word.strip().casefold() == BACK


def _asked(grades) -> str | None:
    """A grade, by its name or the beginning that only it has, or ``BACK``; ``None`` for ``STOP`` or the end of the
    input."""
    from grader.grading.learning.resort import begun_grade

    while True:
        try:
            word = input(f"grade ({', '.join(grades)}; {BACK}, {STOP}): ").strip()
        except (EOFError, KeyboardInterrupt):
            return None
        if not word:
            continue
        if word.casefold() in (STOP, BACK):
            return None if word.casefold() == STOP else BACK
        try:
            return begun_grade(word, grades)
        except ValueError as err:
            typer.echo(str(err), err=True)
