"""Copies of a ledger: one a day, one before its tables change, and a backup of all, which can be restored.

A backup holds the ledger, what it keeps of photos, and the model in use: a ledger restored on another machine names
that model, and without it no grade would be proposed there. Models are a few MB of numbers. Photos and other models
are the seller's own files; they are not in it.
"""

import os
import re
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from grader.errors import LedgerError
from grader.files import forget_parts, write_bytes
from grader.ledger import views
from grader.ledger.facts import ModelUse
from grader.ledger.pictures import Pictures, is_picture
from grader.ledger.store import Ledger, as_ledger_error, ledger_version, open_ledger

#: So many daily copies are kept.
DAYS = 7
#: Names in a backup.
_DATABASE, _PICTURE = "ledger.sqlite", re.compile(r"pictures/[0-9a-f]{64}\.[a-z0-9]{1,5}")
_MODEL = re.compile(r"model/[a-z_]{1,20}\.(json|md)")
#: No file of a model is larger.
_MOST_MODEL_BYTES = 20_000_000
#: What reading a damaged zip may end in.
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError)


@dataclass(frozen=True)
class Restored:
    """A ledger restored: where the one that was there is kept, ``None`` where there was none; how many pictures the
    backup holds; and the folder into which its model was put, ``None`` where none was needed."""

    aside: Path | None
    pictures: int
    model: Path | None = None


def copies_folder(path: Path) -> Path:
    """Return the folder beside a ledger in which its copies lie."""
    return path.with_name(f"{path.stem}.copies")


def copy_database(path: Path, out: Path) -> None:
    """Copy a ledger's file, also while others write to it; ``out`` is there whole or not at all.

    Raises
    ------
    LedgerError
        The ledger cannot be read, or the place not be written to.
    """
    with (
        _whole(out) as part,
        as_ledger_error(path),
        closing(sqlite3.connect(path)) as source,
        closing(sqlite3.connect(part)) as target,
    ):
        source.backup(target)
        # One file, without a log beside it.
        target.execute("pragma journal_mode=delete")


def copy_before(path: Path, version: str) -> Path:
    """Copy a ledger before its tables are brought to that version, and return the copy.

    Raises
    ------
    LedgerError
        The ledger cannot be read, or its folder of copies not be written to.
    """
    out = copies_folder(path) / f"before-{version}.sqlite"
    if not out.exists():
        copy_database(path, out)
    return out


def daily_copy(ledger: Ledger, today: date | None = None) -> Path | None:
    """Copy the ledger's file once a day and return the copy, ``None`` where there is one of today; seven are kept.

    What killed runs left beside its pictures goes then, too.

    Raises
    ------
    LedgerError
        The ledger cannot be read, or its folder of copies not be written to.
    """
    folder = copies_folder(ledger.path)
    out = folder / f"{today or date.today()}.sqlite"
    if out.exists():
        return None
    copy_database(ledger.path, out)
    with as_ledger_error(folder):
        for old in sorted(folder.glob("????-??-??.sqlite"))[:-DAYS]:
            old.unlink()
        for pictures in ledger.pictures.folder.glob("??"):
            forget_parts(pictures)
    return out


def backup(ledger: Ledger, out: str | Path, model: Path | None = None) -> int:
    """Write the ledger and its pictures into one zip file, whole or not at all, and return how many pictures it holds.

    model : folder of the model in use, which is put in too; ``None`` for what ships.

    Raises
    ------
    LedgerError
        There is such a file already, a picture was changed, or the place cannot be written to.
    """
    out = Path(out).absolute()
    if out.exists():
        raise LedgerError(f"{out}: is there already; name a new file")
    with TemporaryDirectory() as folder, _whole(out) as part, zipfile.ZipFile(part, "w") as file:
        # Before the pictures: those that its facts name are all there by then.
        copy = Path(folder) / _DATABASE
        copy_database(ledger.path, copy)
        file.write(copy, _DATABASE, zipfile.ZIP_DEFLATED)
        names = ledger.pictures.names()
        for name in names:
            file.writestr(f"pictures/{name}", ledger.pictures.get(name))
        for path in sorted(model.iterdir()) if model else ():
            if _MODEL.fullmatch(f"model/{path.name}"):
                file.write(path, f"model/{path.name}", zipfile.ZIP_DEFLATED)
    return len(names)


def restore(file: str | Path, path: str | Path, *, use_model: bool = True) -> Restored:
    """Put the ledger of a backup in its place, with its pictures; a ledger that is there is kept beside it.

    use_model : put its model beside it too and take it into use, where the folder that it was in is not there.

    Raises
    ------
    LedgerError
        The file is no backup or a damaged one, of a newer version, or the place cannot be written to; then nothing is
        changed. Or another program has the ledger open.
    """
    file, path = Path(file), Path(path).absolute()
    with as_ledger_error(path.parent):
        path.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=path.parent, prefix=".restored-") as folder:
        database = Path(folder) / _DATABASE
        names = _unpack(file, database)
        _check(file, database)
        pictures = Pictures(path)
        with zipfile.ZipFile(file) as backed_up:
            for name in names:
                plain = name.partition("/")[2]
                pictures.put(backed_up.read(name), plain.partition(".")[2])
        aside = _put_aside(path)
        with as_ledger_error(path):
            os.replace(database, path)
    return Restored(aside, len(names), _put_model(file, path) if use_model else None)


def _put_model(file: Path, path: Path) -> Path | None:
    """Put the model of a backup beside its ledger and take it into use from there, where its own folder is gone."""
    with zipfile.ZipFile(file) as backed_up, open_ledger(path) as ledger:
        names = [name for name in backed_up.namelist() if _MODEL.fullmatch(name)]
        uses = views.model_uses(ledger)
        use = uses[-1].fact if uses else None
        if not names or use is None or use.folder is None or Path(use.folder).is_dir():
            return None
        folder = path.with_name(f"{path.stem}.models") / Path(use.folder).name
        if folder.exists():
            folder = folder.with_name(f"{folder.name}-{use.uid[:8]}")
        for name in names:
            write_bytes(folder / name.partition("/")[2], backed_up.read(name))
        ledger.add(ModelUse(folder=str(folder), label=use.label))
    return folder


@contextmanager
def _whole(out: Path) -> Iterator[Path]:
    """A file to write to, moved to its place when it is whole and on the disk."""
    part = out.with_name(f".{out.name}.{os.getpid()}.part")
    with as_ledger_error(out):
        out.parent.mkdir(parents=True, exist_ok=True)
    try:
        with as_ledger_error(out):
            yield part
            with open(part, "rb+") as file:
                os.fsync(file.fileno())
            os.replace(part, out)
    finally:
        part.unlink(missing_ok=True)


def _unpack(file: Path, database: Path) -> list[str]:
    """Write the database of a backup, and return the names of its pictures; all of it is read and checked."""
    try:
        with zipfile.ZipFile(file) as backed_up:
            names_in_zip = backed_up.namelist()
            names = [name for name in names_in_zip if name.startswith("pictures/")]
            model = [name for name in names_in_zip if _MODEL.fullmatch(name)]
            known = sorted([_DATABASE, *filter(_PICTURE.fullmatch, names), *model])
            if known != sorted(names_in_zip) or any(
                backed_up.getinfo(name).file_size > _MOST_MODEL_BYTES for name in model
            ):
                raise LedgerError(f"{file}: is no backup of a ledger; give another file")
            with backed_up.open(_DATABASE) as source, open(database, "wb") as target:
                shutil.copyfileobj(source, target)
                target.flush()
                os.fsync(target.fileno())
            whole = all(is_picture(n.partition("/")[2], backed_up.read(n)) for n in names)
            for name in model:
                backed_up.read(name)  # Its checksum.
    except FileNotFoundError as err:
        raise LedgerError(f"{file}: no such file; check its name and place") from err
    except _DAMAGED as err:
        raise LedgerError(
            f"{file}: is damaged or no backup; nothing is changed, give another"
        ) from err
    if not whole:
        raise LedgerError(f"{file}: a picture in it is damaged; nothing is changed, give another")
    return names


def _check(file: Path, database: Path) -> None:
    """Refuse what is no sound ledger of this version or an older one."""
    try:
        with closing(sqlite3.connect(database, isolation_level=None)) as connection:
            sound = connection.execute("pragma integrity_check").fetchall() == [("ok",)]
            sound = sound and not connection.execute("pragma foreign_key_check").fetchall()
            version = ledger_version(file, connection)
    except sqlite3.Error:
        sound, version = False, None
    if not sound or version is None:
        raise LedgerError(f"{file}: its ledger is damaged; nothing is changed, give another")


def _put_aside(path: Path) -> Path | None:
    """Copy the ledger that lies there beside it, with what its log still holds."""
    if not path.exists():
        return None
    aside = path.with_name(f"{path.stem}.before-{datetime.now():%Y-%m-%d-%H%M%S}{path.suffix}")
    logs = [path.with_name(path.name + end) for end in ("-wal", "-shm")]
    with as_ledger_error(path):
        try:
            with closing(sqlite3.connect(path, timeout=1, isolation_level=None)) as connection:
                # Brings the log into the file and removes it; refused while another program has the ledger open.
                connection.execute("pragma journal_mode=delete")
        except sqlite3.DatabaseError as err:
            if err.sqlite_errorname.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
                raise LedgerError(
                    f"{path}: another program has it open; close that and do it again"
                ) from err
            # A damaged one is kept as it lies.
        for source in (path, *(log for log in logs if log.exists())):
            shutil.copyfile(source, aside.with_name(aside.name + source.name[len(path.name) :]))
        for log in logs:
            log.unlink(missing_ok=True)
    return aside
