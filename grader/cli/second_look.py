"""``grader second-look``: called stones shown again, shuffled and without names, and how well both agree."""

import os
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
    import numpy as np

    from grader.called import graded_stones
    from grader.errors import CallsError
    from grader.grading.learning.second_look import Looked, draw_sample, judge
    from grader.ledger.facts import FacePlace, ResortBegun, ResortDone
    from grader.report.second_look import report_lines, write_second_look

    profile, ledger = session.profile, session.need_ledger("a second look")
    grades, by = profile.grades, by or session.settings.by
    stones = graded_stones(
        folder, profile, session.model(), ledger, by=of, decider=session.settings.decider
    )
    called = [s for s in stones if s.call and s.call.grade in grades]
    look = None if new else _unfinished(ledger, by, of, {s.look.ask.sha256 for s in stones})
    if look is not None and not {*look.first, *look.answers.values()} <= set(grades):
        raise CallsError(
            f"{folder}: the ladder has changed since this look began; draw anew with --new"
        )
    if look is None:
        if not called:
            whose = f" by {of}" if of else ""
            raise CallsError(f"{folder}: no stone in it has a called grade{whose}; call some first")
        rows = draw_sample([s.name for s in called], count, np.random.default_rng(seed))
        drawn = [called[row] for row in rows]
        places = tuple(
            FacePlace(
                sha256=s.look.ask.sha256,
                piece_id=s.piece["id"],
                box=tuple(s.piece["box"]),
                outline=[tuple(point) for point in s.piece["outline"]],
            )
            for s in drawn
        )
        # What was said before is kept with the draw: later calls do not change the comparison.
        ledger.add(
            ResortBegun(stones=places, first=tuple(s.call.grade for s in drawn), of=of), author=by
        )
        look = _unfinished(ledger, by, of, {place.sha256 for place in places})
    shown = [_shown(place, stones) for place in look.stones]
    answers = _sitting(look, shown, folder / "graded", grades, by, ledger)
    if not answers:
        raise CallsError(f"{folder}: no stone of this look can be shown; grade the folder again")
    ledger.add(ResortDone(resort=look.uid), author=by)
    rows = sorted(answers)
    there = [shown[row] for row in rows]
    proposed = [s.piece["proposal"]["grade"] if s and s.piece["proposal"] else None for s in there]
    keys = [f"{look.stones[row].sha256}-{look.stones[row].piece_id}" for row in rows]
    looked = Looked(
        tuple(s.name if s else key for s, key in zip(there, keys, strict=True)),
        np.array([grades.index(look.first[row]) for row in rows]),
        np.array([grades.index(answers[row]) for row in rows]),
        np.array([grades.index(g) if g in grades else -1 for g in proposed]),
    )
    judged = judge(looked, len(grades), np.random.default_rng(0))
    typer.echo("\n".join(report_lines(looked, judged, grades)))
    pictures = [
        (s.file, s.piece["id"], s.look.sheet_picture(s.piece["id"])) if s else (key, 0, None)
        for s, key in zip(there, keys, strict=True)
    ]
    page = folder / "graded" / f"second-look-{datetime.now():%Y-%m-%d-%H%M%S}.html"
    write_second_look(page, looked, judged, grades, pictures)
    typer.echo(f"stones farthest apart, with pictures: {page}")


def _unfinished(ledger, by: str | None, of: str | None, photos: set[str]):
    """The last look of these people at these photos that is not done, ``None`` without one."""
    from grader.ledger import views

    looks = [
        look
        for look in views.resorts(ledger)
        if not look.done
        and (look.author, look.of) == (by, of)
        and photos & {place.sha256 for place in look.stones}
    ]
    return looks[-1] if looks else None


def _shown(place, stones):
    """The stone that lies in a place now, ``None`` where there is none."""
    from grader.grading.calls.joining import SAME_STONE, outline_overlap

    for stone in stones:
        if stone.look.ask.sha256 != place.sha256:
            continue
        if outline_overlap(stone.piece["outline"], place.outline) >= SAME_STONE:
            return stone
    return None


def _sitting(look, shown, folder: Path, grades, by: str | None, ledger) -> dict[int, str]:
    """The answers on all stones, each kept at once, or an end where the person stops."""
    from grader.files import write_bytes
    from grader.ledger.facts import ResortAnswer

    answers = dict(look.answers)
    # One for each sitting: two people may look at a time. Under one name, so that no photo's name tells which stone it
    # is.
    picture = folder / f"second-look-{os.getpid()}-stone.jpg"
    left_out: set[int] = set()
    try:
        while True:
            waiting = (n for n in range(len(shown)) if n not in answers and n not in left_out)
            number = next(waiting, None)
            if number is None:
                if not answers or not _taken_back_at_the_end():
                    return answers
                _take_back(look, answers, by, ledger)
                continue
            stone = shown[number]
            if stone is None:
                typer.echo(
                    f"stone {number + 1}: its photo is not graded here any more; left out", err=True
                )
                left_out.add(number)
                continue
            write_bytes(picture, stone.look.sheet_picture(stone.piece["id"]))
            typer.echo(f"{number + 1} of {len(shown)}: look at {picture}")
            word = _asked(grades)
            if word is None:
                typer.echo("stopped; what is said is kept: run it again to go on", err=True)
                raise typer.Exit(0)
            if word == BACK:
                _take_back(look, answers, by, ledger)
                continue
            answers[number] = word
            ledger.add(ResortAnswer(resort=look.uid, stone=number, grade=word), author=by)
    finally:
        picture.unlink(missing_ok=True)


def _take_back(look, answers: dict[int, str], by: str | None, ledger) -> None:
    """Take back the last answer that holds: by a new fact, the old one stays."""
    from grader.ledger.facts import ResortUndone

    if not answers:
        typer.echo("there is no answer to take back yet", err=True)
        return
    number, _ = answers.popitem()
    ledger.add(ResortUndone(resort=look.uid, stone=number), author=by)
    typer.echo(f"taken back: stone {number + 1}", err=True)


def _taken_back_at_the_end() -> bool:
    try:
        word = input(f"that was the last one ({BACK} takes it back; Enter ends): ")
    except (EOFError, KeyboardInterrupt):
        return False
    return word.strip().casefold() == BACK


def _asked(grades) -> str | None:
    """A grade, by its name or the beginning that only it has, or ``BACK``; ``None`` for ``STOP`` or the end of the
    input."""
    from grader.grading.calls.calls import known_grade

    while True:
        try:
            word = input(f"grade ({', '.join(grades)}; {BACK}, {STOP}): ").strip()
        except (EOFError, KeyboardInterrupt):
            return None
        if not word:
            continue
        if word.casefold() in (STOP, BACK):
            return None if word.casefold() == STOP else BACK
        begins = [grade for grade in grades if grade.casefold().startswith(word.casefold())]
        if len(begins) == 1:
            return begins[0]
        try:
            return known_grade(word, grades)
        except ValueError as err:
            typer.echo(str(err), err=True)
