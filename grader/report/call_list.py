"""What was said of stones as a list: a line each for a person, records for a program, a table to be read again."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from grader.grading.features.facts import position_at
from grader.grading.proposal import Call
from grader.report.cells import table_text
from grader.report.reasons import position_words
from grader.report.words import UNNAMED, grade_and_scene_words

#: Columns of the table; ``grader call --from`` and ``grader retrain`` read them.
COLUMNS = ("photo", "sha256", "piece", "box", "grade", "scene", "by", "time", "note", "stone",
           "shown_grade", "shown_scene", "shown_state", "shown_model")  # fmt: skip
#: Cells of a line are put below each other up to so many letters.
WIDEST = 40


@dataclass(frozen=True)
class ListedCall:
    """A call, or a word on a line, as it stands in a list.

    name : the seller's own name of the stone, also where another call gave it.   lost : why its stone is not found,
    ``None`` where it is.   taken_back : it does not hold any more.   faces : photos of other faces of the same piece.
    """

    call: Call
    name: str | None = None
    lost: str | None = None
    taken_back: bool = False
    faces: tuple[str, ...] = ()


def call_lines(listed: Sequence[ListedCall]) -> list[str]:
    """Return a line for each: day, person, stone, what was said, the proposal beside it, note, and what is the matter
    with it."""
    rows = [_cells(one) for one in listed]
    widths = [min(WIDEST, max(map(len, column))) for column in zip(*rows, strict=True)]
    # A cell that is longer pushes the rest of its line; what stands last needs no room behind it.
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _cells(one: ListedCall) -> tuple[str, ...]:
    call = one.call
    stone = f"{call.photo} stone {call.piece}" + (f" ({one.name})" if one.name else "")
    if one.faces:
        stone += f", one piece with {', '.join(one.faces)}"
    remarks = [
        f"note: {_one_line(call.note)}" if call.note else "",
        "taken back" if one.taken_back else "",
        one.lost or "",
    ]
    return (
        call.time[:10],
        call.by or UNNAMED,
        stone,
        _call_words(call),
        beside_words(call),
        "; ".join(text for text in remarks if text),
    )


def _call_words(call: Call) -> str:
    if call.patch is not None:
        return f"patch at {call.patch.x}, {call.patch.y}: {call.patch.says}"
    if call.line is None:
        return grade_and_scene_words({"grade": call.grade, "scene": call.scene}) or "no grade"
    word = call.line
    words = {
        "crack": "a crack",
        "pattern": "a pattern line",
        "withdrawn": "word on it taken back",
    }
    found = f", found {word.found}" if word.found else ""
    how = f" ({_one_line(word.how)})" if word.how else ""
    return f"line {word.line} {line_place(call)}: {words[word.says]}{found}{how}"


def beside_words(call: Call) -> str:
    """Return "beside cabbing, scene 55", what was proposed when it was called; empty where nothing was."""
    shown = call.shown
    if shown is None or (shown.grade is None and shown.scene is None):
        return ""
    return f"beside {grade_and_scene_words({'grade': shown.grade, 'scene': shown.scene})}"


def line_place(call: Call) -> str:
    """Return where on its stone a line lies that was spoken of."""
    x, y, width, height = call.box
    points = call.line.points
    middle = [sum(point[axis] for point in points) / len(points) for axis in (0, 1)]
    return position_words(position_at((middle[0] - x) / width, (middle[1] - y) / height))


def _one_line(text: str) -> str:
    return " ".join(text.split())


def call_records(listed: Sequence[ListedCall]) -> list[dict]:
    """Return plain data, an object for each."""
    return [_record(one) for one in listed]


def _record(one: ListedCall) -> dict:
    call, shown, word = one.call, one.call.shown, one.call.line
    record = {
        "uid": call.uid,
        "time": call.time,
        "by": call.by,
        "photo": call.photo,
        "sha256": call.sha256,
        "piece": call.piece,
        "box": list(call.box),
        "stone": one.name,
        "grade": call.grade,
        "scene": call.scene,
        "note": call.note,
        "shown": shown
        and {
            "grade": shown.grade,
            "scene": shown.scene,
            "model": shown.model,
            "state": shown.state,
        },
        "taken_back": one.taken_back,
        "faces": list(one.faces),
        "lost": one.lost,
    }
    record["patch"] = call.patch and {
        "box": [call.patch.x, call.patch.y, call.patch.w, call.patch.h],
        "says": call.patch.says,
    }
    if word is None:
        return record | {"line": None}
    line = {
        "id": word.line,
        "points": [list(point) for point in word.points],
        "where": line_place(call),
        "says": word.says,
        "found": word.found,
        "how": word.how,
    }
    return record | {"line": line}


def calls_csv(listed: Sequence[ListedCall]) -> str:
    """Return the calls that hold as a table that is read again as it is: comma, UTF-8, names of photos without folders.

    Words on lines, and calls that say neither grade nor scene, are no rows of such a table.
    """
    rows = (_row(one.call) for one in listed if is_row(one))
    return table_text(COLUMNS, ([row[name] for name in COLUMNS] for row in rows))


def table_words(listed: Sequence[ListedCall], table: Path) -> str:
    """Return "12 calls in mine.csv; 2 that a table does not hold left out"."""
    rows = sum(map(is_row, listed))
    left_out = len(listed) - rows
    more = f"; {left_out} that a table does not hold left out" if left_out else ""
    return f"{rows} call{'' if rows == 1 else 's'} in {table}{more}"


def is_row(one: ListedCall) -> bool:
    """Whether it is a row of the table."""
    call = one.call
    says = call.grade is not None or call.scene is not None
    return says and not call.on_part and not one.taken_back


def _row(call: Call) -> dict:
    shown = call.shown
    beside = {
        f"shown_{name}": None if shown is None else getattr(shown, name)
        for name in ("grade", "scene", "state", "model")
    }
    box = " ".join(map(str, call.box))
    own = {name: getattr(call, name) for name in COLUMNS[:10] if name != "box"}
    return own | beside | {"box": box}
