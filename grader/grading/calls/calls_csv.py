"""Tables of calls: as the sheet saves them, or results.csv with grade and scene filled."""

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from grader.errors import CallsError, quoted
from grader.files import read_table
from grader.grading.calls.calls import ReadCalls, RowRemark, known_grade, known_scene
from grader.grading.proposal import Call, Shown

#: How the sheet names the tables that it saves; a browser puts a number behind the second of one name.
SAVED = "calls-*.csv"
#: File systems take no name of more bytes, and no path either; no photo has a side of more px.
MOST_NAME_BYTES, MOST_PATH_BYTES, MOST_PX = 255, 1000, 1_000_000


def read_calls_csv(
    path: Path, grades: Sequence[str], time: str, by: str | None = None
) -> ReadCalls:
    """Return the calls of a table with columns ``photo,piece,grade,scene`` and, if told,
    ``sha256,box,by,time,note,stone,uid`` and what was shown: ``shown_grade,shown_scene,shown_state,shown_model``.

    Comma or semicolon, UTF-8 with or without byte-order mark, columns by name, others left alone. A
    row
    without grade and scene is no call. ``results.csv`` is such a table: what it proposes is not
    read.

    Parameters
    ----------
    grades : names of the ladder; case and outer blanks do not matter.
    time : ISO 8601, when the table is taken in; a row may tell another.   by : who says what no row says who says.

    Raises
    ------
    CallsError
        No such file, not UTF-8 text, or a column missing.
    """
    calls, lines, refused = [], [], []
    for line, row in read_table(path, ("photo", "piece", "grade", "scene"), CallsError):
        try:
            call = _row_call(row, grades, time, by)
        except ValueError as err:
            refused.append(RowRemark(line, str(err)))
            continue
        if call is not None:
            calls.append(call)
            lines.append(line)
    return ReadCalls(tuple(calls), tuple(lines), tuple(refused))


def _row_call(row: dict[str, str], grades: Sequence[str], time: str, by: str | None) -> Call | None:
    """The call of one row, ``None`` where it says nothing; ``ValueError`` tells what is wrong with
    it."""
    grade, scene = row["grade"], row["scene"]
    if not grade and not scene:
        return None
    return Call(
        photo=named_photo(row["photo"]),
        sha256=row.get("sha256") or None,
        piece=named_piece(row["piece"]),
        box=_box(row.get("box", "")),
        grade=known_grade(grade, grades) if grade else None,
        scene=known_scene(scene) if scene else None,
        by=row.get("by") or by,
        time=_time(row.get("time", "")) or time,
        note=row.get("note") or None,
        shown=_shown(row),
        stone=row.get("stone") or None,
        uid=_uid(row.get("uid", "")),
    )


def _shown(row: dict[str, str]) -> Shown | None:
    shown = {
        name: row.get(f"shown_{name}") or None for name in ("grade", "scene", "model", "state")
    }
    if not any(shown.values()):
        return None
    return Shown(**shown | {"scene": known_scene(shown["scene"]) if shown["scene"] else None})


def saved_tables(folder: Path) -> list[Path]:
    """Return the tables that sheets saved in a folder, the oldest first."""
    found = [path for path in folder.glob(SAVED) if path.is_file()]
    return sorted(found, key=lambda path: (path.stat().st_mtime, path.name))


def _uid(text: str) -> str | None:
    """The name that a call bears since it was said; a column ``uid`` of the seller's own says nothing here."""
    return text if re.fullmatch(r"[0-9a-f]{32}", text) else None


def _time(text: str) -> str | None:
    """ISO 8601 with offset, as an export of calls has it; a column ``time`` of the seller's own says nothing here."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.isoformat() if moment.tzinfo else None


def named_photo(text: str, column: str = "") -> str:
    """Return the name of a photo with ``/`` between its folders.

    Raises
    ------
    ValueError
        There is none, or no file can be named so: one line.
    """
    if not text:
        raise ValueError(f"no photo named{column and f' under {column}'}; give its file name")
    name = text.replace("\\", "/")
    whole = name.encode("utf-8", "replace")
    # Most names are short as a whole.
    if len(whole) > MOST_NAME_BYTES and (
        len(whole) > MOST_PATH_BYTES or max(map(len, whole.split(b"/"))) > MOST_NAME_BYTES
    ):
        raise ValueError(f"photo {quoted(text)}; no file has a name so long, give the photo's")
    return name


def named_piece(text: str) -> int | None:
    """Return the number of a stone, ``None`` where none is given.

    Raises
    ------
    ValueError
        It is no number: one line.
    """
    if not text:
        return None
    match = re.fullmatch(r"(\d{1,6})(?:[.,]0+)?", text)
    if match is None or int(match[1]) == 0:
        raise ValueError(f"piece {quoted(text)}; give the number drawn on the stone")
    return int(match[1])


def _box(text: str) -> tuple[int, int, int, int] | None:
    if not text:
        return None
    numbers = re.findall(r"-?\d{1,9}(?:\.\d{1,9})?", text)
    if len(numbers) != 4:
        raise ValueError(f"box {quoted(text)}; give x, y, width and height, or leave it empty")
    x, y, w, h = (round(float(number)) for number in numbers)
    if w <= 0 or h <= 0:
        raise ValueError(f"box {quoted(text)} holds nothing; leave it empty")
    if max(abs(side) for side in (x, y, w, h)) > MOST_PX:
        raise ValueError(f"box {quoted(text)} is larger than any photo; leave it empty")
    return x, y, w, h
