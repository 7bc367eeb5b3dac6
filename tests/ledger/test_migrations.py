"""Tables come from migrations, from nothing or from a ledger of an earlier version, and hold what they held."""

import json
import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, select

from grader.errors import LedgerError
from grader.ledger import migrate, schema, store
from grader.ledger.store import open_ledger

KEPT = Path(__file__).parent / "kept"


def tables(path):
    """How each table and index was made, without blanks; the order of a table's constraints is none."""
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("select name, sql from sqlite_master where sql is not null")
        plain = {name: "".join(sql.split()).replace('"', "") for name, sql in rows}
    return {
        name: sorted(re.split(",(?=CONSTRAINT)", sql.removesuffix(")")))
        for name, sql in plain.items()
    }


def rows(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("select * from fact order by sequence").fetchall()


def test_the_last_migration_makes_the_version_that_the_tool_wants():
    assert ScriptDirectory.from_config(migrate._config(None)).get_heads() == [schema.VERSION]


def test_migrations_make_what_the_schema_declares(path, ledger, tmp_path):
    ledger.close()
    engine = create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, schema.metadata) == []
    engine.dispose()
    declared = create_engine(f"sqlite:///{tmp_path / 'declared.sqlite'}")
    schema.metadata.create_all(declared)
    declared.dispose()
    made = tables(path)
    made.pop("alembic_version")
    assert made == tables(tmp_path / "declared.sqlite")


def test_every_column_has_a_comment():
    assert [str(c) for t in schema.metadata.tables.values() for c in t.c if not c.comment] == []


@pytest.mark.parametrize("kept", sorted(KEPT.glob("*.sqlite")), ids=lambda p: p.stem)
def test_a_kept_ledger_of_each_version_comes_to_the_same_tables_with_the_same_facts(
    made, kept, path, tmp_path
):
    path.parent.mkdir()
    shutil.copy(kept, path)
    with open_ledger(path) as ledger:
        expected = json.loads(kept.with_suffix(".json").read_text("utf-8"))
        here = [
            [e.sequence, e.fact.uid, e.fact.kind, e.author, e.time, json.loads(e.fact.to_body())]
            for e in ledger.entries()
        ]
        assert here == expected
        before = made.view_rows(ledger)
        # Of an older one those tables are empty whose facts it did not know yet.
        assert all(before.values()) or (kept.stem < schema.VERSION and before["season"])
        ledger.replay()
        assert made.view_rows(ledger) == before
    new = tmp_path / "new.sqlite"
    open_ledger(new).close()
    assert tables(path) == tables(new)


def test_sizes_of_faces_stand_beside_their_facts_in_a_ledger_made_before_them(ledger, made):
    ledger.add(made.measured())
    with closing(sqlite3.connect(ledger.path)) as before:
        before.executescript(
            "drop index ix_call_heard; drop index ix_face_place; drop index ix_stone_size;"
            "alter table stone drop column area_cm2; alter table stone drop column size_class;"
            "drop index ix_reserved_buyer; alter table reserved drop column buyer;"
            "update alembic_version set version_num = '0003'"
        )
    ledger.close()
    with open_ledger(ledger.path) as now:
        sizes = [
            tuple(row)
            for row in now.rows(select(schema.stone.c.area_cm2, schema.stone.c.size_class))
        ]
    assert sorted(sizes, key=str) == [(12.5, "palm"), (None, None)]


def test_a_ledger_of_each_version_is_kept():
    scripts = ScriptDirectory.from_config(migrate._config(None)).walk_revisions()
    assert {s.revision for s in scripts} == {p.stem for p in KEPT.glob("*.sqlite")}


NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade():
    # Makes the table anew: what points to it must stay.
    with op.batch_alter_table("piece") as piece:
        piece.add_column(sa.Column("weight", sa.Text()))
        piece.alter_column("number", type_=sa.Text())
    {then}
"""


@pytest.fixture
def next_version(monkeypatch, tmp_path):
    """Gives the tool a second migration, which ends as told."""

    def give(then=""):
        folder = tmp_path / "versions"
        folder.mkdir()
        (folder / "0006_next.py").write_text(NEXT.format(then=then))
        own = migrate._config

        def config(connection):
            config_of_two = own(connection)
            first = Path(migrate.__file__).parent / "migrations" / "versions"
            config_of_two.set_main_option("path_separator", "newline")
            config_of_two.set_main_option("version_locations", f"{first}\n{folder}")
            return config_of_two

        monkeypatch.setattr(migrate, "_config", config)
        monkeypatch.setattr(migrate, "VERSION", "0006")
        monkeypatch.setattr(store, "VERSION", "0006")

    return give


def test_an_older_ledger_is_copied_then_brought_up_and_keeps_all_rows(
    made, path, ledger, next_version
):
    ledger.add(*made.every_kind())
    ledger.close()
    facts, before = rows(path), tables(path)
    next_version()
    with open_ledger(path):
        pass
    assert rows(path) == facts
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("select count(weight), count(*) from piece").fetchall() == [
            (0, 2)
        ]
        assert connection.execute("select count(*) from face").fetchall() == [(1,)]
        assert connection.execute("pragma foreign_key_check").fetchall() == []
    (copy,) = (path.parent / "ledger.copies").iterdir()
    assert copy.name == "before-0006.sqlite"
    assert (rows(copy), tables(copy)) == (facts, before)


def test_a_migration_that_fails_changes_nothing(made, path, ledger, next_version):
    ledger.add(*made.every_kind())
    ledger.close()
    facts, before = rows(path), tables(path)
    next_version('op.execute("insert into nowhere values (1)")')
    with pytest.raises(LedgerError, match="no such table: nowhere"):
        open_ledger(path)
    assert (rows(path), tables(path)) == (facts, before)


def test_a_migration_that_would_cut_facts_off_from_each_other_changes_nothing(
    made, path, ledger, next_version
):
    ledger.add(*made.every_kind())
    ledger.close()
    facts, before = rows(path), tables(path)
    next_version('op.execute("delete from piece")')
    with pytest.raises(LedgerError, match="cannot be brought up to this version"):
        open_ledger(path)
    assert (rows(path), tables(path)) == (facts, before)
