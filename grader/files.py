"""Whole files or nothing, whole lines or none: what is written is complete, or what was there before still is.

And numbers and tables as a person writes them."""

import csv
import json
import math
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO

from grader.errors import GraderError


def write_bytes(path: str | Path, content: bytes) -> None:
    """Write a file beside its place and then move it there, its folder made if need be.

    Raises
    ------
    GraderError
        The place cannot be written to: one line naming it.
    """
    path = Path(path)
    part = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, prefix=".", suffix=".part", delete=False) as file:
            part = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # A temporary file is for its owner alone; the finished one is as any other file.
        part.chmod(0o666 & ~_umask())
        os.replace(part, path)
    except OSError as err:
        if part is not None:
            part.unlink(missing_ok=True)
        raise GraderError(
            f"{path}: cannot be written ({err.strerror}); choose another place", "output"
        ) from err


def write_text(path: str | Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def append_lines(
    path: str | Path, lines: Iterable[str], error: type[GraderError] = GraderError
) -> int | None:
    """Add lines of JSON to the end of a file, made if need be, and return only when they are on the disk.

    Two writers wait for each other. A last line that a power cut left half written is moved, whole,
    to ``<path>.broken``; its number is the answer, else ``None``.

    Raises
    ------
    error
        The place cannot be written to: one line naming it.
    """
    path = Path(path)
    try:
        with open(path, "a+b") as file, _locked(file):
            broken = _set_aside_half_line(path, file)
            file.write("".join(f"{line}\n" for line in lines).encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as err:
        raise error(
            f"{path}: cannot be written ({err.strerror}); free it or choose another folder"
        ) from err
    return broken


def is_json(line: str | bytes) -> bool:
    """Whether a line is whole: half a JSON object never is one."""
    try:
        json.loads(line)
    except ValueError:
        return False
    return True


def _set_aside_half_line(path: Path, file: IO[bytes]) -> int | None:
    """Move what follows the last line end to ``<path>.broken``, unless it is a whole line that only
    lacks its end."""
    file.seek(0)
    content = file.read()
    tail = content[content.rfind(b"\n") + 1 :]
    if not tail:
        return None
    if is_json(tail):
        file.write(b"\n")
        return None
    with open(path.with_name(path.name + ".broken"), "ab") as kept:
        kept.write(tail + b"\n")
        kept.flush()
        os.fsync(kept.fileno())
    file.truncate(len(content) - len(tail))
    return content.count(b"\n") + 1


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
        raise ValueError(f"{text!r} is no number; write it as 12.5")
    return number


def read_table(
    path: str | Path, columns: Sequence[str], error: type[GraderError]
) -> list[tuple[int, dict[str, str]]]:
    """Return the rows of a CSV table that a person wrote: line number, and cells by column in lower
    case.

    Comma or semicolon, UTF-8 with or without byte-order mark; blanks around cells are taken off,
    cells beyond the last column and empty lines left out.

    Raises
    ------
    error
        No such file, not a CSV table in UTF-8, or one of ``columns`` missing: one line.
    """
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            head = file.readline()
            file.seek(0)
            mark = ";" if head.count(";") > head.count(",") else ","
            rows = csv.DictReader(file, delimiter=mark)
            names = [name.strip().casefold() for name in rows.fieldnames or ()]
            missing = [name for name in columns if name not in names]
            if missing:
                raise error(
                    f"{path}: no column {missing[0]!r}; the first line must name "
                    f"{', '.join(columns[:-1])} and {columns[-1]}"
                )
            rows.fieldnames = names
            return [
                (rows.line_num, {k: (v or "").strip() for k, v in row.items() if k is not None})
                for row in rows
            ]
    except FileNotFoundError as err:
        raise error(f"{path}: no such file; check its name and place") from err
    except OSError as err:
        raise error(f"{path}: cannot be read ({err.strerror}); give a CSV file") from err
    except UnicodeDecodeError as err:
        raise error(f"{path}: not UTF-8 text; save the table as CSV UTF-8") from err
    except csv.Error as err:
        raise error(f"{path}: not a CSV table ({err}); save it as CSV UTF-8") from err
