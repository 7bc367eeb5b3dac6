"""Brings a ledger's tables to this version; the only module that loads Alembic."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine

from grader.errors import LedgerError
from grader.ledger.backup import copy_before
from grader.ledger.schema import APPLICATION_ID, VERSION


def migrate(path: Path, engine: Engine, version: str | None) -> None:
    """Run the migrations that are due, all or none, and say in the file whose it is.

    A ledger that holds something is copied first, into its folder of copies.

    Raises
    ------
    LedgerError
        A fact would lose another that it names, or the copy cannot be made.
    """
    if version is not None:
        copy_before(path, VERSION)
    with engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        # Changing a table makes a new one; with foreign keys on that would delete what points to the old one.
        # Inside a transaction the switch does nothing.
        raw.execute("pragma foreign_keys=off")
        try:
            with connection.begin():
                command.upgrade(_config(connection), "head")
                if raw.execute("pragma foreign_key_check").fetchone():
                    raise LedgerError(
                        f"{path}: cannot be brought up to this version; nothing is changed: keep it and tell us"
                    )
                connection.exec_driver_sql(f"pragma application_id={APPLICATION_ID}")
        finally:
            raw.execute("pragma foreign_keys=on")


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", "grader.ledger:migrations")
    config.attributes["connection"] = connection
    return config
