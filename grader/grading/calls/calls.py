"""Calls as they are read from a table: with their rows, and with what is to be said of rows."""

import difflib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from grader.errors import quoted
from grader.grading.proposal import Call

#: So many rows of one kind are told one by one: who must read more reads none.
MOST_REMARKS = 20


@dataclass(frozen=True)
class RowRemark:
    """A row of a table of calls that a person should look at."""

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


def remark_lines(table: Path | None, remarks: Sequence[RowRemark]) -> list[str]:
    """Return remarks on rows of a table as lines for a person, the first so many; of the others, how many."""
    lines = [f"{table}: {remark}" if table else remark.text for remark in remarks[:MOST_REMARKS]]
    more = len(remarks) - MOST_REMARKS
    return lines + ([f"{table}: and {more} rows more of this kind"] if more > 0 else [])


@dataclass(frozen=True)
class ReadCalls:
    """Calls with the line on which each stands, the rows refused, and what else there is to remark."""

    calls: tuple[Call, ...]
    lines: tuple[int, ...]
    refused: tuple[RowRemark, ...] = ()
    remarks: tuple[RowRemark, ...] = ()

    def __iter__(self) -> Iterator[Call]:
        return iter(self.calls)

    def __len__(self) -> int:
        return len(self.calls)


def known_grade(word: str, grades: Sequence[str]) -> str:
    """Return the ladder's own spelling of a grade.

    Raises
    ------
    ValueError
        It is not on the ladder: one line with the nearest name.
    """
    by_fold = {grade.casefold(): grade for grade in grades}
    grade = by_fold.get(word.strip().casefold())
    if grade is None:
        near = difflib.get_close_matches(word.casefold(), list(by_fold), n=1, cutoff=0.5)
        guess = f" (did you mean {by_fold[near[0]]!r}?)" if near else ""
        raise ValueError(
            f"grade {quoted(word)} is not on the ladder{guess}; one of {', '.join(grades)}"
        )
    return grade


def known_scene(text: str) -> int:
    """Return a scene score of whole points.

    Raises
    ------
    ValueError
        It is none of 0 to 100: one line.
    """
    match = re.fullmatch(r"(\d{1,3})(?:[.,]0+)?", text.strip())
    if match is None or int(match[1]) > 100:
        raise ValueError(f"scene {quoted(text)}; give a whole number from 0 to 100")
    return int(match[1])
