"""What can go wrong, as one small family.

Every message is one line: which file or piece, what is wrong, what to do.
The command line prints it and exits with 1; a wrong array shape from a programmer stays a ``ValueError``.

    GraderError
    ├── PhotoError      a photo that cannot be read
    ├── SettingsError   a profile or grader.toml that does not make sense
    ├── CallsError      a file of calls that cannot be used
    ├── SpotsError      spots marked on photos that cannot be used
    ├── ModelError      a model folder that cannot be used
    ├── LedgerError     a ledger that cannot be read or written, or a fact that it cannot hold
    └── ClusterError    computers to work on that cannot be reached, or must not be used
"""

import re

#: So many letters of a value stand in a message; who reads a message reads no page.
MOST_QUOTED_LETTERS = 60
#: How Python writes a decimal number; who typed 0.6 looks for 0.6.
_DECIMAL = re.compile(r"Decimal\('([^']*)'\)")
#: Control characters (Unicode category Cc) but the end of a line and the tabulator, and marks that turn the order of
#: letters on a screen: a name with them can show as another one.
_STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def quoted(value: object) -> str:
    """Return a value as a message shows it: in quotes where it is text, and never longer than a line."""
    try:
        text = _DECIMAL.sub(r"\1", repr(value))
    except (ValueError, RecursionError):  # a number of thousands of digits, or tables within tables
        return "too long to show"
    return text if len(text) <= MOST_QUOTED_LETTERS else f"{text[:MOST_QUOTED_LETTERS]}..."


def harmless(text: str) -> str:
    """Return text that a terminal only shows: what would steer it is put as a mark of an unknown letter."""
    return _STEERING.sub("\N{REPLACEMENT CHARACTER}", text)


class GraderError(Exception):
    """Base of everything that the seller can mend. ``code`` is stable, the text is for people."""

    code = "error"

    def __init__(self, text: str, code: str | None = None) -> None:
        super().__init__(text)
        if code is not None:
            self.code = code


class PhotoError(GraderError):
    """A photo that cannot be read; ``code`` is one of missing, empty, not_a_photo, truncated, too_large, slow,
    unreadable."""

    code = "unreadable"


class SettingsError(GraderError):
    """A profile or ``grader.toml`` with an unknown key, a wrong type or a value out of range."""

    code = "settings"


class CallsError(GraderError):
    """Calls that cannot be read or joined to a stone."""

    code = "calls"


class SpotsError(GraderError):
    """Spots of a colour class that cannot be read, lie off their photo, or name no class."""

    code = "spots"


class ModelError(GraderError):
    """A model folder that is missing, of another version, or fails its own sample."""

    code = "model"


class LedgerError(GraderError):
    """A ledger that cannot be read or written, or a fact that it cannot hold."""

    code = "ledger"


class ClusterError(GraderError):
    """Computers to work on that cannot be reached, or must not be used."""

    code = "cluster"
