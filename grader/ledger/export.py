"""The tables of the ledger as they are handed out: all of them, without what is for the seller alone."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from grader.ledger import schema
from grader.ledger.checked import plain, to_text
from grader.ledger.deeds import DEEDS
from grader.ledger.store import Ledger, entry_of
from grader.ledger.views import among

#: For the seller alone: a place to the yard, where files lie, who sorts, who bought.
_PRIVATE = {
    "photo": ("path",), "trip": ("place", "right"), "model_use": ("folder", "author"), "buyer_name": ("buyer", "name"),
    "resort": ("of", "author"), "reserved": ("whom",),
}  # fmt: skip
_PRIVATE_FIELDS = ("place", "right", "whom")
#: What only serves the program, or is told better elsewhere: outlines make half of all text.
_LEFT_OUT = ("about", "fact")


@dataclass(frozen=True)
class Exported:
    """A table to hand out: its name, its columns with what they mean, and its rows."""

    name: str
    columns: dict[str, str]
    rows: list[tuple[Any, ...]]


def exported(ledger: Ledger, *, private: bool) -> Iterator[Exported]:
    """Yield every table of the ledger, then all deeds with what they tell.

    private : with what is for the seller alone.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    for table in schema.metadata.sorted_tables:
        if table.name in _LEFT_OUT or (table is schema.buyer_name and not private):
            continue
        hidden = () if private else ("author", *_PRIVATE.get(table.name, ()))
        columns = [column for column in table.c if column.name not in hidden]
        wanted = select(*columns)
        if "sequence" in table.c:
            wanted = wanted.order_by(table.c.sequence)
        yield Exported(
            table.name,
            {column.name: column.comment or "" for column in columns},
            [tuple(row) for row in ledger.rows(wanted)],
        )
    yield _deeds(ledger, private)


def _deeds(ledger: Ledger, private: bool) -> Exported:
    kinds = [deed.kind for deed in DEEDS]
    f = schema.fact.c
    undone = {row.act for row in ledger.rows(select(schema.undone.c.act))}
    rows = []
    for row in ledger.rows(select(schema.fact).where(*among(f.kind, kinds)).order_by(f.sequence)):
        fact = entry_of(row).fact
        told = {
            name: value
            for name, value in plain(fact).items()
            if private or name not in _PRIVATE_FIELDS
        }
        data = json.loads(to_text(told))
        rows.append((row.sequence, row.kind, row.time, fact.act in undone, data))
    return Exported(
        "deeds",
        {
            "sequence": "order of adding",
            "kind": "what was done",
            "time": "ISO 8601 with offset",
            "taken_back": "whether it was",
            "data": "what it tells",
        },
        rows,
    )
