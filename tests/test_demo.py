"""The invented season: whole, marked invented, reproducible, and apart from the seller's own ledger."""

import json
import re
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest
from typer.testing import CliRunner

from grader.demo.clock import SeasonClock
from grader.demo.season import DIGS, PIECES, make_season
from grader.demo.stones import draw_stone
from grader.errors import GraderError
from grader.ledger import stock
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger

pytestmark = pytest.mark.slow


def rows(season: Path, query: str) -> list[tuple]:
    with closing(sqlite3.connect(season / "season.sqlite")) as opened:
        return opened.execute(query).fetchall()


def facts(season: Path) -> list[tuple]:
    """Kind, sayer and content of all facts, in order; for uids and for the folder a word."""
    told = rows(season, "select kind, author, body from fact order by sequence")
    return [
        (kind, by, re.sub(r"\b[0-9a-f]{32}\b", "uid", body).replace(str(season), "here"))
        for kind, by, body in told
    ]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A season of four stones, of which three are looked at."""
    folder = tmp_path_factory.mktemp("demo") / "season"
    told = []
    made = make_season(folder, pieces=(2, 1, 1), workers=1, on_stone=lambda *n: told.append(n))
    assert (made.pieces, made.graded) == (4, 3)
    assert told == [(n, 7) for n in range(1, 8)]
    return folder


def test_the_season_lies_in_its_folder_with_a_ledger_of_its_own(small):
    names = {path.name for path in small.iterdir()}
    assert names >= {
        "README.txt",
        "grader.toml",
        "prices.toml",
        "boxes.toml",
        "photos",
        "season.sqlite",
    }
    photos = sorted(path.name for path in small.glob("photos/*/*"))
    assert photos == ["07-001.jpg", "07-002.jpg", "08-001.jpg", "09-001.jpg"]
    assert not default_path().exists()


def test_all_is_marked_invented(small):
    assert "Everything in this folder is invented" in (small / "README.txt").read_text()
    for name in ("grader.toml", "prices.toml", "prices_spring.toml", "boxes.toml"):
        assert (
            (small / name)
            .read_text()
            .lower()
            .splitlines()[0]
            .startswith(("# invented", "# an invented"))
        )
    people = {by for (by,) in rows(small, "select distinct author from fact") if by}
    assert people and all(by.endswith("(invented)") for by in people)
    for kind in ("trip", "sold", "call"):
        bodies = rows(small, f"select body from fact where kind = '{kind}'")
        assert bodies and all("invented" in body for (body,) in bodies), kind
    assert all("invented" in name for (name,) in rows(small, "select name from buyer_name"))


def test_all_acts_lie_in_the_season(small):
    times = [time for (time,) in rows(small, "select time from fact order by sequence")]
    assert times == sorted(times)
    assert DIGS[0].dug <= times[0][:10] and times[-1][:10] == DIGS[-1].sold


def test_its_views_are_those_that_its_facts_give(small):
    with open_ledger(small / "season.sqlite") as ledger:
        before = [stock.pieces(ledger, haul=haul.uid) for haul in stock.hauls(ledger)]
        ledger.replay()
        assert [stock.pieces(ledger, haul=haul.uid) for haul in stock.hauls(ledger)] == before
        assert [len(of) for of in before] == [2, 1, 1]
        assert all(one.net_g for of in before for one in of.values())


def test_a_folder_that_holds_something_is_refused_in_one_line(tmp_path):
    from grader.cli.main import app

    (tmp_path / "notes.txt").write_text("mine")
    ran = CliRunner().invoke(app, ["demo", str(tmp_path)])
    assert ran.exit_code == 1
    assert ran.stderr.count("\n") == 1 and "holds something already" in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    with pytest.raises(GraderError, match="is a file"):
        make_season(tmp_path / "notes.txt")


def test_a_seed_draws_the_same_stone_and_another_seed_another(tmp_path):
    same = [draw_stone(3, "07", 5, tmp_path / name) for name in "ab"]
    other = draw_stone(4, "07", 5, tmp_path / "c")
    assert same[0].photo.read_bytes() == same[1].photo.read_bytes() != other.photo.read_bytes()
    assert same[0].grams == same[1].grams != other.grams


def test_the_clock_goes_on_and_never_stands(tmp_path):
    clock = SeasonClock("2025-04-12")
    assert (clock(), clock()) == ("2025-04-12T09:01:00+00:00", "2025-04-12T09:02:00+00:00")
    with open_ledger(tmp_path / "l.sqlite", clock) as ledger:
        from grader.deals.hauls import new_trip

        new_trip(ledger, "dig", clock.day, None)
        assert [entry.time for entry in ledger.entries()] == ["2025-04-12T09:03:00+00:00"]


@pytest.mark.slow
def test_the_same_seed_makes_the_same_facts(small, tmp_path):
    again, other = tmp_path / "again", tmp_path / "other"
    make_season(again, pieces=(2, 1, 1), workers=1)
    make_season(other, seed=1, pieces=(2, 1, 1), workers=1)
    assert facts(again) == facts(small) != facts(other)


@pytest.mark.slow
def test_the_whole_season_is_made_by_its_command(tmp_path, monkeypatch):
    from grader.cli.main import app

    def run(*args):
        ran = CliRunner().invoke(app, list(args))
        assert ran.exit_code == 0, ran.output
        return ran.stdout

    lines = run("demo", str(tmp_path / "season")).splitlines()
    assert "nothing in it is real" in lines[0] and len(lines) == 6
    assert lines[2].startswith("grader table ")
    monkeypatch.chdir(tmp_path / "season")
    assert len(list(Path("photos").glob("*/*.jpg"))) == sum(PIECES) == 120
    kinds = Counter(entry[0] for entry in rows(Path(), "select kind from fact"))
    for kind in (
        "trip",
        "haul",
        "weighed",
        "call",
        "table",
        "lot",
        "sold",
        "returned",
        "broken",
        "listing",
        "reserved",
    ):
        assert kinds[kind] > 0, kind
    assert kinds["trip"] == 3
    for haul, count in zip(("07", "08", "09"), PIECES, strict=True):
        told = json.loads(run("haul", "report", haul, "--json"))
        # Two pounds and less of mud are not accounted for, as it goes.
        assert 0 <= float(told["gap_g"]) <= 1000
        assert len(json.loads(run("haul", "list", haul, "--json"))) >= count
    assert kinds["measured"] == sum(PIECES[:2])
    assert kinds["call"] >= 20
