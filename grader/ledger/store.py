"""The ledger's file: opened, added to in whole transactions, read, and its views computed anew.

Every action is one transaction, on the disk when it returns: facts are added, and what they change in the view tables
with them, or nothing is. The order of facts is that of adding. Two programs may write at a time: one waits.
"""

import sqlite3
import time as clock
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import URL, Connection, Engine, Row, Select, create_engine, event, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import DBAPIError

from grader.errors import LedgerError
from grader.ledger.checked import to_text
from grader.ledger.facts import Entry, Fact, checked_author, checked_time
from grader.ledger.kinds import read_fact
from grader.ledger.pictures import HEADER, Pictures
from grader.ledger.place import place_remarks
from grader.ledger.projection import rows_of
from grader.ledger.schema import APPLICATION_ID, VERSION, VIEW_TABLES, buyer_name, fact

#: So long a writer waits for another; fifty writes of another take about one.
WAIT_S = 30.0
#: Facts read and put into the views at a time.
CHUNK = 500


def now() -> str:
    """Return the time as facts have it."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


class Reading:
    """What can be read of a ledger in the middle of an act, and the one thing that is written beside its facts."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def rows(self, statement: Select) -> Sequence[Row]:
        """Return all rows of a query."""
        return self._connection.execute(statement).all()

    def keep_name(self, buyer: str, name: str) -> None:
        """Keep the name of a buyer, apart from the facts, which know him by his id."""
        row = {"buyer": buyer, "name": name}
        self._connection.execute(insert(buyer_name).prefix_with("OR REPLACE"), row)

    def drop_names(self, buyers: Iterable[str]) -> None:
        """Drop the names of buyers; the file still holds their letters until it is cleaned (``Ledger.clean``)."""
        for buyer in buyers:
            self._connection.execute(buyer_name.delete().where(buyer_name.c.buyer == buyer))


class Ledger:
    """An open ledger; made by :func:`open_ledger`, closed by ``close`` or at the end of ``with``.

    path : its file.   pictures : kept beside it.
    remarks : what a person should know of where it lies, told when it is made.
    clock : tells the time that facts get.
    """

    def __init__(
        self, path: Path, engine: Engine, remarks: tuple[str, ...], clock: Callable[[], str]
    ) -> None:
        self.path, self.remarks, self._clock = path, remarks, clock
        self.pictures = Pictures(path)
        self._engine = engine

    def __enter__(self) -> "Ledger":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was added is on the disk already."""
        self._engine.dispose()

    def add(self, *facts: Fact, author: str | None = None, time: str | None = None) -> list[str]:
        """Add facts, all or none, and return their uids; one that is there already is not added again.

        Parameters
        ----------
        author : who says it, name as typed.
        time : ISO 8601 with offset; now by default.

        Raises
        ------
        LedgerError
            The author or time cannot be kept, a fact names another that is not there, or the file cannot be written.
        """
        author, time = checked_author(author), checked_time(time or self._clock())
        self.take(Entry(0, author, time, one) for one in facts)
        return [one.uid for one in facts]

    def take(self, entries: Iterable[Entry]) -> Counter[str]:
        """Add facts with author and time as told, all or none, and return how many are new, by kind.

        Their sequence is given anew, in the order in which they come.

        Raises
        ------
        LedgerError
            As :meth:`add`, or as reading the entries does.
        """
        new: Counter[str] = Counter()
        waiting = iter(entries)
        with self._transaction(reads=False) as connection:
            while chunk := list(islice(waiting, CHUNK)):
                placed = _insert(connection, chunk)
                _project(connection, placed)
                new.update(entry.fact.kind for entry in placed)
        return new

    def act(
        self, decide: Callable[["Reading"], Iterable[Fact]], *, author: str | None = None
    ) -> list[Fact]:
        """Add the facts that ``decide`` makes of what it reads, and return them: nobody else writes in between.

        Raises
        ------
        LedgerError
            As :meth:`add`, or as ``decide`` does; nothing is added then.
        """
        author, time = checked_author(author), checked_time(self._clock())
        with self._transaction(reads=False) as connection:
            decided = list(decide(Reading(connection)))
            entries = [Entry(0, author, time, one) for one in decided]
            for first in range(0, len(entries), CHUNK):
                _project(connection, _insert(connection, entries[first : first + CHUNK]))
        return decided

    def rows(self, statement: Select) -> Sequence[Row]:
        """Return all rows of a query.

        Raises
        ------
        LedgerError
            The file cannot be read.
        """
        with self._transaction(reads=True) as connection:
            return connection.execute(statement).all()

    def entries(self, *, after: int = 0) -> Iterator[Entry]:
        """Yield all facts in order, or those after a sequence.

        Raises
        ------
        LedgerError
            The file cannot be read, or holds what is no fact.
        """
        while chunk := self.rows(_chunk(after)):
            yield from map(entry_of, chunk)
            after = chunk[-1].sequence

    def clean(self) -> None:
        """Write the file anew, so that nothing of what was dropped is left in it or in the log beside it.

        Raises
        ------
        LedgerError
            Another program has it open, or it cannot be written.
        """
        with as_ledger_error(self.path):
            pooled = self._engine.raw_connection()
            try:
                raw = pooled.dbapi_connection
                raw.execute("vacuum")
                blocked, *_ = raw.execute("pragma wal_checkpoint(truncate)").fetchone()
            finally:
                pooled.close()
        if blocked:
            raise LedgerError(
                f"{self.path}: another program reads it, so old letters may stay in its log; close that, do it again"
            )

    def replay(self) -> None:
        """Drop all view tables and compute them anew from the facts, all or none.

        Raises
        ------
        LedgerError
            The file cannot be read or written, or holds what is no fact.
        """
        with self._transaction(reads=False) as connection:
            replay(connection)

    @contextmanager
    def _transaction(self, *, reads: bool) -> Iterator[Connection]:
        with as_ledger_error(self.path), self._engine.connect() as connection:
            connection = connection.execution_options(reads=reads)
            with connection.begin():
                yield connection


def open_ledger(path: str | Path, clock: Callable[[], str] = now) -> Ledger:
    """Return the ledger in that file, made if need be, its folder too; one of an older version is brought up to this
    one, with a copy kept beside it.

    clock : tells the time that facts get, ISO 8601 with offset.

    Raises
    ------
    LedgerError
        The file is no ledger, a damaged one or one of a newer version; or the place cannot be read or written.
    """
    path = Path(path).absolute()
    with as_ledger_error(path):
        is_new = not _holds_database(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        engine = _engine(path)
        try:
            _prepare(path, engine)
        except BaseException:
            engine.dispose()
            raise
    return Ledger(path, engine, place_remarks(path) if is_new else (), clock)


def entry_of(row: Row) -> Entry:
    """Return the fact of a row of the fact table.

    Raises
    ------
    LedgerError
        It holds none.
    """
    return Entry(row.sequence, row.author, row.time, read_fact(row.kind, row.body, row.uid))


def replay(connection: Connection) -> None:
    """Empty all view tables and fill them from the facts, in the transaction of this connection.

    Raises
    ------
    LedgerError
        The fact table holds what is no fact.
    """
    for table in reversed(VIEW_TABLES):
        connection.execute(table.delete())
    after = 0
    while chunk := connection.execute(_chunk(after)).all():
        _project(connection, map(entry_of, chunk))
        after = chunk[-1].sequence


@contextmanager
def as_ledger_error(path: Path) -> Iterator[None]:
    """Tell what goes wrong with a ledger's file in one line.

    Raises
    ------
    LedgerError
        For an error of the system or of the database inside ``with``.
    """
    try:
        yield
    except DBAPIError as err:
        raise LedgerError(f"{path}: {_why(err.orig)}") from err
    except sqlite3.Error as err:
        raise LedgerError(f"{path}: {_why(err)}") from err
    except OSError as err:
        raise LedgerError(
            f"{path}: cannot be used ({err.strerror}); mend that or choose another place"
        ) from err


#: By the beginning of SQLite's own name for what went wrong; the first that fits.
_WHY = {
    "SQLITE_CONSTRAINT_FOREIGNKEY": "a fact names another that is not in this ledger; add that one first",
    "SQLITE_BUSY": "another program is writing to it; try again when that is done",
    "SQLITE_FULL": "the disk is full; nothing was added: free some room and do it again",
    "SQLITE_READONLY": "cannot be written; mend its permissions or choose another place",
    "SQLITE_CANTOPEN": "cannot be opened; mend the permissions of its folder or choose another place",
    "SQLITE_PERM": "cannot be opened; mend its permissions or choose another place",
    "SQLITE_NOTADB": "is no ledger; give another file",
    "SQLITE_CORRUPT": "is damaged; put it aside and restore a backup",
    "SQLITE_IOERR": "the disk does not read or write it; look to the disk, then restore a backup",
}


def _why(err: BaseException | None) -> str:
    name = getattr(err, "sqlite_errorname", None) or ""
    fits = (why for start, why in _WHY.items() if name.startswith(start))
    return next(fits, f"cannot be used ({err}); put it aside and restore a backup")


def ledger_file(path: Path) -> Path:
    """Return the path of a database that is there.

    Raises
    ------
    LedgerError
        None is, or another program's file; or the place cannot be read.
    """
    with as_ledger_error(path):
        if not _holds_database(path):
            raise LedgerError(f"{path}: no such ledger; check its name and place")
    return path


def _holds_database(path: Path) -> bool:
    """Whether a database lies there; an empty file is one still to be made."""
    if path.is_dir():
        raise LedgerError(f"{path}: is a folder; name a file in it")
    if not path.exists():
        return False
    with open(path, "rb") as file:
        header = file.read(len(HEADER))
    if header not in (b"", HEADER):
        raise LedgerError(f"{path}: {_WHY['SQLITE_NOTADB']}")
    return bool(header)


def _engine(path: Path) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": WAIT_S},
        json_serializer=to_text,
    )

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _: Any) -> None:
        # Transactions begin where they are said to, not where the driver guesses.
        connection.isolation_level = None
        connection.execute("pragma synchronous=full")
        connection.execute("pragma foreign_keys=on")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its turn at once: one that has read before it waits would be refused.
        reads = connection.get_execution_options().get("reads", False)
        connection.exec_driver_sql("begin" if reads else "begin immediate")

    return engine


def _prepare(path: Path, engine: Engine) -> None:
    """See that the database is a ledger of this version that keeps a log of what is being written."""
    pooled = engine.raw_connection()
    try:
        raw = pooled.dbapi_connection
        version = ledger_version(path, raw)
        _keep_write_ahead_log(raw)
    finally:
        pooled.close()
    if version != VERSION:
        from grader.ledger.migrate import (
            migrate,
        )  # Loads Alembic, which a seller need not wait for.

        migrate(path, engine, version)


def ledger_version(path: Path, connection: sqlite3.Connection) -> str | None:
    """Return the version of the tables, ``None`` where there are none yet.

    Raises
    ------
    LedgerError
        Another program's database, or a newer version than this one.
    """
    connection.execute("begin")
    try:
        (mark,) = connection.execute("pragma application_id").fetchone()
        (tables,) = connection.execute("select count(*) from sqlite_master").fetchone()
        if not mark and not tables:
            return None
        if mark != APPLICATION_ID:
            raise LedgerError(f"{path}: {_WHY['SQLITE_NOTADB']}")
        (version,) = connection.execute("select version_num from alembic_version").fetchone()
    finally:
        connection.execute("rollback")
    if version > VERSION:
        raise LedgerError(f"{path}: made by a newer version of this tool; update the tool")
    return version


def _keep_write_ahead_log(connection: sqlite3.Connection) -> None:
    """Readers and a writer do not wait for each other then. Kept in the file, so it is set once; SQLite does not wait
    by itself where two programs set it at once."""
    until = clock.monotonic() + WAIT_S
    while connection.execute("pragma journal_mode").fetchone() != ("wal",):
        try:
            connection.execute("pragma journal_mode=wal").fetchone()
        except sqlite3.OperationalError as err:
            if err.sqlite_errorname != "SQLITE_BUSY" or clock.monotonic() > until:
                raise
            clock.sleep(0.05)


def _insert(connection: Connection, entries: Sequence[Entry]) -> list[Entry]:
    """Add facts, and return those that are new with their sequence."""
    last = connection.scalar(select(func.max(fact.c.sequence))) or 0
    rows = [
        {
            "uid": entry.fact.uid,
            "kind": entry.fact.kind,
            "author": entry.author,
            "time": entry.time,
            "body": entry.fact.to_body(),
        }
        for entry in entries
    ]
    connection.execute(insert(fact).on_conflict_do_nothing(index_elements=["uid"]), rows)
    # The first of two with one uid is the one that was kept.
    by_uid = {entry.fact.uid: entry for entry in reversed(entries)}
    new = (
        select(fact.c.sequence, fact.c.uid).where(fact.c.sequence > last).order_by(fact.c.sequence)
    )
    return [replace(by_uid[uid], sequence=sequence) for sequence, uid in connection.execute(new)]


def _chunk(after: int) -> Select:
    return select(fact).where(fact.c.sequence > after).order_by(fact.c.sequence).limit(CHUNK)


def _project(connection: Connection, entries: Iterable[Entry]) -> None:
    """Put what these facts say into the view tables; facts come in order, tables after those they point to."""
    rows: dict[str, list[dict[str, Any]]] = {table.name: [] for table in VIEW_TABLES}
    for entry in entries:
        for table, row in rows_of(entry):
            rows[table.name].append(row)
    for table in VIEW_TABLES:
        if rows[table.name]:
            connection.execute(insert(table).prefix_with("OR REPLACE"), rows[table.name])
