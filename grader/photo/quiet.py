"""Decoders run quietly: what their C libraries write to stderr, which no setting stops, is heard or thrown away."""

import os
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable
from typing import BinaryIO, TypeVar

from grader.errors import PhotoError

T = TypeVar("T")
# One decode at a time in a process: it borrows the process's stderr.
_BORROWED = threading.Lock()


def quietly(decode: Callable[[], T], heard: BinaryIO | None = None) -> T:
    """Return a decoder's result; what it writes to stderr goes to ``heard``, or nowhere."""
    with _BORROWED, warnings.catch_warnings(), open(os.devnull, "wb") as nowhere:
        warnings.simplefilter("ignore")
        try:
            stderr = os.dup(2)
        except OSError:  # there is no stderr to keep clean
            return decode()
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2((heard or nowhere).fileno(), 2)
        try:
            return decode()
        finally:
            os.dup2(stderr, 2)
            os.close(stderr)


def hearing(name: str) -> BinaryIO:
    """Return a file for what a decoder says: in memory, so that a full disk stops no photo, else a temporary one.

    A pipe would do on every system, but a decoder that says much would wait for ever for it to be read.

    Raises
    ------
    PhotoError
        ``unreadable`` : there is no room for it; ``name`` is the photo's.
    """
    try:
        return os.fdopen(os.memfd_create("heard"), "w+b")
    except (AttributeError, OSError):  # a system without, or one that forbids it
        pass
    try:
        return tempfile.TemporaryFile()
    except OSError as err:
        folder = os.environ.get("TMPDIR") or tempfile.tempdir or "of the system"
        raise PhotoError(
            f"{name}: not read, since the temporary folder ({folder}) takes no file ({err.strerror}); "
            "make room there, or name another in TMPDIR",
            "unreadable",
        ) from err
