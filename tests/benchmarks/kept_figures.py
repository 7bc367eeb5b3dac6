"""What is left of a ``batch`` that was killed, or whose disk was full: figures for ``figures/speed.md``.

    python tests/benchmarks/kept_figures.py [--write]

It kills a hundred runs, ten for each of ten seeds, and runs each again; that takes some minutes of a core.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

import lamp_photos
import tables
from tables import Row, as_table

TESTS = Path(__file__).parents[1]
SEEDS, ROUNDS = 10, 10
SAME = ("again works", "results are the same", "ledger is the same", "nothing half-written")


def killed_runs(seed: int) -> list[dict]:
    """What ``killed_batch.py`` tells of that seed."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "haul").mkdir()
        for number in range(2):
            lamp_photos.whole_face(number, Path(folder) / "haul" / f"{number}.png")
        paths = [str(TESTS.parent), str(TESTS / "benchmarks")]
        run = subprocess.run(
            [sys.executable, TESTS / "killed_batch.py", folder, str(ROUNDS), str(seed)],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(paths), "XDG_DATA_HOME": folder},
            capture_output=True,
            check=True,
        )
    return json.loads(run.stdout)


def rows(runs: list[dict]) -> list[Row]:
    killed = [run for run in runs if run["ended"] == -9]
    inside = [run for run in killed if run["in a write"]]
    names = Counter(name.lstrip("_") for run in inside for name in run["in a write"])
    broken = sum(not all(run[name] for name in SAME) for run in runs)
    on, n = "two photos of one face, at random", f"{len(runs)} runs"
    within = ", ".join(f"{name} {count}" for name, count in sorted(names.items()))
    half = sum(run["left half-written"] for run in runs)
    return [
        Row("batch killed: run again, other than unbroken", on, n, str(broken), floor="0"),
        Row("batch killed: by SIGKILL before it ended", on, n, str(len(killed))),
        Row(
            "batch killed: of these within a write",
            on,
            n,
            f"{len(inside)} ({within})",
            floor="≥ 20",
        ),
        Row("batch killed: results left half-written, gone at the next start", on, n, str(half)),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    runs = []
    for seed in range(SEEDS):
        runs += killed_runs(seed)
        print(f"seed {seed}: {len(runs)} runs", file=sys.stderr, flush=True)
    made = rows(runs)
    print(as_table(made))
    if given.write:
        tables.write("speed", made)
