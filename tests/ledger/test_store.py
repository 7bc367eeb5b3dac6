"""The ledger's file: whole actions or nothing, one line where it cannot be used, views that replay to themselves."""

import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import event, select

from grader.errors import LedgerError
from grader.ledger import facts, schema, views
from grader.ledger.facts import Entry
from grader.ledger.schema import APPLICATION_ID
from grader.ledger.store import open_ledger

ROOT = Path(__file__).parents[2]


def sql(path, *statements):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        return [connection.execute(one).fetchall() for one in statements]


def read_all(path):
    with open_ledger(path) as ledger:
        return list(ledger.entries())


def one_line(refused):
    assert "\n" not in str(refused.value)
    return str(refused.value)


def test_a_ledger_is_made_with_its_folder_and_keeps_what_is_added(made, path):
    with open_ledger(path) as ledger:
        uids = ledger.add(*made.every_kind(), author="Ann", time=made.TIME)
        entries = list(ledger.entries())
    with open_ledger(path) as again:
        assert list(again.entries()) == entries
    assert [one.fact.uid for one in entries] == uids
    assert {(one.author, one.time) for one in entries} == {("Ann", made.TIME)}
    assert [one.sequence for one in entries] == list(range(1, len(uids) + 1))


def test_order_is_that_of_adding_not_of_time(made, ledger):
    late, early = made.call(note="late"), made.call(note="early")
    ledger.add(late, time="2025-05-01T00:00:00+00:00")
    ledger.add(early, time="2025-01-01T00:00:00+00:00")
    assert [call.note for call in views.calls(ledger)] == ["late", "early"]


def test_the_time_of_a_fact_is_now_with_an_offset_unless_told(made, ledger):
    ledger.add(made.call())
    (entry,) = ledger.entries()
    assert facts.checked_time(entry.time) == entry.time


def test_a_fact_added_twice_is_there_once(made, ledger):
    one = made.call()
    assert ledger.add(one, one) == [one.uid, one.uid]
    ledger.add(one, author="someone else")
    assert [(e.fact, e.author) for e in ledger.entries()] == [(one, None)]
    assert len(views.calls(ledger)) == 1


def test_of_two_facts_with_one_uid_the_first_counts_in_the_views_too(made, ledger):
    first, second = made.call(note="first"), made.call(note="second")
    second = replace(second, uid=first.uid)
    new = ledger.take(Entry(0, one.note, made.TIME, one) for one in (first, second))
    assert new == {"call": 1}
    assert [(call.note, call.by) for call in views.calls(ledger)] == [("first", "first")]
    before = made.view_rows(ledger)
    ledger.replay()
    assert made.view_rows(ledger) == before


def test_nothing_is_added_where_one_of_the_facts_cannot_be(made, ledger):
    with pytest.raises(LedgerError, match="names another that is not in this ledger") as refused:
        ledger.add(made.call(), facts.TakenBack("0" * 32))
    one_line(refused)
    assert list(ledger.entries()) == []
    assert made.view_rows(ledger)["call"] == []


@pytest.mark.parametrize("who_and_when", [{"time": "now"}, {"author": ""}])
def test_nothing_is_added_under_a_time_or_name_that_cannot_be_kept(made, ledger, who_and_when):
    with pytest.raises(LedgerError):
        ledger.add(made.call(), **who_and_when)
    assert list(ledger.entries()) == []


def test_nothing_is_added_where_reading_what_is_taken_ends_in_an_error(made, ledger):
    def entries():
        yield from (Entry(0, None, made.TIME, made.call()) for _ in range(600))
        raise LedgerError("the other one is damaged")

    with pytest.raises(LedgerError, match="the other one is damaged"):
        ledger.take(entries())
    assert list(ledger.entries()) == []


def test_each_connection_is_set_so_that_what_was_added_is_on_the_disk(path, ledger):
    with ledger._transaction(reads=False) as connection:
        ask = lambda name: connection.exec_driver_sql(f"pragma {name}").scalar()  # noqa: E731
        # SQLite's documentation of its pragmas: synchronous 2 is FULL.
        assert (ask("synchronous"), ask("journal_mode"), ask("foreign_keys")) == (2, "wal", 1)
        assert ask("application_id") == APPLICATION_ID


def test_a_fact_whose_text_is_no_json_cannot_get_in(path, ledger):
    row = "insert into fact (uid, kind, time, body) values ('u', 'call', 't', '{\"share\": NaN}')"
    with pytest.raises(sqlite3.IntegrityError, match="ck_fact_json"):
        sql(path, row)


# ---- what is no ledger, or cannot be used


def test_a_folder_is_no_ledger(tmp_path):
    with pytest.raises(LedgerError, match="is a folder; name a file in it"):
        open_ledger(tmp_path)


@pytest.mark.parametrize("content", [b"photo,grade\n", b"x", b"SQLite format 3\0" + b"\xff" * 5000])
def test_a_file_of_another_kind_is_no_ledger_and_is_left_alone(path, content):
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(LedgerError, match="is no ledger; give another file") as refused:
        open_ledger(path)
    one_line(refused)
    assert path.read_bytes() == content


def test_another_program_s_database_is_no_ledger(path):
    path.parent.mkdir()
    sql(path, "create table songs (name text)")
    with pytest.raises(LedgerError, match="is no ledger; give another file"):
        open_ledger(path)
    assert sql(path, "select name from sqlite_master") == [[("songs",)]]


def test_an_empty_file_is_a_ledger_still_to_be_made(path):
    path.parent.mkdir()
    path.touch()
    with open_ledger(path) as ledger:
        assert list(ledger.entries()) == []


def test_a_newer_ledger_is_refused_and_left_alone(path, ledger):
    ledger.close()
    sql(path, "update alembic_version set version_num = '0999'")
    with pytest.raises(
        LedgerError, match="made by a newer version of this tool; update"
    ) as refused:
        open_ledger(path)
    one_line(refused)
    assert sql(path, "select version_num from alembic_version") == [[("0999",)]]


def test_a_damaged_ledger_is_told_in_one_line(made, path):
    with open_ledger(path) as ledger:
        ledger.add(*(made.call(note="x" * 500) for _ in range(200)))
    sql(path, "pragma wal_checkpoint(truncate)")
    content = bytearray(path.read_bytes())
    # All pages but the first, which holds the list of tables.
    content[4096:] = b"\xa5" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(LedgerError, match="is damaged; put it aside and restore") as refused:
        read_all(path)
    one_line(refused)


def test_a_ledger_cut_short_is_told_in_one_line(made, path):
    with open_ledger(path) as ledger:
        ledger.add(*(made.call(note="x" * 500) for _ in range(200)))
    sql(path, "pragma wal_checkpoint(truncate)")
    os.truncate(path, path.stat().st_size // 2)
    with pytest.raises(LedgerError, match="is damaged; put it aside and restore a backup"):
        read_all(path)


def test_a_fact_damaged_in_its_row_is_told_in_one_line(made, path, ledger):
    ledger.add(made.call())
    sql(path, "update fact set body = json_set(body, '$.scene', 400)")
    with pytest.raises(LedgerError, match="fact 'call': scene must be a whole number"):
        list(ledger.entries())


def test_a_ledger_below_a_file_is_told_in_one_line(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(LedgerError, match=r"cannot be used .*; mend that or choose another place"):
        open_ledger(tmp_path / "file" / "ledger.sqlite")


def test_a_full_disk_is_told_in_one_line_and_nothing_is_added(made, ledger):
    # A bound on the file's pages ends in SQLite's own error for a full disk.
    @event.listens_for(ledger._engine, "begin")
    def _full(connection):
        pages = connection.exec_driver_sql("pragma page_count").scalar()
        connection.exec_driver_sql(f"pragma max_page_count={pages}")

    with pytest.raises(
        LedgerError, match="the disk is full; nothing was added: free some"
    ) as refused:
        ledger.add(*(made.call(note="x" * 5000) for _ in range(20)))
    one_line(refused)
    assert list(ledger.entries()) == []


AS_NOBODY = """
import os, sys
from grader.errors import LedgerError
from grader.ledger.facts import SeasonBegun
from grader.ledger.store import open_ledger
import sqlalchemy.dialects.sqlite
{drop}
try:
    with open_ledger(sys.argv[1]) as ledger:
        ledger.add(SeasonBegun("spring", "2025-03-01"))
except LedgerError as err:
    print(err)
"""


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="permissions work another way here")
@pytest.mark.parametrize("has_ledger", [True, False], ids=["a ledger", "none yet"])
def test_a_read_only_place_is_told_in_one_line(made, has_ledger):
    # Not in pytest's own folder, which nobody else may enter.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.sqlite"
        if has_ledger:
            with open_ledger(path) as ledger:
                ledger.add(made.call())
            path.chmod(0o444)
        Path(folder).chmod(0o555)
        # The administrator may write everywhere, so the test goes on as nobody.
        drop = "os.setuid(65534)" if os.getuid() == 0 else ""
        run = subprocess.run(
            [sys.executable, "-c", AS_NOBODY.format(drop=drop), path],
            capture_output=True, text=True, cwd=ROOT,
        )  # fmt: skip
        Path(folder).chmod(0o755)
    assert run.stderr == ""
    assert re.fullmatch(
        rf"{path}: cannot be (opened|written); mend .*permissions.* or choose another place\n",
        run.stdout,
    )


def test_another_writer_that_does_not_end_is_told_in_one_line(made, path, monkeypatch):
    monkeypatch.setattr("grader.ledger.store.WAIT_S", 0.1)
    with open_ledger(path) as ledger, closing(sqlite3.connect(path)) as other:
        other.execute("begin immediate")
        with pytest.raises(LedgerError, match="another program is writing to it; try again"):
            ledger.add(made.call())
        other.rollback()
        ledger.add(made.call())


def test_a_reader_does_not_wait_for_a_writer(made, path, ledger):
    ledger.add(made.call())
    with closing(sqlite3.connect(path)) as other:
        other.execute("begin immediate")
        assert len(views.calls(ledger)) == 1


def test_remarks_on_the_place_are_made_once(tmp_path):
    path = tmp_path / "my cloud" / "ledger.sqlite"
    with open_ledger(path) as ledger:
        (remark,) = ledger.remarks
    assert "'my cloud'" in remark
    with open_ledger(path) as again:
        assert again.remarks == ()


# ---- views replay to themselves


def test_replay_changes_no_row_of_a_ledger_with_every_kind_of_fact(made, ledger):
    ledger.add(*made.every_kind(), author="Ann")
    before = made.view_rows(ledger)
    assert all(before.values()), "each view table holds something"
    ledger.replay()
    assert made.view_rows(ledger) == before


def test_replay_mends_views_that_were_changed(made, path, ledger):
    ledger.add(*made.every_kind())
    before = made.view_rows(ledger)
    sql(
        path,
        "delete from taken_back",
        "update call set grade = 'other'",
        "insert into resort_done values ('none', 1)",
        "insert into photo values ('none', '/none', 'none', 1, 1, 1)",
    )
    assert made.view_rows(ledger) != before
    ledger.replay()
    assert made.view_rows(ledger) == before


@pytest.mark.slow
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_replay_changes_no_row_whatever_was_added(data, made, empty, tmp_path):
    history = data.draw(made.histories())
    cuts = sorted(data.draw(st.lists(st.integers(0, len(history)), max_size=3)))
    path = shutil.copy(empty, tmp_path / "history.sqlite")
    with open_ledger(path) as ledger:
        for start, end in zip([0, *cuts], [*cuts, len(history)], strict=True):
            ledger.add(*history[start:end])
        # One that came twice is there once, where it came first.
        assert [e.fact for e in ledger.entries()] == list({f.uid: f for f in history}.values())
        before = made.view_rows(ledger)
        # Replay takes all at once.
        ledger.replay()
        assert made.view_rows(ledger) == before


# ---- what a start costs


def loaded(code):
    script = f"{code}\nimport sys\nprint(*sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(run.stdout.split())


def test_opening_a_ledger_of_this_version_loads_no_alembic(path, ledger):
    ledger.close()
    modules = loaded(
        f"from grader.ledger import views\nfrom grader.ledger.store import open_ledger\n"
        f"with open_ledger({str(path)!r}) as ledger:\n    views.calls(ledger)"
    )
    assert modules.isdisjoint({"alembic", "mako", "sqlalchemy.orm", "sklearn", "scipy", "PIL"})
    assert "sqlalchemy" in modules


def test_what_is_decided_in_an_act_is_kept_whole_or_not_at_all(made, ledger):
    def decide(reads):
        assert reads.rows(select(schema.call)) == []
        yield made.call(note="first")
        raise LedgerError("changed my mind")

    with pytest.raises(LedgerError, match="changed my mind"):
        ledger.act(decide)
    assert list(ledger.entries()) == []
    kept = ledger.act(lambda reads: [made.call(note="kept")], author="Ann")
    assert [(e.fact, e.author) for e in ledger.entries()] == [(kept[0], "Ann")]
