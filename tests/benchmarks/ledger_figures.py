"""How long the everyday commands take on a ledger that knows the photos: nothing is measured, all is graded anew.

    python tests/benchmarks/ledger_figures.py [--stones N] [--calls N] [--many N] [--write]

A few faces are measured. Their facts are put into a new ledger again and again, each time under the content of another
small file, by the store's own way; so the ledger is as large as one of a season's photos. Each figure is told in
seconds by the clock and of the processor, without the start of Python.
"""

import argparse
import json
import os
import time
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import replace
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

import lamp_photos
import numpy as np
from tables import Row, write

from grader.calling import place_on, save_calls
from grader.cli.main import app
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.store import Ledger, open_ledger
from grader.looking import look_at
from grader.looks import Look, ask_for, keep, shown
from grader.photo.file import content_hash
from grader.photo.net import starter_folder
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, load_profile

MEASURED = 4
WHOLE = PhotoTerms(whole=True)
NOW = "2026-03-02T10:11:12+01:00"


def main() -> None:
    """Measure what was asked for and print a line for each figure."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--stones", type=int, default=300)
    ask.add_argument("--calls", type=int, default=200)
    ask.add_argument("--many", type=int, default=10_000)
    ask.add_argument("--write", action="store_true", help="keep the rows in the figures of speed")
    args = ask.parse_args()
    rows = []
    with TemporaryDirectory() as place, chdir(place):
        profile, work = load_profile(), Path("haul")
        looks = measured_looks(Path("few"), profile)
        with open_ledger("ledger.sqlite") as ledger:
            known = known_again(looks, work, args.stones, profile, ledger)
            call_stones(known[: args.calls], profile, ledger)
        run("models", "--use", str(starter_folder()))
        rows.append(figure(f"batch of {args.stones} known stones", 3, "batch", "haul", "--whole"))
        rows.append(figure("check of a known photo", 1, "check", "haul/00000.png", "--whole"))
        os.environ["OMP_NUM_THREADS"] = "1"
        name = f"retrain on {args.calls} known calls"
        rows.append(figure(name, 10, "retrain", "--out", "mine", "--use"))
        name = f"batch of {args.stones} known stones, new model"
        rows.append(figure(name, 3, "batch", "haul", "--whole"))
        with open_ledger("many.sqlite") as ledger:
            known = known_again(looks, Path("many"), args.many, profile, ledger)
            call_stones(known, profile, ledger)
            name = f"listing calls with {args.many} stones"
            rows.append(timed(name, 1, lambda: views.calls(ledger)))
    if args.write:
        write("speed", rows)


def measured_looks(folder: Path, profile: Profile) -> list[Look]:
    """Return looks at a few faces, measured now."""
    with open_ledger("few.sqlite") as ledger:
        paths = [lamp_photos.whole_face(n, folder / f"{n}.png") for n in range(MEASURED)]
        return [look_at(ask_for(path, WHOLE, ledger), profile, ledger) for path in paths]


def known_again(
    looks: list[Look], folder: Path, count: int, profile: Profile, ledger: Ledger
) -> list[Look]:
    """Return so many looks, kept and shown, whose photos are files of other content."""
    folder.mkdir()
    known = []
    for number in range(count):
        look = looks[number % len(looks)]
        path = folder / f"{number:05}.png"
        path.write_bytes(f"no picture, number {number}".encode())
        sha256 = content_hash(path)
        ask = replace(look.ask, path=path, file=path.name, sha256=sha256)
        photo = look.record["photo"] | {"sha256": sha256, "file": path.name}
        pictures = {
            piece: {
                what: at if isinstance(at, bytes) else at.read_bytes()
                for what, at in of_piece.items()
            }
            for piece, of_piece in look.pictures.items()
        }
        record = look.record | {"photo": photo}
        known.append(
            keep(replace(look, ask=ask, record=record, pictures=pictures), profile, ledger)
        )
    shown(known, ledger)
    return known


def call_stones(looks: list[Look], profile: Profile, ledger: Ledger) -> None:
    """Call the stone of each look, by two people in turn; grades at random."""
    rng = np.random.default_rng(5)
    calls = []
    for number, look in enumerate(looks):
        grade = profile.grades[rng.integers(len(profile.grades))]
        call = Call(look.ask.file, look.ask.sha256, 1, None, grade, 50, "AB"[number % 2], NOW, None)
        calls.append(place_on(look, call))
    save_calls(calls, ledger)


def figure(name: str, floor_s: float, *args: str) -> Row:
    return timed(name, floor_s, lambda: run(*args))


def timed(name: str, floor_s: float, work) -> Row:
    wall, busy = time.perf_counter(), time.process_time()
    work()
    wall, busy = time.perf_counter() - wall, time.process_time() - busy
    print(
        f"{name:<48} {wall:6.2f} s, of the processor {busy:6.2f} s; wanted {floor_s} s", flush=True
    )
    ours, beside = f"{wall:.1f}", f"{busy:.1f} of the processor"
    return Row(
        f"{name}, s",
        "measured faces under made-up names",
        "1 round",
        ours,
        beside,
        f"≤ {floor_s} s",
    )


def run(*args: str) -> str:
    """Run a command, which must end well."""
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = app([*args, "--ledger", "ledger.sqlite"], standalone_mode=False)
        except SystemExit as end:
            code = end.code
    if code:
        raise SystemExit(json.dumps([args, code, err.getvalue()]))
    return out.getvalue()


if __name__ == "__main__":
    main()
