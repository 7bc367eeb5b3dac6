"""Whole files or nothing: what is written is complete, or the old file is still there."""

import os
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
