"""Whole files or nothing, whole lines or none: what is written is complete, or what was there before still is.

And numbers and tables as a person writes them."""

import csv
import errno
import json
import math
import os
import re
import stat
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path, PurePath
from tempfile import NamedTemporaryFile, mkdtemp

from grader.errors import GraderError, quoted

#: No table, profile or model that a person keeps is larger; what is was named by mistake.
MOST_TABLE_BYTES, MOST_CELL_LETTERS = 100_000_000, 10_000
#: What may stand between the cells of a table.
_MARKS = (",", ";", "\t")


#: After so long a half-written file is what a killed run left.
OLD_PART_S = 24 * 3600
#: So often a file is written again that another run took away half-written.
TRIES = 10
#: A temporary file as the standard library names it, with our beginning and end.
_PART = re.compile(r"\.[a-z0-9_]{8}\.part")
#: OWASP, "CSV Injection", from memory; the wide ones are the same letters of East Asian keyboards.
FORMULA_BEGINS = "=+-@\t\r\n＝＋－＠"


def path_text(path: str | PurePath) -> str:
    """Return a path as text that can be kept, with ``/`` between its folders: what is no UTF-8 in it is escaped."""
    return PurePath(path).as_posix().encode("utf-8", "backslashreplace").decode()


def write_bytes(path: str | Path, content: bytes) -> None:
    """Write a file beside its place and then move it there, its folder made if need be.

    Raises
    ------
    GraderError
        The place cannot be written to: one line naming it.
    """
    path = Path(path)
    try:
        if path.exists() and not path.is_file():
            # A folder, or a device: to be renamed onto it would take its place.
            raise OSError(errno.EEXIST, "something that is no file has that name")
        if not any(_written(path, content) for _ in range(TRIES)):
            raise OSError(errno.ENOENT, "something takes it away again and again")
    except OSError as err:
        raise GraderError(
            f"{path}: cannot be written ({err.strerror}); choose another place", "output"
        ) from err


def _written(path: Path, content: bytes) -> bool:
    """Write the file, and return whether it is there: another run may have taken its half-written file for one that a
    killed run left."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = None
    try:
        with NamedTemporaryFile(dir=path.parent, prefix=".", suffix=".part", delete=False) as file:
            part = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # A temporary file is for its owner alone; the finished one is as any other file.
        part.chmod(0o666 & ~_umask())
        os.replace(part, path)
    except FileNotFoundError:
        if part is None:
            raise
        return False
    except BaseException:
        # Also where the run is stopped.
        if part is not None:
            part.unlink(missing_ok=True)
        raise
    return True


def forget_parts(folder: Path, after_s: float = OLD_PART_S) -> None:
    """Remove what :func:`write_bytes` left half-written in a folder when it was killed, so long ago or longer.

    Only files by a name such as it gives them: whatever else lies there is somebody's own. Where another run is just
    writing one, it writes it again.
    """
    for part in folder.glob(".*.part"):
        try:
            # Either way: since then the clock may have been set back.
            age_s = abs(time.time() - part.stat().st_mtime)
            if _PART.fullmatch(part.name) and age_s >= after_s:
                part.unlink()
        except OSError:  # gone meanwhile, or not ours to remove: it does no harm
            continue


def write_text(path: str | Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def write_new(path: str | Path, text: str) -> None:
    """Write a text file in UTF-8 where nothing is yet: for what a person fills in, so that it is never lost.

    Raises
    ------
    GraderError
        There is a file of that name already, or the place cannot be written to: one line naming it.
    """
    check_new(path)
    write_text(path, text)


def check_new(path: str | Path) -> None:
    """Refuse a place where something is already.

    Raises
    ------
    GraderError
        One line naming it.
    """
    if os.path.lexists(path):
        raise GraderError(f"{path} is there already; choose another name", "output")


def new_folder(path: Path) -> Path:
    """Return a new hidden folder beside a place, to be filled and then moved there.

    Raises
    ------
    OSError
        None can be made there.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    part = Path(mkdtemp(dir=path.parent, prefix=f".{path.name}-", suffix=".part"))
    try:
        part.chmod(0o777 & ~_umask())
    except OSError:
        part.rmdir()
        raise
    return part


def sync_folder(path: Path) -> None:
    """Return when the names in a folder are on the disk, where the system can say so: not all can."""
    try:
        folder = os.open(path, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError:
        return


def regular_bytes(path: str | Path, most_bytes: int = MOST_TABLE_BYTES) -> bytes:
    """Return what a file holds: a file on a disk, that is asked before it is opened, for a pipe may never answer.

    Raises
    ------
    OSError
        Not there, no file, larger than ``most_bytes``, or not readable; ``strerror`` tells which.
    """
    try:
        found = os.stat(path)
    except ValueError as err:  # a name with a NUL in it
        raise OSError(errno.EINVAL, "no file can have that name") from err
    if stat.S_ISDIR(found.st_mode):
        raise OSError(errno.EISDIR, "a folder, not a file")
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "not a file on a disk")
    with open(path, "rb") as file:
        # One more than is allowed: a file can grow while it is read.
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(errno.EFBIG, f"larger than {most_bytes / 1e6:g} MB")
    return content


def parse_json(text: str | bytes) -> object:
    """Return what a JSON text holds.

    Raises
    ------
    ValueError
        No JSON, NaN or an infinite number in it, or too deep: one line.
    """
    try:
        return json.loads(text, parse_constant=_no_number)
    except RecursionError as err:
        raise ValueError("lists within lists too deep to read") from err


def _no_number(name: str) -> None:
    raise ValueError(f"{name} is no number")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def read_number(text: str) -> float:
    """Return the number that a person wrote, decimals behind a point or a comma.

    Raises
    ------
    ValueError
        No finite number, or one that can be read in two ways, as ``1,500``: one line.
    """
    text = text.strip()
    if match := re.fullmatch(r"([+-]?[1-9]\d{0,2}),(\d{3})", text):
        whole, rest = match.groups()
        raise ValueError(
            f"{text!r} may be a thousand or a decimal; write {whole}{rest} or {whole}.{rest}"
        )
    try:
        # Python would take 1_000 for 1000.
        number = math.nan if "_" in text else float(text.replace(",", ".", 1))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{quoted(text)} is no number; write it as 12.5")
    return number


def defused(text: str) -> str:
    """Return a text as a cell of a table: with an apostrophe in front where a spreadsheet would run it as a formula.

    A cell that begins with such an apostrophe gets another one, so that :func:`undefused` gives every text back.
    """
    begins = text.lstrip("'")[:1]
    return f"'{text}" if begins and begins in FORMULA_BEGINS else text


def undefused(cell: str) -> str:
    """Return the text of which :func:`defused` made this cell; any other text as it is."""
    return cell[1:] if cell[:1] == "'" and defused(cell[1:]) == cell else cell


def read_table(
    path: str | Path, columns: Sequence[str], error: type[GraderError]
) -> list[tuple[int, dict[str, str]]]:
    """Return the rows of a CSV table that a person wrote: number of the line on which each begins, and cells by
    column in lower case.

    Comma or semicolon, UTF-8 with or without byte-order mark; blanks around cells are taken off, empty lines and
    empty cells beyond the last column left out, and texts read as they were before :func:`defused`.

    Raises
    ------
    error
        No such file, not a CSV table in UTF-8, one of ``columns`` missing or there twice, a quotation mark that is
        not closed, a row with more cells than the heading or with another separator: one line that names the file
        and its line. No row is ever left out without a word.
    """
    text = _table_text(path, error)
    head = text.split("\n", 1)[0]
    mark = ";" if head.count(";") > head.count(",") else ","
    rows = _rows(path, text, mark, error)
    names = [name.strip().casefold() for name in rows[0][1]] if rows else []
    missing = [name for name in columns if name not in names]
    if missing:
        raise error(
            f"{path}: no column {missing[0]!r}; the first line must name "
            f"{', '.join(columns[:-1])} and {columns[-1]}"
        )
    twice = [name for name, count in Counter(filter(None, names)).items() if count > 1]
    if twice:
        raise error(f"{path}: two columns are called {quoted(twice[0])}; keep one of them")
    _check_cells(path, rows, mark, error)
    empty = [""] * len(names)
    filled = [(line, (cells + empty)[: len(names)]) for line, cells in rows[1:]]
    return [
        (line, {name: undefused(text.strip()) for name, text in zip(names, cells, strict=True)})
        for line, cells in filled
    ]


def _table_text(path: str | Path, error: type[GraderError]) -> str:
    """The text of a table, its lines ended alike."""
    try:
        text = regular_bytes(path).decode("utf-8-sig")
    except FileNotFoundError as err:
        raise error(f"{path}: no such file; check its name and place") from err
    except OSError as err:
        raise error(f"{path}: cannot be read ({err.strerror}); give a CSV file") from err
    except UnicodeDecodeError as err:
        raise error(f"{path}: not UTF-8 text; save the table as CSV UTF-8") from err
    text = text.replace("\r\n", "\n")
    if "\n" not in text:
        text = text.replace("\r", "\n")
    if "\0" in text:
        line = 1 + text.count("\n", 0, text.index("\0"))
        raise error(
            f"{path}: line {line} holds a NUL, as a file does that was not written to its end; "
            "save the table again as CSV UTF-8"
        )
    return text


def _rows(
    path: str | Path, text: str, mark: str, error: type[GraderError]
) -> list[tuple[int, list[str]]]:
    """The rows that are not empty, heading first, with the line on which each begins."""
    lines = text.split("\n")
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=mark, strict=True)
    rows, begins = [], 1
    try:
        for cells in reader:
            if cells:
                rows.append((begins, cells))
            begins = reader.line_num + 1
    except csv.Error as err:
        what = "a quotation mark does not close where its cell ends; take it out, or write it twice"
        if reader.line_num == begins and ("new-line" in str(err) or "limit" in str(err)):
            what = f"{err}; mend that cell"
        raise error(f"{path}: line {begins}: {what}") from err
    return rows


def _check_cells(
    path: str | Path, rows: list[tuple[int, list[str]]], mark: str, error: type[GraderError]
) -> None:
    """Refuse rows that are not what their heading says."""
    width = len(rows[0][1])
    more = [line for line, cells in rows if any(cell.strip() for cell in cells[width:])]
    other = [line for line, cells in rows if _parted_otherwise(cells, width, mark)]
    swallowed = [line for line, cells in rows if _takes_in_rows(cells, width, mark)]
    long = [line for line, cells in rows if max(map(len, cells), default=0) > MOST_CELL_LETTERS]
    for lines, what in (
        (
            swallowed,
            "a quotation mark that is opened there takes in rows below; take it out or close it",
        ),
        (
            other,
            f"cells are not parted by {mark!r} as in the first line; save the table with one mark",
        ),
        (more, "more cells than the first line names; put a cell with commas in quotation marks"),
        (long, f"a cell of more than {MOST_CELL_LETTERS} letters; make it shorter"),
    ):
        if lines:
            raise error(f"{path}: {_line_words(lines)}: {what}")


def _parted_otherwise(cells: list[str], width: int, mark: str) -> bool:
    """Whether a row has too few cells, and another mark than the heading's more often in it."""
    joined = mark.join(cells)
    return len(cells) < width and joined.count(mark) < max(map(joined.count, _MARKS))


def _takes_in_rows(cells: list[str], width: int, mark: str) -> bool:
    """Whether a line within a cell looks like a row: it was one before a quotation mark was forgotten."""
    if width < 2:
        return False
    inner = (line for cell in cells if "\n" in cell for line in cell.split("\n")[1:])
    return any(line.count(mark) >= width - 1 for line in inner)


def _line_words(lines: list[int]) -> str:
    """Lines as they are told, the first few by number."""
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) <= 10:
        return f"lines {', '.join(map(str, lines[:-1]))} and {lines[-1]}"
    return f"lines {', '.join(map(str, lines[:10]))} and {len(lines) - 10} more"
