"""Decoders run quietly: what their C libraries write to stderr, which no setting stops, is heard or thrown away."""

import os
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import BinaryIO, TypeVar
from weakref import WeakSet

from grader.errors import PhotoError

T = TypeVar("T")
# One decode at a time in a process: it borrows the process's stderr.
_BORROWED, _GIVING = threading.Lock(), threading.Lock()


@dataclass(frozen=True)
class _Loan:
    """stderr in the hands of a thread, and how it comes back."""

    thread: threading.Thread
    back: ExitStack


_loan: _Loan | None = None
#: Threads that nobody waits for any more.
_left: WeakSet[threading.Thread] = WeakSet()


def quietly(decode: Callable[[], T], heard: BinaryIO | None = None) -> T:
    """Return a decoder's result; what it writes to stderr goes to ``heard``, or nowhere."""
    _borrow(heard)
    try:
        return decode()
    finally:
        _give_back(threading.current_thread())


def leave(thread: threading.Thread) -> None:
    """Take back from a thread what it borrowed, if it has it, and lend it nothing more: it may never end."""
    with _GIVING:
        _left.add(thread)
    _give_back(thread)


def _give_back(thread: threading.Thread) -> None:
    global _loan
    with _GIVING:
        if _loan is None or _loan.thread is not thread:
            return
        back, _loan = _loan.back, None
        back.close()


def _borrow(heard: BinaryIO | None) -> None:
    global _loan
    with ExitStack() as back:
        _BORROWED.acquire()
        back.callback(_BORROWED.release)
        back.enter_context(warnings.catch_warnings())
        warnings.simplefilter("ignore")
        file = heard or back.enter_context(open(os.devnull, "wb"))
        try:
            stderr = os.dup(2)
        except OSError:  # there is no stderr to keep clean
            pass
        else:
            back.callback(os.close, stderr)
            if sys.stderr is not None:
                sys.stderr.flush()
            os.dup2(file.fileno(), 2)
            back.callback(os.dup2, stderr, 2)
        thread = threading.current_thread()
        with _GIVING:
            if thread in _left:
                # It may have waited here while it was left; nobody would take back what it borrows now.
                raise PhotoError("nobody waits for this photo any more", "slow")
            _loan = _Loan(thread, back.pop_all())


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
