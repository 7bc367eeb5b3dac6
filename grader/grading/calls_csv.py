"""Tables of calls: CALLS.csv as the sheet saves it, or results.csv with grade and scene filled."""

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import IO

from grader.errors import CallsError
from grader.grading.calls import ReadCalls, RowRemark, known_grade, known_scene
from grader.grading.proposal import Call


def read_calls_csv(path: Path, grades: Sequence[str], time: str) -> ReadCalls:
    """Return the calls of a table with columns ``photo,piece,grade,scene`` and, if told,
    ``sha256,box,by,note``.

    Comma or semicolon, UTF-8 with or without byte-order mark, columns by name, others left alone. A
    row
    without grade and scene is no call. ``results.csv`` is such a table: what it proposes is not
    read.

    Parameters
    ----------
    grades : names of the ladder; case and outer blanks do not matter.
    time : ISO 8601, when the table is taken in.

    Raises
    ------
    CallsError
        No such file, not UTF-8 text, or a column missing.
    """
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            return _read_rows(path, file, grades, time)
    except OSError as err:
        raise CallsError(
            f"{path}: no calls can be read there ({err.strerror}); give a CSV file"
        ) from err
    except UnicodeDecodeError as err:
        raise CallsError(f"{path}: not UTF-8 text; save the table as CSV UTF-8") from err
    except csv.Error as err:
        raise CallsError(f"{path}: not a CSV table ({err}); save it as CSV UTF-8") from err


def _read_rows(path: Path, file: IO[str], grades: Sequence[str], time: str) -> ReadCalls:
    head = file.readline()
    file.seek(0)
    rows = csv.DictReader(file, delimiter=";" if head.count(";") > head.count(",") else ",")
    columns = [name.strip().casefold() for name in rows.fieldnames or ()]
    missing = [name for name in ("photo", "piece", "grade", "scene") if name not in columns]
    if missing:
        raise CallsError(
            f"{path}: no column {missing[0]!r}; "
            "the first line must name photo, piece, grade and scene"
        )
    rows.fieldnames = columns
    calls, lines, refused = [], [], []
    for row in rows:
        try:
            call = _row_call(
                {k: (v or "").strip() for k, v in row.items() if isinstance(k, str)}, grades, time
            )
        except ValueError as err:
            refused.append(RowRemark(rows.line_num, str(err)))
            continue
        if call is not None:
            calls.append(call)
            lines.append(rows.line_num)
    return ReadCalls(tuple(calls), tuple(lines), tuple(refused))


def _row_call(row: dict[str, str], grades: Sequence[str], time: str) -> Call | None:
    """The call of one row, ``None`` where it says nothing; ``ValueError`` tells what is wrong with
    it."""
    grade, scene = row["grade"], row["scene"]
    if not grade and not scene:
        return None
    if not row["photo"]:
        raise ValueError("no photo named; give its file name")
    return Call(
        photo=row["photo"].replace("\\", "/"),
        sha256=row.get("sha256") or None,
        piece=_piece(row["piece"]),
        box=_box(row.get("box", "")),
        grade=known_grade(grade, grades) if grade else None,
        scene=known_scene(scene) if scene else None,
        by=row.get("by") or None,
        time=time,
        note=row.get("note") or None,
    )


def _piece(text: str) -> int | None:
    if not text:
        return None
    match = re.fullmatch(r"(\d{1,6})(?:[.,]0+)?", text)
    if match is None or int(match[1]) == 0:
        raise ValueError(f"piece {text!r}; give the number drawn on the stone")
    return int(match[1])


def _box(text: str) -> tuple[int, int, int, int] | None:
    if not text:
        return None
    numbers = re.findall(r"-?\d+(?:\.\d+)?", text)
    if len(numbers) != 4:
        raise ValueError(f"box {text!r}; give x, y, width and height, or leave it empty")
    x, y, w, h = (round(float(number)) for number in numbers)
    if w <= 0 or h <= 0:
        raise ValueError(f"box {text!r} holds nothing; leave it empty")
    return x, y, w, h
