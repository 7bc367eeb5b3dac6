"""How long the commands of the sale take on a ledger of many pieces: 10,000 of them on 30,000 photos.

    python tests/benchmarks/deals_figures.py [--pieces N] [--folder DIR] [--write]

A few stones are drawn, measured and called. Their facts are put into a new ledger again and again, each under the
content of another photo; pieces get numbers, weights, lots and sales as a seller would give them. Each command is a
process of its own, as the seller starts it: seconds by the clock, with the start of Python, the best of three.
"""

import argparse
import os
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

from grader.demo.season import make_season
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
#: What is measured: name, the most seconds wanted, and the command.
COMMANDS = (
    ("haul list", 1, "haul", "list", HAUL),
    ("haul list --json", 1, "haul", "list", HAUL, "--json"),
    ("sell", 1, "sell", f"{HAUL}-L1", "--for", "38"),
    ("history", 1, "history", f"{HAUL}-9002"),
    ("return", 1, "return", f"{HAUL}-L1"),
    ("weigh", 1, "weigh", f"{HAUL}-9001", "612g"),
    ("undo", 1, "undo"),
)


def main() -> None:
    """Measure and print a line for each command."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--pieces", type=int, default=10_000)
    ask.add_argument(
        "--folder", type=Path, help="keep the ledger there, and take it if it is there"
    )
    ask.add_argument("--write", action="store_true", help="keep the rows in the figures of speed")
    args = ask.parse_args()
    with TemporaryDirectory() as place:
        folder = args.folder or Path(place)
        folder.mkdir(parents=True, exist_ok=True)
        with chdir(folder):
            if not Path("ledger.sqlite").exists():
                make_season(Path("season"), SEED, pieces=DRAWN)
                with open_ledger("season/season.sqlite") as drawn:
                    measured = [e.fact for e in drawn.entries() if isinstance(e.fact, Measured)]
                with open_ledger("ledger.sqlite") as ledger:
                    many_pieces(ledger, measured, args.pieces)
                run("trip", "list")  # The day's copy is made once.
            Path("grader.toml").write_text('currency = "USD"')
            rows = measured_rows(args.pieces)
    if args.write:
        write("speed", rows)


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


def measured_rows(pieces: int) -> list[Row]:
    """Run the commands one after the other, several times, since what is sold comes back in between."""
    best: dict[str, tuple[float, float]] = {}
    for _ in range(ROUNDS):
        for name, _, *command in COMMANDS:
            begun = time.perf_counter()
            busy = run(*command)
            took = time.perf_counter() - begun, busy
            best[name] = min(took, best.get(name, took))
    rows = []
    on = f"{pieces:,} pieces on {pieces * FACES:,} photos, invented"
    for name, wanted_s, *_ in COMMANDS:
        wall, busy = best[name]
        print(f"{name:<24} {wall:6.2f} s, of the processor {busy:6.2f} s; wanted {wanted_s} s")
        ours, beside = f"{wall:.1f}", f"{busy:.1f} of the processor"
        rows.append(Row(f"{name}, s", on, f"best of {ROUNDS}", ours, beside, f"≤ {wanted_s} s"))
    return rows


def run(*command: str) -> float:
    """Run a command, which must end well, and return the seconds of the processor that it took."""
    begun = os.times()
    call = "from grader.cli.main import run; run()"
    ended = subprocess.run(
        [sys.executable, "-c", call, *command, "--ledger", "ledger.sqlite"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if ended.returncode:
        raise SystemExit(f"{command}: {ended.stderr}")
    now = os.times()
    return now.children_user + now.children_system - begun.children_user - begun.children_system


if __name__ == "__main__":
    main()
