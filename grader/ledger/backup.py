"""Copies of a ledger."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path


def copies_folder(path: Path) -> Path:
    """Return the folder beside a ledger in which its copies lie."""
    return path.with_name(f"{path.stem}.copies")


def copy_database(path: Path, out: Path) -> None:
    """Copy a ledger's file whole, also while others write to it; ``out`` is there whole or not at all."""
    out.parent.mkdir(parents=True, exist_ok=True)
    part = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as target:
            source.backup(target)
            # One file, without a log beside it.
            target.execute("pragma journal_mode=delete")
        with open(part, "rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, out)
    finally:
        part.unlink(missing_ok=True)


def copy_before(path: Path, version: str) -> Path:
    """Copy a ledger before its tables are brought to that version, and return the copy."""
    out = copies_folder(path) / f"before-{version}.sqlite"
    if not out.exists():
        copy_database(path, out)
    return out
