"""Buyers: sales know them by an id, and their names stand apart from the facts, so that a name can be erased."""

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from grader.ledger import schema
from grader.ledger.backup import copies_folder
from grader.ledger.deeds import BuyerErased
from grader.ledger.facts import checked_author, new_uid
from grader.ledger.stock import Reads, Sale, sales
from grader.ledger.store import Ledger, Reading, as_ledger_error


@dataclass(frozen=True)
class Buyer:
    """A buyer. name : ``None`` once it was erased.   sales : those that hold, also what came back."""

    uid: str
    name: str | None
    sales: tuple[Sale, ...]


def buyer_called(reads: Reading, name: str) -> str:
    """Return the id of the buyer of that name, a new one with the name kept where there is none.

    Raises
    ------
    LedgerError
        The name cannot be kept.
    """
    name = checked_author(name) or ""
    b = schema.buyer_name.c
    if found := reads.rows(select(b.buyer).where(b.name == name).limit(1)):
        return found[0].buyer
    uid = new_uid()
    reads.keep_name(uid, name)
    return uid


def names(reads: Reads) -> dict[str, str]:
    """Return the names of buyers by id."""
    b = schema.buyer_name.c
    return dict(map(tuple, reads.rows(select(b.buyer, b.name).order_by(b.name))))


def buyers(reads: Reads) -> tuple[Buyer, ...]:
    """Return those who bought, by name, the nameless last."""
    known, s = names(reads), schema.sale.c
    of = {row.uid: row.buyer for row in reads.rows(select(s.uid, s.buyer)) if row.buyer}
    bought: dict[str, list[Sale]] = {uid: [] for uid in known}
    for sale in sales(reads):
        if buyer := of.get(sale.uid):
            bought.setdefault(buyer, []).append(sale)
    return tuple(Buyer(uid, known.get(uid), tuple(has)) for uid, has in bought.items())


def erase(ledger: Ledger, name: str, author: str | None) -> int:
    """Erase the name of a buyer from the ledger, its log and the copies beside it; return how many bore it.

    His sales stay with money and weights. A name that is gone already is looked for again, so that what was broken off
    is brought to its end.

    Raises
    ------
    LedgerError
        Another program has the ledger open, or a file cannot be written: one line.
    """
    b, found = schema.buyer_name.c, []

    def decide(reads: Reading):
        found[:] = [r.buyer for r in reads.rows(select(b.buyer).where(b.name == name))]
        reads.drop_names(found)
        return [BuyerErased(buyer) for buyer in found]

    ledger.act(decide, author=author)
    _clean(ledger)
    return len(found)


def reserved_for(reads: Reads, name: str) -> int:
    """Return in how many reservations of a ledger of version 0003 that name stands, also those that are over: there it
    was a fact, which stays. Later ones know the buyer by his id."""
    whom = schema.reserved.c.whom
    rows = reads.rows(select(whom).where(whom.is_not(None)))
    return sum(name.casefold() in row.whom.casefold() for row in rows)


def take_names(ledger: Ledger, source: Ledger) -> None:
    """Take the names of another ledger in, but those that were erased here or there; those are dropped here too."""
    gone = {row.buyer for row in ledger.rows(select(schema.erased_buyer.c.buyer))}
    here, there = names(ledger), names(source)

    def decide(reads: Reading):
        reads.drop_names(gone)
        for buyer in there.keys() - here.keys() - gone:
            reads.keep_name(buyer, there[buyer])
        return []

    ledger.act(decide)
    if here.keys() & gone:
        _clean(ledger)


def _clean(ledger: Ledger) -> None:
    gone = [row.buyer for row in ledger.rows(select(schema.erased_buyer.c.buyer))]
    ledger.clean()
    for copy in _copies(ledger.path):
        _clean_copy(copy, gone)


def _copies(path: Path) -> list[Path]:
    """The daily copies of a ledger, those before its tables changed, and those that a restore put aside."""
    aside = path.parent.glob(f"{path.stem}.before-*{path.suffix}")
    return sorted([*copies_folder(path).glob("*.sqlite"), *aside])


def _clean_copy(copy: Path, gone: Iterable[str]) -> None:
    with as_ledger_error(copy), closing(sqlite3.connect(copy, isolation_level=None)) as file:
        known = file.execute("select 1 from sqlite_master where name = 'buyer_name'").fetchone()
        if not known:  # Of a version that kept no names.
            return
        held = [
            (one,)
            for one in gone
            if file.execute("select 1 from buyer_name where buyer = ?", (one,)).fetchone()
        ]
        if held:
            file.executemany("delete from buyer_name where buyer = ?", held)
            file.execute("vacuum")
            file.execute("pragma wal_checkpoint(truncate)")
