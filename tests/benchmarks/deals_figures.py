"""How long the commands of the sale take: the everyday ones on 10,000 pieces with 30,000 photos, those that write
paper on 500 pieces.

    python tests/benchmarks/deals_figures.py [--make] [--folder DIR] [--write]

A few stones are drawn, measured and called. Their facts are put into a new ledger again and again, each under the
content of another photo; pieces get numbers, weights, lots and sales as a seller would give them. Each command is a
process of its own, as the seller starts it: seconds by the clock, with the start of Python, the best of three (of
those that write paper: of one). ``--make`` makes the ledgers in the folder and measures nothing.
"""

import argparse
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import chdir
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from tables import Row, write

from grader.demo.season import PIECES, make_season
from grader.ledger.deeds import HaulBrought, LotMade, Numbered, Sold, TypedWeight, Weighed
from grader.ledger.facts import (
    Entry,
    FaceOfPiece,
    Fact,
    Look,
    Measured,
    NamedPiece,
    PhotoFile,
    SavedCall,
    new_uid,
)
from grader.ledger.store import Ledger, open_ledger

SEED, ROUNDS, DRAWN, FACES, IN_A_LOT = 31, 3, (6, 2, 0), 3, 10
HAUL, TIME = "07", "2026-03-02T10:11:12+01:00"
GRADES, WHO = ("waste", "tumbling", "cabbing", "select"), ("Ada (invented)", "Bram (invented)")
#: How many pieces the ledgers have: that of the everyday commands, and that of those that write paper.
MANY, SOME = 10_000, 500
#: What is measured: name, the most seconds wanted, and the command.
COMMANDS = (
    ("--help", 1, "--help"),
    ("haul list", 1, "haul", "list", HAUL),
    ("haul list --json", 1, "haul", "list", HAUL, "--json"),
    ("sell", 1, "sell", f"{HAUL}-L1", "--for", "38"),
    ("history", 1, "history", f"{HAUL}-9002"),
    ("return", 1, "return", f"{HAUL}-L1"),
    ("weigh", 1, "weigh", f"{HAUL}-9001", "612g"),
    ("undo", 1, "undo"),
)
PAPERS = (
    ("labels", 10, "labels", "--haul", HAUL, "--out", "labels.pdf"),
    ("haul report", 10, "haul", "report", HAUL, "--out", "report"),
    ("export", 10, "export", "--out", "all.zip"),
    ("listing --haul", 10, "listing", "--haul", HAUL, "--out", "listings"),
)


def main() -> None:
    """Measure and print a line for each command."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument(
        "--folder", type=Path, help="keep the ledgers there, and take them if they are there"
    )
    ask.add_argument("--make", action="store_true", help="make the ledgers and measure nothing")
    ask.add_argument("--demo", action="store_true", help="measure grader demo alone")
    ask.add_argument(
        "--write", action="store_true", help="keep the rows in the figures of the sale"
    )
    args = ask.parse_args()
    with TemporaryDirectory() as place:
        folder = (args.folder or Path(place)).resolve()
        folder.mkdir(parents=True, exist_ok=True)
        # As an installed tool has it: what was read once lies there ready.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "ready")
        with chdir(folder):
            if args.demo:
                rows = [demo_row()]
            else:
                make_ledgers()
                rows = [] if args.make else [*measured_rows(), *paper_rows()]
    if args.write:
        write("deals", rows)


def make_ledgers() -> None:
    """Make the two ledgers in the working folder, where they are not."""
    names = {"ledger.sqlite": MANY, "papers.sqlite": SOME}
    if all(Path(name).exists() for name in names):
        return
    make_season(Path("season"), SEED, pieces=DRAWN)
    with open_ledger("season/season.sqlite") as drawn:
        measured = [e.fact for e in drawn.entries() if isinstance(e.fact, Measured)]
    for name, pieces in names.items():
        shutil.copytree("season/season.pictures", Path(name).with_suffix(".pictures"))
        with open_ledger(name) as ledger:
            many_pieces(ledger, measured, pieces)
        shutil.copy("season/prices.toml", "prices.toml")
        Path("grader.toml").write_text('currency = "USD"')
        run("prices", "set", "prices.toml", ledger=name)  # The day's copy is made once, too.


def many_pieces(ledger: Ledger, measured: Sequence[Measured], pieces: int) -> None:
    """Fill a new ledger with so many numbered pieces of one haul, each on three photos."""
    whole = [one for one in measured if len(one.stones) == 1]
    entries = (Entry(0, who, TIME, fact) for who, fact in _facts(whole, pieces))
    ledger.take(entries)


def _facts(measured: Sequence[Measured], pieces: int) -> Iterator[tuple[str, Fact]]:
    rng = np.random.default_rng(SEED)
    haul = HaulBrought(HAUL, TypedWeight("9000 kg", "9000000"))
    yield WHO[0], haul
    named, loose, lots = "select", [], 0
    for number in range(1, pieces + 1):
        piece = NamedPiece()
        yield WHO[0], piece
        for nth in range(FACES):
            look = measured[rng.integers(len(measured))]
            yield from ((WHO[0], fact) for fact in _photo(rng, look, piece, f"{number}_{nth}"))
        yield WHO[0], Numbered(piece.uid, haul.uid, number)
        if rng.random() < 0.75:
            grams = str(rng.integers(40, 900))
            yield WHO[0], Weighed(piece.uid, TypedWeight(f"{grams} g", grams))
            loose.append(piece.uid)
        # Every other bunch of ten is a lot, and of these every third is sold.
        if len(loose) == IN_A_LOT:
            lots += 1
            if lots % 2:
                lot = LotMade(haul.uid, lots, "3000", tuple(loose), named)
                yield WHO[0], lot
                yield WHO[0], Weighed(lot.uid, TypedWeight("3.1 kg", "3100"))
                if lots % 3 == 0:
                    told = {"things": [{"code": f"{HAUL}-L{lots}", "share": "40"}]}
                    yield WHO[0], Sold((lot.uid,), "40", "USD", told)
            loose.clear()


def _photo(
    rng: np.random.Generator, like: Measured, piece: NamedPiece, name: str
) -> Iterator[Fact]:
    """The facts of a photo that shows a piece, and of the call on it that two of three have."""
    sha256, file = rng.bytes(32).hex(), f"{name}.jpg"
    photo = like.record["photo"] | {"sha256": sha256, "file": file}
    stone = like.record["pieces"][0]
    box, outline = tuple(stone["box"]), tuple(map(tuple, stone["outline"]))
    look = replace(like, sha256=sha256, record=like.record | {"photo": photo}, uid=new_uid())
    yield PhotoFile(sha256, file, f"/photos/{file}", photo["width"], photo["height"])
    yield look
    yield FaceOfPiece(piece.uid, sha256, box, outline)
    yield Look(sha256, look.uid)
    if rng.random() < 2 / 3:
        grade = GRADES[rng.integers(len(GRADES))]
        yield SavedCall(
            sha256,
            file,
            stone["id"],
            box,
            outline=outline,
            measured=look.uid,
            grade=grade,
            scene=50,
        )


def measured_rows() -> list[Row]:
    """Run the everyday commands one after the other, several times, since what is sold comes back in between."""
    best: dict[str, tuple[float, float]] = {}
    for _ in range(ROUNDS):
        for name, _, *command in COMMANDS:
            best[name] = min(run(*command), best.get(name, (float("inf"), 0.0)))
    on = f"{MANY:,} pieces on {MANY * FACES:,} photos, invented"
    rows = [row(name, wanted_s, on, ROUNDS, best[name]) for name, wanted_s, *_ in COMMANDS]
    name = "haul list: its queries as text, by sqlite3 alone"
    return [*rows, row(name, None, on, ROUNDS, min(bare_queries() for _ in range(ROUNDS)))]


#: Runs a command and keeps the text of all that it asks the ledger; then asks the same of it without all else.
LISTEN = """
import json, sqlite3.dbapi2, sys
asked, connect = [], sqlite3.dbapi2.connect
def heard(*args, **named):
    made = connect(*args, **named)
    made.set_trace_callback(asked.append)
    return made
sqlite3.dbapi2.connect = heard
from grader.cli.main import app
app(sys.argv[1:], standalone_mode=False)
json.dump([one for one in asked if one.startswith("SELECT")], open("asked.json", "w"))
"""
ASK = """
import json, sqlite3
ledger = sqlite3.connect("ledger.sqlite")
for one in json.load(open("asked.json")):
    ledger.execute(one).fetchall()
"""


def bare_queries() -> tuple[float, float]:
    """Return what the queries of ``haul list`` take in a Python that does nothing else: the other way to read, without
    SQLAlchemy, at its best."""
    if not Path("asked.json").exists():
        child(LISTEN, "haul", "list", HAUL, "--ledger", "ledger.sqlite")
    return child(ASK)


def paper_rows() -> list[Row]:
    """Run what writes paper once, into a new place."""
    for name in ("labels.pdf", "all.zip", "report", "listings"):
        shutil.rmtree(name, ignore_errors=True)
        Path(name).unlink(missing_ok=True)
    return [
        row(name, wanted_s, f"{SOME} pieces, invented", 1, run(*command, ledger="papers.sqlite"))
        for name, wanted_s, *command in PAPERS
    ]


def demo_row() -> Row:
    """Make the invented season, as the command does."""
    shutil.rmtree("demo", ignore_errors=True)
    took = child("from grader.cli.main import run; run()", "demo", "demo")
    return row("demo", 60, f"{sum(PIECES)} drawn pieces, {sum(PIECES[:2])} looked at", 1, took)


def row(name: str, wanted_s: int | None, on: str, rounds: int, took: tuple[float, float]) -> Row:
    wall, busy = took
    floor = f"≤ {wanted_s} s" if wanted_s else ""
    print(f"{name:<48} {wall:6.2f} s, of the processor {busy:6.2f} s  {floor}", flush=True)
    n, beside = f"best of {rounds}", f"{busy:.2f} of the processor"
    return Row(f"{name}, s", on, n, f"{wall:.2f}", beside, floor)


def run(*command: str, ledger: str = "ledger.sqlite") -> tuple[float, float]:
    """Run a command, which must end well, and return the seconds that it took, by the clock and of the processor."""
    of = () if command == ("--help",) else ("--ledger", ledger)
    return child("from grader.cli.main import run; run()", *command, *of)


def child(code: str, *args: str) -> tuple[float, float]:
    begun, at = os.times(), time.perf_counter()
    ended = subprocess.run(
        [sys.executable, "-c", code, *args], capture_output=True, text=True, check=False
    )
    wall = time.perf_counter() - at
    if ended.returncode:
        raise SystemExit(f"{args}: {ended.stderr}")
    now = os.times()
    busy = now.children_user + now.children_system - begun.children_user - begun.children_system
    return wall, busy


if __name__ == "__main__":
    main()
