"""Tables of calls that sheets saved where a browser puts downloads: which bring something new."""

from dataclasses import dataclass
from pathlib import Path

from grader.errors import CallsError
from grader.grading.calls.calls_csv import SAVED, read_calls_csv, saved_tables
from grader.ledger import views
from grader.session import Session


@dataclass(frozen=True)
class SavedTables:
    """What lies in a folder where sheets save calls: tables that bring something new, the oldest first, those that were
    taken in before, and those of photos that the ledger does not hold."""

    new: tuple[Path, ...]
    known: tuple[Path, ...]
    strange: tuple[Path, ...]


def tables_in(folder: Path, session: Session) -> SavedTables:
    """Return the tables of calls that sheets saved in a folder.

    Raises
    ------
    CallsError
        There is none, or one cannot be read.
    """
    ledger = session.need_ledger("a call")
    found: dict[str, list[Path]] = {"new": [], "known": [], "strange": []}
    for path in saved_tables(folder):
        calls = read_calls_csv(path, session.profile.grades, "").calls
        photos = {call.sha256 for call in calls if call.sha256}
        there = {c.uid for c in views.calls(ledger, sha256=photos, also_taken_back=True)}
        if not views.last_looks(ledger, photos):
            found["strange"].append(path)
        elif all(call.uid in there for call in calls):
            found["known"].append(path)
        else:
            found["new"].append(path)
    if not any(found.values()):
        raise CallsError(
            f"{folder}: no calls that a sheet saved ({SAVED}); save them there, or name the file behind --from"
        )
    return SavedTables(**{what: tuple(paths) for what, paths in found.items()})
