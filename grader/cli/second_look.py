"""``grader second-look``: called stones shown again, shuffled and without names, and how well both agree."""

import json
import os
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    CountOption,
    GradedFolder,
    ProfileOption,
    settled,
    whole_number,
    words,
    working_calls,
)

#: Answers, a line each, beside the results of the folder; never edited.
ANSWERS, PAGE = "second-look.jsonl", "second-look.html"

#: Words for an answer that end the sitting, and that take back the last answer.
STOP, BACK = "stop", "back"


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
    profile: ProfileOption = None,
) -> None:
    """Sort called stones again, blind: no old grade, no proposal and no photo's name is shown, only the stone's number.

    Each answer is written at once; "back" takes back the last one of this look, and that stone is shown again; "stop"
    ends the sitting and the next run goes on. Afterwards: how well the two sortings agree, and the model beside them.
    The answers are no calls.
    """
    import numpy as np

    from grader.batch import picture_path
    from grader.calling import graded_stones, results_folder
    from grader.errors import CallsError
    from grader.grading.second_look import Looked, draw_sample, judge, report_lines
    from grader.report.second_look import write_second_look

    loaded, _, _ = settled(profile, None, None)
    grades, where = loaded.grades, results_folder(folder)
    said = [call for call in working_calls() if of is None or call.by == of]
    stones = {s.key: s for s in graded_stones(folder, said) if s.call and s.call.grade in grades}
    log = where / ANSWERS
    look, answers = (None, {}) if new else _unfinished(log, by, of)
    if look is not None and not {*look["first"], *answers.values()} <= set(grades):
        raise CallsError(
            f"{folder}: the ladder has changed since this look began; draw anew with --new"
        )
    if look is None:
        if not stones:
            whose = f" by {of}" if of else ""
            raise CallsError(f"{folder}: no stone in it has a called grade{whose}; call some first")
        names = [s.name for s in stones.values()]
        drawn = draw_sample(names, count, np.random.default_rng(seed))
        keys = [list(stones)[row] for row in drawn]
        # What was said before is kept with the draw: later calls do not change the comparison.
        first = [stones[key].call.grade for key in keys]
        look = {"look": _now(), "by": by, "of": of, "stones": keys, "first": first}
        _add(log, look)
    # One for each sitting: two people may look at a time.
    picture = where / f"second-look-{os.getpid()}-stone.jpg"
    left_out: set[int] = set()
    while True:
        waiting = (n for n in range(len(look["stones"])) if n not in answers and n not in left_out)
        number = next(waiting, None)
        if number is None:
            if not answers or not _taken_back_at_the_end():
                break
            _take_back(log, look, answers)
            continue
        key = look["stones"][number]
        if key not in stones:
            typer.echo(
                f"stone {number + 1}: its photo is not graded here any more; left out", err=True
            )
            left_out.add(number)
            continue
        shown = picture_path(where, stones[key].record, stones[key].piece["id"])
        if not shown.exists():
            typer.echo(
                f"stone {number + 1}: its picture is gone; left out, batch makes it", err=True
            )
            left_out.add(number)
            continue
        # Under one name, so that no photo's name tells which stone it is.
        picture.write_bytes(shown.read_bytes())
        typer.echo(f"{number + 1} of {len(look['stones'])}: look at {picture}")
        word = _asked(grades)
        if word is None:
            typer.echo("stopped; what is said is kept: run it again to go on", err=True)
            picture.unlink(missing_ok=True)
            raise typer.Exit(0)
        if word == BACK:
            _take_back(log, look, answers)
            continue
        answers[number] = word
        _add(log, {"look": look["look"], "stone": number, "grade": word, "time": _now()})
    picture.unlink(missing_ok=True)
    if not answers:
        raise CallsError(f"{folder}: no stone of this look can be shown; grade the folder again")
    _add(log, {"look": look["look"], "done": _now()})
    rows = sorted(answers)
    keys = [look["stones"][row] for row in rows]
    there = [stones.get(key) for key in keys]
    proposed = [s.piece["proposal"]["grade"] if s and s.piece["proposal"] else None for s in there]
    looked = Looked(
        tuple(s.name if s else key for s, key in zip(there, keys, strict=True)),
        np.array([grades.index(look["first"][row]) for row in rows]),
        np.array([grades.index(answers[row]) for row in rows]),
        np.array([grades.index(g) if g in grades else -1 for g in proposed]),
    )
    judged = judge(looked, len(grades), np.random.default_rng(0))
    typer.echo("\n".join(report_lines(looked, judged, grades)))
    places = [
        (s.file, s.piece["id"], picture_path(where, s.record, s.piece["id"]))
        if s
        else (key, 0, where / "gone")
        for s, key in zip(there, keys, strict=True)
    ]
    write_second_look(where / PAGE, looked, judged, grades, places)
    typer.echo(f"stones farthest apart, with pictures: {where / PAGE}")


def _unfinished(log: Path, by: str | None, of: str | None) -> tuple[dict | None, dict[int, str]]:
    """The last look of these people that is not done, with its answers so far."""
    if not log.exists():
        return None, {}
    entries = []
    for line in log.read_text("utf-8").splitlines():
        try:
            entries.append(json.loads(line))
        except ValueError:
            continue  # The last line may have been cut off with the power: that stone is asked again.
    done = {entry["look"] for entry in entries if "done" in entry}
    looks = [e for e in entries if "stones" in e and e["look"] not in done]
    look = next((e for e in reversed(looks) if (e["by"], e["of"]) == (by, of)), None)
    if look is None:
        return None, {}
    answers: dict[int, str] = {}
    for entry in entries:
        if entry["look"] == look["look"] and "grade" in entry:
            answers[entry["stone"]] = entry["grade"]
        elif entry["look"] == look["look"] and "undo" in entry:
            answers.pop(entry["stone"], None)
    return look, answers


def _take_back(log: Path, look: dict, answers: dict[int, str]) -> None:
    """Take back the last answer that holds: by a new entry, the old one stays."""
    if not answers:
        typer.echo("there is no answer to take back yet", err=True)
        return
    number, _ = answers.popitem()
    _add(log, {"look": look["look"], "stone": number, "undo": True, "time": _now()})
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
    from grader.grading.calls import known_grade

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


def _add(log: Path, entry: dict) -> None:
    from grader.files import append_lines

    append_lines(log, [json.dumps(entry)])


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="microseconds")
