"""Copies are whole or not there, and a backup brings back what it was made of."""

import io
import os
import sqlite3
import zipfile
from contextlib import closing
from datetime import date, timedelta

import pytest

from grader.errors import LedgerError
from grader.ledger import views
from grader.ledger.backup import backup, daily_copy, restore
from grader.ledger.pictures import Pictures
from grader.ledger.store import open_ledger


@pytest.fixture
def full(made, ledger):
    """A ledger with every kind of fact and two pictures."""
    ledger.add(*made.every_kind(), author="Ann", time=made.TIME)
    for content in (b"lake", b"shore" * 1000):
        ledger.pictures.put(content, "jpg")
    return ledger


@pytest.fixture
def zipped(full, tmp_path):
    out = tmp_path / "out" / "backup.zip"
    assert backup(full, out) == 2
    return out


def held(path):
    with open_ledger(path) as ledger:
        return list(ledger.entries())


def everything(folder):
    return {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_backup_restores_to_the_same_ledger_and_pictures(made, full, zipped, tmp_path):
    back = tmp_path / "back" / "mine.sqlite"
    done = restore(zipped, back)
    assert (done.aside, done.pictures) == (None, 2)
    with open_ledger(back) as ledger:
        assert list(ledger.entries()) == list(full.entries())
        assert made.view_rows(ledger) == made.view_rows(full)
    ours, theirs = full.pictures, Pictures(back)
    assert theirs.names() == ours.names() != []
    assert [theirs.get(name) for name in theirs.names()] == [ours.get(n) for n in ours.names()]
    assert sorted(p.name for p in back.parent.iterdir()) == ["mine.pictures", "mine.sqlite"]


def test_a_backup_is_made_while_another_writes(made, full, tmp_path):
    with closing(sqlite3.connect(full.path, isolation_level=None)) as other:
        other.execute("begin immediate")
        other.execute("update call set grade = 'other'")
        backup(full, tmp_path / "backup.zip")
        other.execute("rollback")
    restore(tmp_path / "backup.zip", tmp_path / "back.sqlite")
    with open_ledger(tmp_path / "back.sqlite") as ledger:
        assert [c.grade for c in views.calls(ledger, also_taken_back=True)] == ["select"]


def test_a_backup_never_takes_the_place_of_a_file(full, zipped):
    before = zipped.read_bytes()
    with pytest.raises(LedgerError, match="is there already; name a new file"):
        backup(full, zipped)
    assert zipped.read_bytes() == before


def test_a_backup_that_cannot_be_whole_is_not_there(full, tmp_path):
    name = full.pictures.names()[0]
    full.pictures.path(name).write_bytes(b"other")
    with pytest.raises(LedgerError, match="was changed"):
        backup(full, tmp_path / "out" / "backup.zip")
    assert list((tmp_path / "out").iterdir()) == []


def test_a_backup_to_a_place_that_cannot_be_written_is_told(full, tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(LedgerError, match="mend that or choose another place"):
        backup(full, tmp_path / "file" / "backup.zip")


def test_a_ledger_that_is_there_is_kept_beside_the_restored_one(made, full, zipped):
    later = made.call(note="after the backup")
    full.add(later)
    entries = list(full.entries())
    full.close()
    done = restore(zipped, full.path)
    assert held(full.path) == entries[:-1]
    assert done.aside.parent == full.path.parent
    assert held(done.aside) == entries


def test_a_damaged_ledger_is_kept_beside_the_restored_one(full, zipped):
    entries = list(full.entries())
    full.close()
    full.path.write_bytes(b"no ledger any more")
    done = restore(zipped, full.path)
    assert held(full.path) == entries
    assert done.aside.read_bytes() == b"no ledger any more"


def test_a_ledger_that_is_open_elsewhere_is_not_taken_away(made, full, zipped):
    full.add(made.call())
    with (
        closing(sqlite3.connect(full.path)) as other,
        pytest.raises(LedgerError, match="another program has it open; close that and do it again"),
    ):
        other.execute("select count(*) from fact").fetchone()
        restore(zipped, full.path)
    assert len(list(full.entries())) == len(made.every_kind()) + 1
    assert not list(full.path.parent.glob("*before*"))


def rezipped(file, change):
    """The same zip with its members changed by a function from name and content to content, or ``None``."""
    with zipfile.ZipFile(file) as old:
        members = {name: change(name, old.read(name)) for name in old.namelist()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as new:
        for name, content in members.items():
            if content is not None:
                new.writestr(name, content)
    return out.getvalue()


def with_a_middle_page_changed(name, content):
    if name != "ledger.sqlite":
        return content
    middle = len(content) // 8192 * 4096
    return content[:middle] + b"\xa5" * 4096 + content[middle + 4096 :]


def cut_in_half(file):
    return file.read_bytes()[: file.stat().st_size // 2]


def with_a_byte_changed(file):
    content = bytearray(file.read_bytes())
    content[len(content) // 3] ^= 0xFF
    return content


def named(version):
    def change(name, content):
        if name != "ledger.sqlite":
            return content
        with closing(sqlite3.connect(":memory:")) as connection:
            connection.deserialize(content)
            connection.execute(f"update alembic_version set version_num = '{version}'")
            connection.commit()
            return connection.serialize()

    return change


DAMAGED = {
    "empty": (lambda f: b"", "is damaged or no backup"),
    "text": (lambda f: b"photo,grade\n", "is damaged or no backup"),
    "cut": (cut_in_half, "is damaged or no backup"),
    "a byte": (with_a_byte_changed, "is damaged or no backup"),
    "a picture": (
        lambda f: rezipped(f, lambda n, c: b"x" if n.startswith("pictures") else c),
        "a picture in it is damaged",
    ),
    "no ledger": (
        lambda f: rezipped(f, lambda n, c: None if n == "ledger.sqlite" else c),
        "is no backup of a ledger",
    ),
    "not a database": (
        lambda f: rezipped(f, lambda n, c: b"x" * 9000 if n == "ledger.sqlite" else c),
        "its ledger is damaged",
    ),
    "nothing in it": (
        lambda f: rezipped(f, lambda n, c: b"" if n == "ledger.sqlite" else c),
        "its ledger is damaged",
    ),
    "a page": (lambda f: rezipped(f, with_a_middle_page_changed), "its ledger is damaged"),
    "newer": (lambda f: rezipped(f, named("0999")), "made by a newer version"),
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGED)
def test_a_damaged_backup_is_refused_in_one_line_and_changes_nothing(full, zipped, damage):
    change, message = DAMAGED[damage]
    full.close()
    zipped.write_bytes(change(zipped))
    before = everything(full.path.parent)
    with pytest.raises(LedgerError, match=message) as refused:
        restore(zipped, full.path)
    assert "\n" not in str(refused.value)
    assert str(refused.value).startswith(str(zipped))
    assert everything(full.path.parent) == before


@pytest.mark.parametrize("name", ["../evil.sh", "pictures/../../evil.jpg", "notes.txt"])
def test_a_zip_with_other_files_in_it_is_no_backup(zipped, path, name):
    with zipfile.ZipFile(zipped, "a") as file:
        file.writestr(name, b"x")
    with pytest.raises(LedgerError, match="is no backup of a ledger"):
        restore(zipped, path.with_name("back.sqlite"))


def test_a_backup_that_is_not_there_is_told(tmp_path):
    with pytest.raises(LedgerError, match="no such file; check its name and place"):
        restore(tmp_path / "none.zip", tmp_path / "ledger.sqlite")
    assert not (tmp_path / "ledger.sqlite").exists()


def test_a_copy_is_made_once_a_day_and_seven_are_kept(made, full):
    first = date(2025, 2, 24)
    for day in range(9):
        copy = daily_copy(full, first + timedelta(days=day))
        assert daily_copy(full, first + timedelta(days=day)) is None
    folder = full.path.with_name("ledger.copies")
    kept = sorted(p.name for p in folder.iterdir())
    assert kept == [f"{first + timedelta(days=day)}.sqlite" for day in range(2, 9)]
    assert held(copy) == list(full.entries())


def test_other_files_among_the_copies_stay(full):
    folder = full.path.with_name("ledger.copies")
    folder.mkdir()
    (folder / "before-0002.sqlite").touch()
    (folder / "1999-notes.txt").touch()
    for day in range(1, 10):
        daily_copy(full, date(2025, 3, day))
    assert {"before-0002.sqlite", "1999-notes.txt"} <= set(os.listdir(folder))


def test_a_copy_that_cannot_be_made_is_told(full):
    full.path.with_name("ledger.copies").touch()
    with pytest.raises(LedgerError, match="mend that or choose another place"):
        daily_copy(full)
