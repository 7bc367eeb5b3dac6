"""The seller's calls: an append-only file, one call a line, in the order of making."""

import difflib
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from grader.errors import CallsError, told
from grader.face.line_words import CLASSES, FOUND, LineWord
from grader.files import append_lines
from grader.grading.proposal import Call, Shown

#: Where calls are kept: in the working folder, the one in which a command is run.
CALLS_FILE = Path("calls.jsonl")

#: So many rows of one kind are told one by one: who must read more reads none.
MOST_TOLD = 20

_WORD, _NUMBER = (str, type(None)), (int, type(None))
#: What a line holds besides the box.
_KINDS = {
    "photo": (str,), "sha256": _WORD, "piece": _NUMBER, "grade": _WORD, "scene": _NUMBER,
    "by": _WORD, "time": (str,), "note": _WORD,
}  # fmt: skip


@dataclass(frozen=True)
class RowRemark:
    """A row of a table of calls, or a line of calls.jsonl, that a person should look at."""

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


def remark_lines(table: Path | None, remarks: Sequence[RowRemark]) -> list[str]:
    """Return remarks on rows of a table as lines for a person, the first so many; of the others, how many."""
    lines = [f"{table}: {remark}" if table else remark.text for remark in remarks[:MOST_TOLD]]
    more = len(remarks) - MOST_TOLD
    return lines + ([f"{table}: and {more} rows more of this kind"] if more > 0 else [])


@dataclass(frozen=True)
class ReadCalls:
    """Calls with the line on which each stands, the rows refused, and what else is to be told."""

    calls: tuple[Call, ...]
    lines: tuple[int, ...]
    refused: tuple[RowRemark, ...] = ()
    told: tuple[RowRemark, ...] = ()

    def __iter__(self) -> Iterator[Call]:
        return iter(self.calls)

    def __len__(self) -> int:
        return len(self.calls)


def append_calls(path: Path, calls: Iterable[Call]) -> tuple[RowRemark, ...]:
    """Add calls to the end of ``path``, one JSON line each, with the care of :func:`append_lines`;
    a half line that was set aside is told in the answer."""
    lines = [json.dumps(_plain(call), ensure_ascii=False) for call in calls]
    broken = append_lines(path, lines, CallsError)
    if broken is None:
        return ()
    text = f"{path.name} ended in half a line; kept in {path.name}.broken: make that call again"
    return (RowRemark(broken, text),)


def read_calls(path: Path = CALLS_FILE) -> ReadCalls:
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


def _plain(call: Call) -> dict:
    # What a call does not say of these is not written.
    rare = ("line", "shown", "stone", "undo")
    return {key: v for key, v in asdict(call).items() if key not in rare or v}


def _call(row: dict) -> Call:
    box = row["box"]
    if box is not None:
        if len(box) != 4:
            raise ValueError(f"box {box}")
        box = tuple(int(v) for v in box)
    for name, kinds in _KINDS.items():
        if not isinstance(row[name], kinds) or isinstance(row[name], bool):
            raise ValueError(f"{name} {row[name]!r}")
    line, shown, stone, undo = (row.get(name) for name in ("line", "shown", "stone", "undo"))
    if not isinstance(stone, _WORD) or undo not in (None, True):
        raise ValueError(f"stone {stone!r}, undo {undo!r}")
    return Call(
        **{name: row[name] for name in _KINDS},
        box=box,
        line=None if line is None else _line_word(line),
        shown=None if shown is None else _shown(shown),
        stone=stone,
        undo=bool(undo),
    )


def _shown(row: dict) -> Shown:
    kinds = {"grade": _WORD, "scene": _NUMBER, "model": _WORD, "state": _WORD}
    for name, kind in kinds.items():
        if not isinstance(row[name], kind):
            raise ValueError(f"shown {name} {row[name]!r}")
    return Shown(**{name: row[name] for name in kinds})


def _line_word(row: dict) -> LineWord:
    points = tuple((int(x), int(y)) for x, y in row["points"])
    if len(points) < 2 or row["says"] not in CLASSES or row["found"] not in (None, *FOUND):
        raise ValueError(f"line {row['line']!r}")
    return LineWord(int(row["line"]), points, row["says"], row["found"], row["how"])


def known_grade(word: str, grades: Sequence[str]) -> str:
    """Return the ladder's own spelling of a grade; ``ValueError`` with the nearest name where it is
    not on the ladder."""
    by_fold = {grade.casefold(): grade for grade in grades}
    grade = by_fold.get(word.strip().casefold())
    if grade is None:
        near = difflib.get_close_matches(word.casefold(), list(by_fold), n=1, cutoff=0.5)
        guess = f" (did you mean {by_fold[near[0]]!r}?)" if near else ""
        raise ValueError(
            f"grade {told(word)} is not on the ladder{guess}; one of {', '.join(grades)}"
        )
    return grade


def known_scene(text: str) -> int:
    """Return a scene score of whole points; ``ValueError`` where it is none of 0 to 100."""
    match = re.fullmatch(r"(\d{1,3})(?:[.,]0+)?", text.strip())
    if match is None or int(match[1]) > 100:
        raise ValueError(f"scene {told(text)}; give a whole number from 0 to 100")
    return int(match[1])
