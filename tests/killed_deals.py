"""A program that kills ``weigh``, ``lots``, ``sell``, ``return``, ``reserve`` and ``undo`` at random moments.

    python tests/killed_deals.py FOLDER ROUNDS SEED

It prints a JSON object: a list with an object for each process that was killed, and whether all came to the same as in
a ledger where nothing was. What was not kept is done again, as a person would.
"""

import io
import json
import os
import random
import sys
import warnings
from contextlib import redirect_stdout
from pathlib import Path

import killed

import grader.deals.grades
import grader.deals.lots
import grader.deals.orders
import grader.deals.sales
import grader.deals.weighing  # noqa: F401 - so that no process has to load it
from grader.cli.main import app
from grader.ledger import deeds, facts, stock, store

PIECES, BOX = 24, (0, 0, 100, 80)
LEDGERS = Path("killed.sqlite"), Path("whole.sqlite")


def begin(path: Path) -> None:
    """A haul of numbered pieces that people called cabbing, each on a photo of its own; weighed 100 to 330 g."""
    with store.open_ledger(path) as ledger:
        haul = deeds.HaulBrought("07", deeds.TypedWeight("20kg", "20000"))
        bin_ = deeds.RestNoted(
            haul.uid, "sorted", deeds.TypedWeight("9kg", "9000"), "cabbing", number=1
        )
        ledger.add(haul, bin_)
        for number in range(1, PIECES + 1):
            piece, sha256 = facts.NamedPiece(), f"{number:064x}"
            grams = str(90 + 10 * number)
            ledger.add(
                piece,
                deeds.Numbered(piece.uid, haul.uid, number),
                deeds.Weighed(piece.uid, deeds.TypedWeight(grams, grams)),
                facts.FaceOfPiece(piece.uid, sha256, BOX),
                facts.SavedCall(sha256, f"{number}.jpg", 1, BOX, grade="cabbing"),
            )


def told(path: Path, *args: str) -> str:
    out = io.StringIO()
    with redirect_stdout(out):
        app([*args, "--ledger", str(path), "--json"], standalone_mode=False)
    return out.getvalue()


def next_command(rng: random.Random, number: int) -> tuple[str, ...]:
    """What is done next, of what can be done as things stand."""
    with store.open_ledger(LEDGERS[1]) as ledger:
        there = [p for p in stock.pieces(ledger).values() if not p.fate and not p.lot]
        lots = [lot.code for lot in stock.lots(ledger).values() if not lot.sold]
        sold = [p.code for p in stock.pieces(ledger).values() if p.fate == "sold" and not p.lot]
    loose = [piece.code for piece in there]
    what = ("weigh", "table", "lots", "sell", "undo", "bin", "reserve", "return")[number % 8]
    if what == "undo" or not loose:
        return ("undo",)
    if what == "weigh":
        return ("weigh", rng.choice(loose), f"{rng.randint(50, 900)}g")
    if what == "table":
        rows = [f"{code},{rng.randint(50, 900)}" for code in loose]
        Path("w.csv").write_text("\n".join(["piece,weight", *rows]))
        return ("weigh", "--from", "w.csv")
    if what == "bin":
        return ("sell", f"07-B1={rng.randint(1, 9)}g", "--for", "2")
    if what == "reserve":
        return ("reserve", rng.choice(loose), "--until", "2025-01-01")
    if what == "return" and sold:
        return ("return", rng.choice(sold), "--only")
    if what == "lots" and len(loose) > 12:
        return ("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "1500g")
    return ("sell", rng.choice([*loose[:3], *lots]), "--for", str(rng.randint(1, 99)))


def on(path: Path, work, *args) -> int:
    killed.LEDGER = path
    return killed.in_a_process(work, *args)


def at_random(rounds: int, seed: int) -> dict:
    rng, results = random.Random(seed), []
    killed.WRITES = ((store.Ledger, "act"),)
    Path("grader.toml").write_text('currency = "USD"\n')
    for path in LEDGERS:
        begin(path)
    for number in range(rounds):
        args = next_command(rng, number)
        killed.LEDGER = LEDGERS[0]
        log, before = Path(f"marks-{number}"), killed.kept()
        writing = rng.random() < 0.75
        delay_s = rng.uniform(0, 0.03 if writing else 0.5)
        ended = on(LEDGERS[0], killed.marked, args, log, int(writing), delay_s)
        (begun, done), after = killed.marks(log)["act"], killed.kept()
        new = len(after["facts"]) - len(before["facts"])
        whole = on(LEDGERS[1], killed.command, *args)
        again = 0 if new else on(LEDGERS[0], killed.command, *args)
        killed.LEDGER = LEDGERS[1]
        results.append(
            {
                "command": args[0],
                "ended": ended,
                "in a write": begun > done,
                "sound": after["sound"],
                "replays": after["replays"],
                "kept what was there": after["facts"][: len(before["facts"])] == before["facts"],
                "all or nothing": new in (0, expected(args)) and (new > 0 or not done),
                "works again": (whole, again) == (0, 0),
            }
        )
    asked = (("haul", "list", "07"), ("haul", "report", "07"))
    same = all(told(LEDGERS[0], *args) == told(LEDGERS[1], *args) for args in asked)
    return {"killed": results, "same as unbroken": same}


def expected(args: tuple[str, ...]) -> int:
    """How many facts that command adds: as many as it added where it was not killed."""
    with store.open_ledger(LEDGERS[1]) as ledger:
        last = list(ledger.entries())[-1].fact
        acts = [e.fact for e in ledger.entries() if getattr(e.fact, "act", None) is not None]
    if args[0] == "undo":
        return 1
    return sum(one.act == last.act for one in acts)


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    os.chdir(sys.argv[1])
    print(json.dumps(at_random(int(sys.argv[2]), int(sys.argv[3]))))
