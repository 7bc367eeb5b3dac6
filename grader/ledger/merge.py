"""Takes the facts of another ledger in.

Facts are known by their uid: what is here already is not taken again, so twice is once. The others are added at the
end, in the other ledger's order. So order within each ledger is kept, and between two it says only which one was taken
into which: where both say something of the same stone, what was taken in counts as said later, whatever its time. Two
ledgers that take each other in then hold the same facts, and each person's calls stand the same in both as long as a
person called a stone in one of the two only; where a person called it in both, each ledger lets the other one's stand.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from grader.errors import LedgerError
from grader.ledger.backup import copy_database
from grader.ledger.pictures import Pictures
from grader.ledger.store import Ledger, ledger_file, open_ledger


@dataclass(frozen=True)
class TakenIn:
    """What came from another ledger: new facts by kind, how many were known, and how many pictures came with them."""

    new: Mapping[str, int]
    known: int
    pictures: int


def take_in(ledger: Ledger, other: str | Path) -> TakenIn:
    """Add the facts of another ledger that are not here yet, all or none, its pictures first; the other is only read.

    Raises
    ------
    LedgerError
        The other is no ledger, or one that cannot be read; or this one cannot be written.
    """
    other = Path(other).absolute()
    with TemporaryDirectory() as folder:
        # A copy, for an older version is brought up to this one before it is read.
        copy = Path(folder) / "other.sqlite"
        copy_database(ledger_file(other), copy)
        with open_ledger(copy) as source:
            pictures = _take_pictures(Pictures(other), ledger.pictures)
            read = 0

            def entries():
                nonlocal read
                for entry in source.entries():
                    read += 1
                    yield entry

            new = ledger.take(entries())
    return TakenIn(new, read - sum(new.values()), pictures)


def _take_pictures(source: Pictures, target: Pictures) -> int:
    """A picture that is damaged there stays there: whoever wants it is told, as before."""
    taken = 0
    for name in source.names():
        if target.has(name):
            continue
        try:
            target.put(source.get(name), name.partition(".")[2])
        except LedgerError:
            continue
        taken += 1
    return taken
