"""A program that runs commands of the tool in processes of their own, kills them, and tells what was left.

    python tests/killed.py FOLDER random ROUNDS SEED      kills ``batch``, ``call`` and ``retrain --use`` at random
    python tests/killed.py FOLDER steps kill|full         ends ``retrain --use`` at each of its steps on the disk

It prints a JSON list, one object for each process. FOLDER holds ``haul`` with photos that one face fills each.
Processes are forked from this one before anything but importing was done, so that none has to load the tool again.
"""

import contextlib
import errno
import functools
import io
import itertools
import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import threading
import time
import warnings
from pathlib import Path

from sqlalchemy import select

import grader.batch  # noqa: F401 - so that no process has to load it
import grader.grading.learning.retrain as learning
from grader.called import called_in_ledger
from grader.cli.main import app
from grader.grading.models import model_files as models
from grader.ledger import store, views
from grader.ledger.schema import VIEW_TABLES
from grader.outfolder import OutFolder
from grader.session import Session

LEDGER = Path("ledger.sqlite")
GRADES = ("waste", "tumbling", "cabbing", "select")
#: What writes, by name: the calls of these are marked where they begin and end.
WRITES = (
    (store.Ledger, "take"),
    (models, "save_model"),
    (OutFolder, "write"),
)
COMMANDS = {
    "batch": ("batch", "haul", "--whole", "--workers", "1", "--anew"),
    "retrain": ("retrain", "--out", "mine", "--use"),
}


def command(*args: str) -> int:
    """Run a command of the tool, and return its exit code; what it says is thrown away, or lies in ``output``."""
    with contextlib.redirect_stderr(output), contextlib.redirect_stdout(output):
        try:
            code = app([*args, "--ledger", str(LEDGER)], standalone_mode=False)
        except SystemExit as end:
            return int(end.code or 0)
        except Exception as err:
            output.write(f"{type(err).__name__}: {err}")
            return int(getattr(err, "exit_code", 1))
    # Without its own way to end, Typer gives the exit code back.
    return code if isinstance(code, int) else 0


output = io.StringIO()


def in_a_process(work, *args) -> int:
    """Return how a process ended that did this work: its exit code, or the signal's number below 0."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = work(*args)
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def marked(args: tuple[str, ...], log: Path, at: int, delay_s: float) -> int:
    """Run a command with its writes marked in a log; die by SIGKILL so long after the write of that number begins, or
    after the start where the number is 0."""
    file = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    begun = 0

    # So that the thread that kills has its turn in the midst of a write.
    sys.setswitchinterval(0.0002)

    def arm() -> None:
        # In a thread, so that the command goes on meanwhile.
        threading.Thread(target=die, daemon=True).start()

    def die() -> None:
        time.sleep(delay_s)
        os.kill(os.getpid(), signal.SIGKILL)

    def marking(name, write):
        @functools.wraps(write)
        def run(*given, **more):
            nonlocal begun
            begun += 1
            os.write(file, f"begin {name}\n".encode())
            if begun == at:
                arm()
            done = write(*given, **more)
            os.write(file, f"end {name}\n".encode())
            return done

        return run

    for holder, name in WRITES:
        setattr(holder, name, marking(name, getattr(holder, name)))
    if at == 0:
        arm()
    return command(*args)


def marks(log: Path) -> dict[str, list[int]]:
    """Return, by what writes, how often it began and how often it ended."""
    lines = log.read_text().splitlines() if log.exists() else []
    return {
        name: [lines.count(f"{word} {name}") for word in ("begin", "end")] for _, name in WRITES
    }


def kept() -> dict:
    """Return what the ledger holds, and whether it is sound and its views are those of its facts."""
    with store.open_ledger(LEDGER) as ledger:
        before = [ledger.rows(select(table)) for table in VIEW_TABLES]
        ledger.replay()
        after = [ledger.rows(select(table)) for table in VIEW_TABLES]
        facts = [(entry.fact.kind, entry.fact.uid) for entry in ledger.entries()]
        calls = [call.note for call in views.calls(ledger)]
        uses = [use.fact.label for use in views.model_uses(ledger)]
    sound = sqlite3.connect(LEDGER).execute("pragma integrity_check").fetchall() == [("ok",)]
    return {
        "sound": sound, "replays": before == after, "calls": calls, "uses": uses,
        "facts": [uid for _, uid in facts],
        "measured": sum(kind == "measured" for kind, _ in facts),
    }  # fmt: skip


def model_loads() -> int:
    session = Session(None, LEDGER)
    label = session.model().label
    session.close()
    return 0 if label else 1


def results_are_whole() -> bool:
    """Whether the results that lie there are whole: a JSON object a line."""
    path = Path("haul/graded/results.jsonl")
    return not path.exists() or all(json.loads(line) for line in path.read_text().splitlines())


def at_random(rounds: int, seed: int) -> list[dict]:
    rng, results = random.Random(seed), []
    photos = sorted(path.name for path in Path("haul").glob("*.png"))
    assert in_a_process(command, *COMMANDS["batch"]) == 0
    for n, photo in enumerate(photos):
        args = ("call", f"haul/{photo}", "--grade", GRADES[n % 4], "--note", f"first {n}")
        assert in_a_process(command, *args) == 0
    assert in_a_process(command, *COMMANDS["retrain"]) == 0
    for number in range(rounds):
        name = ("batch", "call", "retrain")[number % 3]
        photo, grade = rng.choice(photos), rng.choice(GRADES)
        call = ("call", f"haul/{photo}", "--grade", grade, "--note", f"call {number}")
        args = COMMANDS.get(name, call)
        # Three in four while something is written, the rest at any moment.
        writing = rng.random() < 0.75
        most = {"batch": 7, "call": 1, "retrain": 2}[name]
        at = rng.randint(1, most) if writing else 0
        delay_s = rng.uniform(0, 0.02 if writing else 3.0)
        log, before = Path(f"marks-{number}"), kept()
        ended = in_a_process(marked, args, log, at, delay_s)
        wrote, after = marks(log), kept()
        begun, done = wrote["take"]
        new = after["facts"][len(before["facts"]) :]
        new_calls = after["calls"][len(before["calls"]) :]
        results.append(
            {
                "command": name,
                "ended": ended,
                "in a write": any(first > last for first, last in wrote.values()),
                "sound": after["sound"],
                "replays": after["replays"],
                "kept what was there": after["facts"][: len(before["facts"])] == before["facts"],
                "at most one missing": _whole(name, begun, done, before, after, new_calls, number),
                "new facts": len(new),
                "model loads": in_a_process(model_loads) == 0,
                "results whole": results_are_whole(),
                "next works": in_a_process(command, "check", f"haul/{photo}", "--whole", "--json")
                == 0,
            }
        )
    return results


def _whole(name, begun, done, before, after, calls, number) -> bool:
    """Whether all is there of the writes that ended, and nothing but that and the one in hand."""
    if name == "call":
        # A photo that was shown before takes one write, the call's.
        return calls in ([f"call {number}"], []) and len(calls) >= done and len(calls) <= begun
    if name == "retrain":
        uses = len(after["uses"]) - len(before["uses"])
        return done <= uses <= begun
    measured = after["measured"] - before["measured"]
    photos = len(list(Path("haul").glob("*.png")))
    return min(done, photos) <= measured <= begun


def at_each_step(way: str) -> list[dict]:
    """End ``retrain --use`` at each step that it makes on the disk: killed there, or told that the disk is full."""
    photos = sorted(path.name for path in Path("haul").glob("*.png"))
    assert in_a_process(command, *COMMANDS["batch"]) == 0
    for n, photo in enumerate(photos):
        args = ("call", f"haul/{photo}", "--grade", GRADES[n % 4])
        assert in_a_process(command, *args) == 0
    assert in_a_process(command, *COMMANDS["retrain"]) == 0
    args = ("call", f"haul/{photos[0]}", "--grade", "select", "--scene", "90")
    assert in_a_process(command, *args) == 0
    here, saved = Path.cwd(), Path.cwd().with_name("as it was")
    shutil.copytree(here, saved)
    old = kept()
    # What is learned is the same each time, and learned once.
    learned = _learned()
    learning.retrain = lambda *_, **__: learned
    log = here.with_name("steps")
    assert in_a_process(stepped, log, 0, way) == 0
    steps, results = len(log.read_text().splitlines()), []
    new = kept()["uses"][-1]
    for step in range(1, steps + 1):
        for path in here.iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        shutil.copytree(saved, here, dirs_exist_ok=True)
        ended = in_a_process(stepped, log, step, way)
        after = kept()
        results.append(
            {
                "step": f"{log.read_text().splitlines()[-1]}, {step} of {steps}",
                "ended": ended,
                "sound": after["sound"] and after["replays"],
                "kept what was there": after["facts"][: len(old["facts"])] == old["facts"],
                "used": "new" if after["uses"][-1] == new else "old",
                "known": after["uses"][-1] in (new, old["uses"][-1]) and new != old["uses"][-1],
                "model loads": in_a_process(model_loads) == 0,
                "next works": in_a_process(command, "check", f"haul/{photos[0]}", "--whole") == 0,
                "again works": in_a_process(stepped, log, 0, way) == 0,
                "and is used": kept()["uses"][-1] == new and in_a_process(model_loads) == 0,
            }
        )
    return results


def _learned():
    """Return what ``retrain`` learns from the calls in the ledger."""
    session = Session(None, LEDGER)
    called = called_in_ledger(session.ledger, session.profile)
    learned = learning.retrain(called.calls, called.features, session.profile, session.model())
    session.close()
    return learned


def stepped(log: Path, at: int, way: str) -> int:
    """Run ``retrain --use``; end at the step of that number, 0 at none. Steps are noted in the log."""
    log.unlink(missing_ok=True)
    count = itertools.count(1)
    for name in ("replace", "rename", "fsync", "mkdir", "rmdir", "unlink"):
        setattr(os, name, _step(name, getattr(os, name), log, at, way, count))
    return command(*COMMANDS["retrain"])


def _step(name, act, log: Path, at: int, way: str, count):
    @functools.wraps(act)
    def run(*given, **more):
        number = next(count)
        with open(log, "a") as file:
            file.write(f"{name}\n")
        if number == at and way == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        if number == at:
            raise OSError(errno.ENOSPC, "No space left on device")
        return act(*given, **more)

    return run


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    os.chdir(sys.argv[1])
    if sys.argv[2] == "random":
        print(json.dumps(at_random(int(sys.argv[3]), int(sys.argv[4]))))
    else:
        print(json.dumps(at_each_step(sys.argv[3])))
