"""Whole files or nothing: what is written is complete, or the old file is still there."""

import csv
import os
from collections.abc import Sequence
from pathlib import Path
from tempfile import NamedTemporaryFile

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


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


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
    except OSError as err:
        raise error(f"{path}: cannot be read ({err.strerror}); give a CSV file") from err
    except UnicodeDecodeError as err:
        raise error(f"{path}: not UTF-8 text; save the table as CSV UTF-8") from err
    except csv.Error as err:
        raise error(f"{path}: not a CSV table ({err}); save it as CSV UTF-8") from err
