"""Where photos were seen, and how large they are: by their content, and by their places."""

from collections.abc import Iterable

from sqlalchemy import select

from grader.ledger import schema
from grader.ledger.store import Ledger
from grader.ledger.views import Hashes, among


def photo_paths(ledger: Ledger, sha256: Hashes = None) -> dict[str, tuple[str, ...]]:
    """Return, by photo, the places where it was seen, the last one first.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table = schema.photo
    wanted = select(table.c.sha256, table.c.path).where(*among(table.c.sha256, sha256))
    paths: dict[str, tuple[str, ...]] = {}
    for row in ledger.rows(wanted.order_by(table.c.sequence.desc())):
        paths[row.sha256] = (*paths.get(row.sha256, ()), row.path)
    return paths


def photo_sizes(ledger: Ledger, sha256: Hashes = None) -> dict[str, tuple[int, int]]:
    """Return width and height of photos, px upright.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table = schema.photo
    wanted = select(table.c.sha256, table.c.width, table.c.height)
    rows = ledger.rows(wanted.where(*among(table.c.sha256, sha256)))
    return {row.sha256: (row.width, row.height) for row in rows}


def contents_at(ledger: Ledger, paths: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Return, by place, the photos that were seen there, the last one first.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table = schema.photo
    wanted = select(table.c.path, table.c.sha256).where(*among(table.c.path, paths))
    found: dict[str, tuple[str, ...]] = {}
    for row in ledger.rows(wanted.order_by(table.c.sequence.desc())):
        found[row.path] = (*found.get(row.path, ()), row.sha256)
    return found
