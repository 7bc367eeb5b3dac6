"""Reading deeds that hold, and how pieces, lots and bins are called."""

import re
from collections.abc import Sequence
from typing import Literal, Protocol

from sqlalchemy import ColumnElement, Row, Select, Table, select

from grader.errors import LedgerError
from grader.ledger import schema
from grader.ledger.facts import Entry
from grader.ledger.store import entry_of
from grader.ledger.views import among

#: How a piece is called: its haul, a dash, its number; lots have an L before it, bins a B.
_CODE = re.compile(r"([A-Za-z0-9]{1,12})-([LB]?)(\d{1,7})")
#: What bears a code, by the letter before its number.
CodeKind = Literal["", "L", "B"]
KINDS: dict[CodeKind, str] = {"": "piece", "L": "lot", "B": "bin"}


class Reads(Protocol):
    """A ledger, or what is read of one in the middle of an act."""

    def rows(self, statement: Select) -> Sequence[Row]: ...


def code_of(haul: str, number: int, kind: CodeKind = "") -> str:
    """Return how a piece, lot or bin is called: ``07-001``, ``07-L1``, ``07-B1``."""
    return f"{haul}-{kind}{number}" if kind else f"{haul}-{number:03d}"


def read_code(code: str) -> tuple[str, CodeKind, int]:
    """Return haul, what it is, and number.

    Raises
    ------
    LedgerError
        It is no such code: one line.
    """
    match = _CODE.fullmatch(code.strip())
    if not match or int(match[3]) == 0:
        raise LedgerError(
            f"{code!r} is no number of a piece, lot or bin; write it as 07-113, 07-L2 or 07-B1"
        )
    return match[1], match[2], int(match[3])


def is_piece_code(text: str) -> bool:
    """Return whether a text is the number of a piece, and of no lot or bin."""
    match = _CODE.fullmatch(text)
    return bool(match and not match[2])


def live(of: Table, *columns: ColumnElement) -> Select:
    """Rows of a table whose act was not taken back, in the order of adding."""
    taken_back = select(schema.undone.c.act)
    return (
        select(*columns).select_from(of).where(of.c.act.not_in(taken_back)).order_by(of.c.sequence)
    )


def entries_of(reads: Reads, uids: list[str]) -> tuple[Entry, ...]:
    wanted = select(schema.fact).where(*among(schema.fact.c.uid, uids))
    return tuple(map(entry_of, reads.rows(wanted.order_by(schema.fact.c.sequence))))
