"""Takes the facts of another ledger in.

Facts are known by their uid: what is here already is not taken again, so twice is once. The others are added at the
end, in the other ledger's order. So order within each ledger is kept, and between two it says only which one was taken
into which: where both say something of the same stone, what was taken in counts as said later, whatever its time. Two
ledgers that take each other in then hold the same facts, and each person's calls stand the same in both as long as a
person called a stone in one of the two only; where a person called it in both, each ledger lets the other one's stand.
"""

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from grader.errors import LedgerError
from grader.ledger import views
from grader.ledger.backup import copy_database, restore
from grader.ledger.buyers import take_names
from grader.ledger.facts import ModelUse
from grader.ledger.pictures import Pictures
from grader.ledger.store import Ledger, ledger_file, open_ledger


@dataclass(frozen=True)
class TakenIn:
    """What came from another ledger: new facts by kind, how many were known, and how many pictures came with them."""

    new: Mapping[str, int]
    known: int
    pictures: int


def take_in_file(ledger: Ledger, file: str | Path, in_use: ModelUse) -> TakenIn:
    """Take in another ledger or a backup of one, and leave this ledger's model in use, which is a matter of each place:
    where a model came with the facts, the one that was in use is taken into use again.

    in_use : the model in use before.

    Raises
    ------
    LedgerError
        The file is neither, or as :func:`take_in`; then nothing is changed.
    """
    before = _model_use(ledger)
    if zipfile.is_zipfile(file):
        with TemporaryDirectory() as folder:
            restored = Path(folder) / "other.sqlite"
            restore(file, restored, use_model=False)
            taken = take_in(ledger, restored)
    else:
        taken = take_in(ledger, file)
    if _model_use(ledger) != before:
        ledger.add(ModelUse(folder=in_use.folder, label=in_use.label))
    return taken


def _model_use(ledger: Ledger) -> ModelUse | None:
    uses = views.model_uses(ledger)
    return uses[-1].fact if uses else None


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
            take_names(ledger, source)
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
