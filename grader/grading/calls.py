"""The seller's calls: an append-only file, tables of calls, and which stone each call is about."""

import csv
import difflib
import json
import os
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path, PurePosixPath
from typing import IO

from grader.errors import CallsError
from grader.grading.proposal import Call

#: A call follows the piece whose box overlaps the call's box by this much (intersection over
#: union).
SAME_BOX = 0.5

Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class RowRemark:
    """A row of a table of calls, or a line of calls.jsonl, that a person should look at."""

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


@dataclass(frozen=True)
class ReadCalls:
    """Calls with the line on which each stands, the rows refused, and what else is to be told."""

    calls: tuple[Call, ...]
    lines: tuple[int, ...]
    refused: tuple[RowRemark, ...] = ()
    told: tuple[RowRemark, ...] = ()


@dataclass(frozen=True)
class Stones:
    """The pieces found in one photo: what a call is joined to. ``photo`` is its path with ``/``."""

    photo: str
    sha256: str
    boxes: dict[int, Box]


@dataclass(frozen=True)
class JoinedCalls:
    """What the seller says of each stone.

    Attributes
    ----------
    standing : by (photo path, piece id), the word that stands: the last grade and the last scene
    said, with
        name, time and note of the last call.
    history : by the same, all calls in the order in which they were made.
    without_stone : calls that meet no stone, each with the reason in one line.
    """

    standing: dict[tuple[str, int], Call]
    history: dict[tuple[str, int], tuple[Call, ...]]
    without_stone: tuple[tuple[Call, str], ...]


# --- calls.jsonl ----------------------------------------------------------------------------------


def append_calls(path: Path, calls: Iterable[Call]) -> tuple[RowRemark, ...]:
    """Add calls to the end of ``path``, one JSON line each, and return only when they are on the
    disk.

    Two writers wait for each other. A last line that a power cut left half written is moved, whole,
    to
    ``<path>.broken`` and told in the answer.
    """
    text = "".join(json.dumps(asdict(call), ensure_ascii=False) + "\n" for call in calls)
    try:
        with open(path, "a+b") as file, _locked(file):
            told = _set_aside_half_line(path, file)
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as err:
        raise CallsError(
            f"{path}: the call cannot be written ({err.strerror}); free or choose another folder"
        ) from err
    return told


def read_calls(path: Path) -> ReadCalls:
    """Return all calls of ``path``, none where it does not exist yet; lines that hold no call are
    refused one by one."""
    calls, lines, refused = [], [], []
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return ReadCalls((), ())
    except OSError as err:
        raise CallsError(f"{path}: cannot be read ({err.strerror}); mend its permissions") from err
    for number, line in enumerate(raw.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            calls.append(_call(json.loads(line)))
            lines.append(number)
        except (ValueError, TypeError, KeyError) as err:
            refused.append(
                RowRemark(
                    number,
                    f"{path.name} holds no whole call there ({err}); mend or remove that line",
                )
            )
    return ReadCalls(tuple(calls), tuple(lines), tuple(refused))


def _call(row: dict) -> Call:
    box = row["box"]
    if box is not None:
        if len(box) != 4:
            raise ValueError(f"box {box}")
        box = tuple(int(v) for v in box)
    known = {name: row[name] for name in Call.__dataclass_fields__}
    return Call(**{**known, "box": box})


def _set_aside_half_line(path: Path, file: IO[bytes]) -> tuple[RowRemark, ...]:
    """Move what follows the last line end to ``<path>.broken``, unless it is a whole call that only
    lacks its line end."""
    file.seek(0)
    content = file.read()
    tail = content[content.rfind(b"\n") + 1 :]
    if not tail:
        return ()
    try:
        _call(json.loads(tail))
    except (ValueError, TypeError, KeyError):
        pass
    else:
        file.write(b"\n")
        return ()
    aside = path.with_name(path.name + ".broken")
    with open(aside, "ab") as kept:
        kept.write(tail + b"\n")
        kept.flush()
        os.fsync(kept.fileno())
    file.truncate(len(content) - len(tail))
    line = content.count(b"\n") + 1
    return (
        RowRemark(
            line, f"{path.name} ended in half a line; kept in {aside.name}: make that call again"
        ),
    )


@contextmanager
def _locked(file: IO[bytes]) -> Iterator[None]:
    """Hold the file for one writer; the lock goes with the process that holds it."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
        try:
            yield
        finally:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)
        return
    fcntl.flock(file, fcntl.LOCK_EX)
    try:
        yield
    finally:
        fcntl.flock(file, fcntl.LOCK_UN)


# --- tables of calls ------------------------------------------------------------------------------


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
    time : ISO 8601, put where the table tells none.

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
            f"{path}: no column {missing[0]!r}; the first line must name photo, piece, grade and scene"
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
        time=row.get("time") or time,
        note=row.get("note") or None,
    )


def known_grade(word: str, grades: Sequence[str]) -> str:
    """Return the ladder's own spelling of a grade; ``ValueError`` with the nearest name where it is
    not on the ladder."""
    by_fold = {grade.casefold(): grade for grade in grades}
    grade = by_fold.get(word.strip().casefold())
    if grade is None:
        near = difflib.get_close_matches(word.casefold(), list(by_fold), n=1, cutoff=0.5)
        guess = f" (did you mean {by_fold[near[0]]!r}?)" if near else ""
        raise ValueError(f"grade {word!r} is not on the ladder{guess}; one of {', '.join(grades)}")
    return grade


def known_scene(text: str) -> int:
    """Return a scene score of whole points; ``ValueError`` where it is none of 0 to 100."""
    match = re.fullmatch(r"(\d{1,3})(?:[.,]0+)?", text.strip())
    if match is None or int(match[1]) > 100:
        raise ValueError(f"scene {text!r}; give a whole number from 0 to 100")
    return int(match[1])


def _piece(text: str) -> int | None:
    if not text:
        return None
    match = re.fullmatch(r"(\d{1,6})(?:[.,]0+)?", text)
    if match is None or int(match[1]) == 0:
        raise ValueError(f"piece {text!r}; give the number drawn on the stone")
    return int(match[1])


def _box(text: str) -> Box | None:
    if not text:
        return None
    numbers = re.findall(r"-?\d+(?:\.\d+)?", text)
    if len(numbers) != 4:
        raise ValueError(f"box {text!r}; give x, y, width and height, or leave it empty")
    x, y, w, h = (round(float(number)) for number in numbers)
    if w <= 0 or h <= 0:
        raise ValueError(f"box {text!r} holds nothing; leave it empty")
    return x, y, w, h


# --- which stone a call is about ------------------------------------------------------------------


def box_overlap(first: Box, second: Box) -> float:
    """Return intersection over union of two boxes x, y, w, h; 0 where they lie apart."""
    width = min(first[0] + first[2], second[0] + second[2]) - max(first[0], second[0])
    height = min(first[1] + first[3], second[1] + second[3]) - max(first[1], second[1])
    if width <= 0 or height <= 0:
        return 0.0
    both = width * height
    return both / (first[2] * first[3] + second[2] * second[3] - both)


class StoneFinder:
    """Finds the stone that a call is about among the pieces of many photos."""

    def __init__(self, photos: Iterable[Stones]) -> None:
        self._by_hash: dict[str, list[Stones]] = defaultdict(list)
        self._by_path: dict[str, Stones] = {}
        self._by_name: dict[str, list[Stones]] = defaultdict(list)
        for photo in photos:
            self._by_hash[photo.sha256].append(photo)
            self._by_path[photo.photo] = photo
            self._by_name[PurePosixPath(photo.photo).name].append(photo)

    def photos(self, call: Call) -> list[Stones]:
        """Return the photos that a call means: by content (all copies), else path, else a file name
        that only one has."""
        if call.sha256 and call.sha256 in self._by_hash:
            return self._by_hash[call.sha256]
        if call.photo in self._by_path:
            return [self._by_path[call.photo]]
        named = self._by_name.get(PurePosixPath(call.photo).name, [])
        if len(named) > 1:
            raise ValueError(
                f"{len(named)} photos are named {PurePosixPath(call.photo).name}; give the path"
            )
        if not named:
            raise ValueError(
                f"photo {call.photo} is not among these photos; put it back or give its new place"
            )
        return named

    def piece(self, call: Call, photo: Stones) -> int:
        """Return the piece that a call means: by box, where it has one, else by number, else the
        only one."""
        if call.box is not None:
            overlaps = {piece: box_overlap(call.box, box) for piece, box in photo.boxes.items()}
            best = max(overlaps, key=overlaps.__getitem__, default=None)
            if best is None or overlaps[best] < SAME_BOX:
                raise ValueError(
                    f"{photo.photo}: no stone overlaps the call's box by half or more; call it again"
                )
            return best
        if call.piece is not None:
            if call.piece not in photo.boxes:
                raise ValueError(
                    f"{photo.photo}: no piece {call.piece}, it holds {_pieces(photo)}; give another number"
                )
            return call.piece
        if len(photo.boxes) != 1:
            raise ValueError(
                f"{photo.photo}: no piece named and it holds {_pieces(photo)}; give the number"
            )
        return next(iter(photo.boxes))


def place_calls(read: ReadCalls, photos: Sequence[Stones]) -> ReadCalls:
    """Return the calls of a table with hash, piece and box of the stone that each is about, others
    refused by row.

    Where a later row says another grade or scene of the same stone, that is told: the later one
    counts.
    """
    finder = StoneFinder(photos)
    calls, lines, refused, told = [], [], list(read.refused), list(read.told)
    last: dict[tuple[str, int], tuple[int, Call]] = {}
    for line, call in zip(read.lines, read.calls, strict=True):
        try:
            photo = finder.photos(call)[0]
            piece = finder.piece(call, photo)
        except ValueError as err:
            refused.append(RowRemark(line, str(err)))
            continue
        placed = replace(call, sha256=photo.sha256, piece=piece, box=photo.boxes[piece])
        earlier = last.get((photo.sha256, piece))
        if earlier is not None and _contradict(earlier[1], placed):
            told.append(
                RowRemark(
                    line,
                    f"{call.photo} piece {piece}: line {earlier[0]} says otherwise; line {line} counts",
                )
            )
        last[photo.sha256, piece] = (line, placed)
        calls.append(placed)
        lines.append(line)
    in_order = sorted(refused, key=lambda remark: remark.line)
    return ReadCalls(tuple(calls), tuple(lines), tuple(in_order), tuple(told))


def join_calls(photos: Iterable[Stones], calls: Iterable[Call]) -> JoinedCalls:
    """Return what the seller says of each stone in these photos.

    A photo is found by content, then path, then a name that only one has; the stone by the call's
    box: the
    piece that overlaps it by half or more (intersection over union of the boxes). A call that meets
    none
    stays listed as a call without a stone: it is never dropped and never moved to another.
    """
    finder = StoneFinder(photos)
    history: dict[tuple[str, int], list[Call]] = defaultdict(list)
    without: list[tuple[Call, str]] = []
    for call in calls:
        try:
            found = [(photo.photo, finder.piece(call, photo)) for photo in finder.photos(call)]
        except ValueError as err:
            without.append((call, str(err)))
            continue
        for stone in found:
            history[stone].append(call)
    standing = {stone: standing_call(said) for stone, said in history.items()}
    return JoinedCalls(
        standing, {stone: tuple(said) for stone, said in history.items()}, tuple(without)
    )


def standing_call(calls: Sequence[Call]) -> Call:
    """Return the word that stands after these calls on one stone: the last grade and the last scene
    that were said."""
    grade = next((call.grade for call in reversed(calls) if call.grade is not None), None)
    scene = next((call.scene for call in reversed(calls) if call.scene is not None), None)
    return replace(calls[-1], grade=grade, scene=scene)


def _contradict(first: Call, second: Call) -> bool:
    pairs = ((first.grade, second.grade), (first.scene, second.scene))
    return any(None not in pair and pair[0] != pair[1] for pair in pairs)


def _pieces(photo: Stones) -> str:
    n = len(photo.boxes)
    return "no stone" if n == 0 else "one stone" if n == 1 else f"{n} stones"
