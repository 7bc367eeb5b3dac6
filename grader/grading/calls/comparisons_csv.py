"""Tables of comparisons: of two stones, the one whose scene the seller likes better."""

from dataclasses import dataclass
from pathlib import Path

from grader.errors import CallsError
from grader.files import read_table
from grader.grading.calls.calls import ReadCalls, RowRemark
from grader.grading.calls.calls_csv import named_photo, named_piece
from grader.grading.proposal import Call

COLUMNS = ("better_photo", "better_piece", "other_photo", "other_piece")

#: A stone: hash of its photo, and its piece there.
Stone = tuple[str, int]


@dataclass(frozen=True)
class ReadComparisons:
    """Comparisons as (better stone, other stone) with the line on which each stands, the rows refused,
    and what else there is to remark."""

    comparisons: tuple[tuple[Stone, Stone], ...]
    lines: tuple[int, ...]
    refused: tuple[RowRemark, ...] = ()
    remarks: tuple[RowRemark, ...] = ()


def read_comparisons_csv(path: Path, time: str) -> ReadCalls:
    """Return both stones of every row, the better one first, each as a call that says nothing yet,
    to be placed in its photo.

    Comma or semicolon, UTF-8, columns by name: ``better_photo,better_piece,other_photo,other_piece``;
    a piece is left empty where the photo holds one stone.

    Raises
    ------
    CallsError
        No such file, not UTF-8 text, a column missing, or no row at all.
    """
    calls, lines, refused = [], [], []
    rows = read_table(path, COLUMNS, CallsError)
    if not rows:
        raise CallsError(
            f"{path}: no comparison in it; give one a row, the better stone first: {','.join(COLUMNS)}"
        )
    for line, row in rows:
        try:
            sides = [_side(row, side, time) for side in ("better", "other")]
        except ValueError as err:
            refused.append(RowRemark(line, str(err)))
            continue
        calls += sides
        lines += [line, line]
    return ReadCalls(tuple(calls), tuple(lines), tuple(refused))


def paired(placed: ReadCalls) -> ReadComparisons:
    """Return the comparisons of rows of which both stones were placed; a stone against itself is refused.

    Comparisons that contradict each other are told and both kept: they weigh against each other.
    """
    comparisons, lines = [], []
    refused, remarks = list(placed.refused), list(placed.remarks)
    sides: dict[int, list[Call]] = {}
    for line, call in zip(placed.lines, placed.calls, strict=True):
        sides.setdefault(line, []).append(call)
    first: dict[tuple[Stone, Stone], int] = {}
    for line, both in sides.items():
        if len(both) < 2:
            continue  # Why the other one was refused is told.
        better, other = ((call.sha256, call.piece) for call in both)
        if better == other:
            text = f"{both[0].photo} piece {both[0].piece}: a stone against itself; name two"
            refused.append(RowRemark(line, text))
            continue
        if (other, better) in first:
            text = f"says the opposite of line {first[other, better]}; both are kept and weigh against each other"
            remarks.append(RowRemark(line, text))
        first.setdefault((better, other), line)
        comparisons.append((better, other))
        lines.append(line)
    in_order = sorted(refused, key=lambda remark: remark.line)
    return ReadComparisons(tuple(comparisons), tuple(lines), tuple(in_order), tuple(remarks))


def _side(row: dict[str, str], side: str, time: str) -> Call:
    photo = named_photo(row[f"{side}_photo"], f"{side}_photo")
    piece = named_piece(row[f"{side}_piece"])
    return Call(photo, None, piece, None, None, None, None, time, None)
