"""Two ledgers become one: nothing twice, nothing lost, each in its own order."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grader.errors import LedgerError
from grader.ledger import facts, views
from grader.ledger.merge import take_in
from grader.ledger.store import open_ledger


@pytest.fixture
def two(path, tmp_path):
    with open_ledger(path) as ours, open_ledger(tmp_path / "other" / "ledger.sqlite") as other:
        yield ours, other


def held(ledger):
    return [(e.fact, e.author, e.time) for e in ledger.entries()]


def standing(ledger):
    """The last grade of each person on each photo."""
    return {(call.by, call.sha256): call.grade for call in views.calls(ledger)}


def test_all_facts_are_taken_in_once_however_often(made, two):
    ours, other = two
    all_facts = made.every_kind()
    ours.add(made.call(note="ours"), author="Ann")
    other.add(*all_facts, author="Bo", time=made.TIME)
    new = take_in(ours, other.path)
    assert sum(new.new.values()) == len(all_facts)
    assert (new.new["resort_answer"], new.new["call"], new.known, new.pictures) == (2, 1, 0, 0)
    assert held(ours)[1:] == held(other)
    before, rows = held(ours), made.view_rows(ours)
    again = take_in(ours, other.path)
    assert (dict(again.new), again.known) == ({}, len(all_facts))
    assert (held(ours), made.view_rows(ours)) == (before, rows)
    ours.replay()
    assert made.view_rows(ours) == rows


def test_each_way_round_the_same_calls_of_each_person_stand(made, two):
    ours, other = two
    ours.add(made.call(grade="select"), author="Ann")
    gone = made.call(made.SHORE, grade="waste")
    ours.add(gone, author="Ann")
    ours.add(facts.TakenBack(gone.uid), author="Ann")
    ours.add(made.call(made.SHORE, grade="fine"), author="Ann")
    other.add(made.call(grade="prime"), author="Bo")
    other.add(made.call(grade="select"), author="Bo")
    take_in(ours, other.path)
    take_in(other, ours.path)
    stands = {
        ("Ann", made.LAKE): "select",
        ("Ann", made.SHORE): "fine",
        ("Bo", made.LAKE): "select",
    }
    assert standing(ours) == standing(other) == stands


def test_where_one_person_called_a_stone_in_both_what_was_taken_in_counts_as_later(made, two):
    ours, other = two
    ours.add(made.call(grade="select"), author="Ann", time="2025-05-01T00:00:00+00:00")
    other.add(made.call(grade="prime"), author="Ann", time="2025-01-01T00:00:00+00:00")
    take_in(ours, other.path)
    take_in(other, ours.path)
    assert standing(ours) == {("Ann", made.LAKE): "prime"}
    assert standing(other) == {("Ann", made.LAKE): "select"}


def test_a_call_taken_back_elsewhere_is_taken_back_here_too(made, two):
    ours, other = two
    called = made.call()
    ours.add(called)
    take_in(other, ours.path)
    other.add(facts.TakenBack(called.uid))
    take_in(ours, other.path)
    assert views.calls(ours) == ()


@pytest.mark.slow
@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_two_ledgers_that_take_each_other_in_hold_the_same_facts(data, made, empty, tmp_path):
    histories = made.histories()
    paths = [tmp_path / "one.sqlite", tmp_path / "two.sqlite"]
    for path in paths:
        path.write_bytes(empty.read_bytes())
    shared = data.draw(histories)
    with open_ledger(paths[0]) as one, open_ledger(paths[1]) as two:
        for ledger in (one, two):
            ledger.add(*shared, time=made.TIME)
            ledger.add(*data.draw(histories))
        own = held(two)
        take_in(one, two.path)
        take_in(two, one.path)
        assert {f.uid for f, *_ in held(one)} == {f.uid for f, *_ in held(two)}
        assert held(two)[: len(own)] == own
        for ledger in (one, two):
            rows = made.view_rows(ledger)
            ledger.replay()
            assert made.view_rows(ledger) == rows


def test_pictures_come_along_but_for_damaged_ones(two):
    ours, other = two
    good, bad = (other.pictures.put(content, "jpg") for content in (b"good", b"bad"))
    other.pictures.path(bad).write_bytes(b"worse")
    assert take_in(ours, other.path).pictures == 1
    assert ours.pictures.names() == [good]
    assert take_in(ours, other.path).pictures == 0


def test_a_ledger_taken_into_itself_changes_nothing(made, ledger):
    ledger.add(*made.every_kind())
    before = held(ledger)
    assert dict(take_in(ledger, ledger.path).new) == {}
    assert held(ledger) == before


def test_the_other_is_only_read(made, two):
    ours, other = two
    other.add(made.call())
    other.close()
    before = other.path.read_bytes()
    take_in(ours, other.path)
    assert other.path.read_bytes() == before


def test_what_is_no_ledger_is_not_taken_in(made, ledger, tmp_path):
    with pytest.raises(LedgerError, match="no such ledger; check its name and place"):
        take_in(ledger, tmp_path / "none.sqlite")
    assert not (tmp_path / "none.sqlite").exists()
    (tmp_path / "table.csv").write_text("photo,grade\n")
    with pytest.raises(LedgerError, match=r"table.csv: is no ledger"):
        take_in(ledger, tmp_path / "table.csv")


def test_a_damaged_fact_in_the_other_stops_all_of_it(made, two):
    ours, other = two
    other.add(made.call(), made.call())
    with other._transaction(reads=False) as connection:
        text = "update fact set body = json_set(body, '$.scene', 400) where sequence = 2"
        connection.exec_driver_sql(text)
    with pytest.raises(LedgerError, match="scene must be a whole number"):
        take_in(ours, other.path)
    assert held(ours) == []
