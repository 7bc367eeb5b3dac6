"""A program that kills ``batch`` at random moments, runs it again, and tells whether all came to the same as unbroken.

    python tests/killed_batch.py FOLDER ROUNDS SEED

FOLDER holds ``haul`` with photos that one face fills each. It prints a JSON list, one object for each run that was
killed. A log tells which writes had begun and not ended when the kill fell.

What is slow in measuring is done once and remembered, so that kills fall on all the rest; every tenth run has two
workers and measures in earnest.
"""

import contextlib
import functools
import hashlib
import importlib
import json
import os
import pickle
import random
import re
import shutil
import sys
import time
import warnings
from pathlib import Path

import killed

from grader import files, grade, outfolder
from grader.ledger import store
from grader.ledger.pictures import Pictures
from grader.outfolder import OutFolder

killed.WRITES = (
    (store.Ledger, "take"),
    (Pictures, "put"),
    (OutFolder, "write"),
    (OutFolder, "keep_only"),
    (files, "_written"),
)
WORK, WHOLE = Path("work"), Path("whole")
#: The one time in the results: the day on which the sheet was written.
DAY = re.compile(rb"\d{4}-\d\d-\d\d")

#: What is slow in measuring hangs on nothing but its arguments.
SLOW = ("find_reference", "measure_piece")
answers: dict[bytes, bytes] = {}


def remember(work):
    @functools.wraps(work)
    def ask(*given, **more):
        asked = hashlib.sha256(pickle.dumps((given, more))).digest()
        if asked not in answers:
            answers[asked] = pickle.dumps(work(*given, **more))
        return pickle.loads(answers[asked])

    return ask


def learn_answers() -> None:
    """Measure once, in a process of its own, what is here in ``haul``: this one only forks."""

    def measured_once() -> int:
        code = batch()
        Path("answers").write_bytes(pickle.dumps((answers, sorted(sys.modules))))
        return code

    for name in SLOW:
        setattr(grade, name, remember(getattr(grade, name)))
    assert killed.in_a_process(measured_once) == 0
    learned, modules = pickle.loads(Path("answers").read_bytes())
    answers.update(learned)
    for name in modules:
        # So that no run has to load them.
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    Path("answers").unlink()
    shutil.rmtree("haul/graded")
    killed.LEDGER.unlink()


def batch(*more: str) -> int:
    return killed.command("batch", "haul", "--whole", "--workers", "1", *more)


def results() -> dict[str, bytes]:
    """All files among the results, hidden ones too, by name; of the sheet without its day."""
    folder = Path("haul/graded")
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    read = {name: path.read_bytes() for name, path in found.items()}
    return {
        # The list of what was written holds the hash of the sheet, with its day.
        name: DAY.sub(b"DAY", text) if name == "sheet.html" else text
        for name, text in read.items()
        if name != outfolder.LIST
    }


def listed() -> list[str]:
    rows = map(json.loads, Path("haul/graded", outfolder.LIST).read_text("utf-8").splitlines())
    return [row.get("name", "of") for row in rows]


def measured() -> list[str]:
    """What the ledger holds of the photos, each once, and the pictures beside it."""
    with store.open_ledger(killed.LEDGER) as ledger:
        facts = {e.fact.sha256: e.fact for e in ledger.entries() if e.fact.kind == "measured"}
        names = ledger.pictures.names()
        whole = all(ledger.pictures.get(name) for name in names)
    kept = [
        json.dumps([f.record, f.stones, f.pictures], sort_keys=True, default=str)
        for f in facts.values()
    ]
    return [*sorted(kept), *names, str(whole)]


def parts() -> list[str]:
    """Half-written files among the results; those beside the ledger go with the next day's copy."""
    return [str(path) for path in Path("haul/graded").rglob(".*.part")]


def seconds_unbroken() -> float:
    begun = time.monotonic()
    assert killed.in_a_process(batch) == 0
    return time.monotonic() - begun


def at_random(rounds: int, seed: int) -> list[dict]:
    rng, told = random.Random(seed), []
    here = Path.cwd()
    shutil.copytree("haul", WHOLE / "haul")
    os.chdir(WHOLE)
    learn_answers()
    lasts_s = seconds_unbroken()
    whole = results(), listed(), measured()
    writes = begun_unbroken()
    os.chdir(here)
    for number in range(rounds):
        shutil.rmtree(WORK, ignore_errors=True)
        shutil.copytree("haul", WORK / "haul")
        os.chdir(WORK)
        two = number % 10 == 9
        # Six in ten while something is written, early or late in it, the rest at any moment.
        if rng.random() < 0.6:
            name = rng.choice(sorted(set(writes)))
            at = rng.choice([n for n, begun in enumerate(writes, start=1) if begun == name])
            delay_s = rng.choice((0, rng.uniform(0, 0.004)))
        else:
            at, delay_s = 0, rng.uniform(0, 1.1 * lasts_s)
        args = ("batch", "haul", "--whole", "--workers", "2" if two else "1")
        log = here / f"marks-{number}"
        ended = killed.in_a_process(killed.marked, args, log, at, delay_s)
        wrote = killed.marks(log)
        left = parts()
        again = killed.in_a_process(batch)
        told.append(
            {
                "workers": 1 + two,
                "ended": ended,
                "in a write": [name for name, (begun, done) in wrote.items() if begun > done],
                "unbroken s": round(lasts_s, 2),
                "left half-written": len(left),
                "again works": again == 0,
                "results are the same": results() == whole[0] and listed() == whole[1],
                "ledger is the same": measured() == whole[2],
                "nothing half-written": parts() == [],
            }
        )
        os.chdir(here)
    return told


def begun_unbroken() -> list[str]:
    """What an unbroken run writes, in order, by the name of what writes it."""
    shutil.rmtree("haul/graded")
    killed.LEDGER.unlink()
    log = Path("writes")
    args = ("batch", "haul", "--whole", "--workers", "1")
    assert killed.in_a_process(killed.marked, args, log, -1, 0) == 0
    return [line.split()[1] for line in log.read_text().splitlines() if line.startswith("begin")]


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    os.chdir(sys.argv[1])
    print(json.dumps(at_random(int(sys.argv[2]), int(sys.argv[3]))))
