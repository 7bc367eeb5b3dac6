"""Two programs at a time, and programs that end in the middle of writing."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from grader.ledger import views
from grader.ledger.store import open_ledger

ROOT = Path(__file__).parents[2]

FIFTY = """
import sys, time
from pathlib import Path
from grader.ledger.facts import SavedCall
from grader.ledger.store import open_ledger
path, name, others = sys.argv[1], sys.argv[2], int(sys.argv[3])
Path(path).parent.mkdir(exist_ok=True)
Path(path).with_name(name).touch()
# All begin at once, with a ledger that none of them has made yet.
while len(list(Path(path).parent.glob("writer*"))) < others:
    time.sleep(0.001)
with open_ledger(path) as ledger:
    for number in range(50):
        ledger.add(SavedCall("a" * 64, "p.jpg", 1, (0, 0, 5, 5), note=str(number)), author=name)
"""


@pytest.mark.parametrize("writers", [2, pytest.param(4, marks=pytest.mark.slow)])
def test_programs_that_write_fifty_calls_each_at_once_lose_none(made, path, writers):
    names = [f"writer {n}" for n in range(writers)]
    running = [
        subprocess.Popen(
            [sys.executable, "-c", FIFTY, path, name, str(writers)],
            cwd=ROOT,
            stderr=subprocess.PIPE,
        )
        for name in names
    ]
    assert [run.communicate()[1] for run in running] == [b""] * writers
    with open_ledger(path) as ledger:
        calls = views.calls(ledger)
        before = made.view_rows(ledger)
        ledger.replay()
        assert made.view_rows(ledger) == before
    for name in names:
        assert [call.note for call in calls if call.by == name] == [str(n) for n in range(50)]
    assert len(calls) == 50 * writers


KILLED = """
import json, os, random, signal, sqlite3, sys, time
from sqlalchemy import select
from grader.ledger.facts import SavedCall, SavedLineWord, TakenBack
from grader.ledger.schema import VIEW_TABLES
from grader.ledger.store import open_ledger

path, rounds, rng = sys.argv[1], int(sys.argv[2]), random.Random(int(sys.argv[3]))
PLACE = ("a" * 64, "p.jpg", 1, (0, 0, 5, 5))

def write_for_ever(pipe, number):
    # An action is three facts: all of them must be there, or none.
    with open_ledger(path) as ledger:
        while True:
            said = SavedCall(*PLACE, note=str(number), outline=[(1, 2)] * 300)
            word = SavedLineWord(*PLACE, 1, [(3, 4)] * 300, "crack", note=str(number))
            os.write(pipe, b"begin\\n")
            ledger.add(said, word, TakenBack(said.uid))
            os.write(pipe, b"end\\n")
            number += 1
            time.sleep(rng.random() * 0.002)

def rows(ledger):
    return [ledger.rows(select(table)) for table in VIEW_TABLES]

def numbers(ledger):
    return [int(e.fact.note) for e in ledger.entries() if e.fact.kind == "call"]

open_ledger(path).close()
kept, log = 0, []
for _ in range(rounds):
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reads)
        write_for_ever(writes, kept)
    os.close(writes)
    marks = os.read(reads, 6)
    time.sleep(rng.random() * 0.03)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(reads, 65536):
        marks += more
    os.close(reads)
    begun, ended = marks.count(b"begin"), marks.count(b"end")
    with open_ledger(path) as ledger:
        before = rows(ledger)
        ledger.replay()
        there = numbers(ledger)
        kinds = [e.fact.kind for e in ledger.entries()]
        log.append({
            "in a write": begun > ended,
            "sound": sqlite3.connect(path).execute("pragma integrity_check").fetchall() == [("ok",)],
            "replays": rows(ledger) == before,
            "whole": kinds == ["call", "line_word", "taken_back"] * len(there),
            "none lost": kept + ended <= len(there) <= kept + begun and there == list(range(len(there))),
        })
        kept = len(there)
print(json.dumps(log))
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system starts programs another way")
def test_a_program_killed_while_it_writes_leaves_whole_actions_and_true_views(path):
    run = subprocess.run(
        [sys.executable, "-c", KILLED, path, "60", "11"], capture_output=True, text=True, cwd=ROOT
    )
    assert run.stderr == ""
    log = json.loads(run.stdout)
    assert len(log) == 60
    # Else this shows nothing.
    assert sum(one["in a write"] for one in log) >= 20
    for name in ("sound", "replays", "whole", "none lost"):
        assert all(one[name] for one in log), name
