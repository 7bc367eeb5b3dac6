"""A bin told by a few pieces drawn from it at random and photographed: which grades they have."""

from collections.abc import Sequence
from pathlib import Path

from grader.deals.grades import session_grades
from grader.errors import LedgerError
from grader.ledger import views
from grader.ledger.joint import standing_faces
from grader.ledger.store import Ledger
from grader.photo.file import SUFFIXES, content_hash
from grader.session import Session


def sample_of(ledger: Ledger, folder: Path) -> tuple[str, ...]:
    """Return the contents of the photos in a folder that were graded before.

    Raises
    ------
    LedgerError
        None was, or one was not: one line.
    PhotoError
        One cannot be read.
    """
    found = {
        content_hash(path): path.name
        for path in sorted(folder.iterdir())
        if path.suffix.lower() in SUFFIXES and not path.name.startswith(".")
    }
    shown = views.last_looks(ledger, list(found))
    strange = [name for sha256, name in found.items() if sha256 not in shown]
    if strange or not found:
        what = strange[0] if strange else "no photo"
        raise LedgerError(f"{folder}: {what}: was not graded yet; run grader batch {folder} first")
    return tuple(found)


def sample_grades(session: Session, photos: Sequence[str]) -> dict[str, int]:
    """Return how many pieces of each grade the photos of a sample show, as called, else as proposed.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    ledger = session.need_ledger("a sample")
    uids = {face.piece for face in standing_faces(ledger, photos)}
    counts: dict[str, int] = {}
    for one in session_grades(session, uids).values():
        if one.grade:
            counts[one.grade] = counts.get(one.grade, 0) + 1
    return counts
