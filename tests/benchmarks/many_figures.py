"""How many photos a core measures in an hour, by ``batch`` here and on a cluster: figures for ``figures/speed.md``.

    python tests/benchmarks/many_figures.py [--write]

Photos are samples enlarged to 12 megapixels, with a little grain. Seconds are those of the processor, so that other
work beside counts little. The scheduler and its two workers are processes of this computer; photos are sent to them as
to a computer that does not see them.
"""

import argparse
import os
import resource
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
import tables
from numpy.typing import NDArray
from speed import PHOTO_SIZE
from tables import Row, as_table

HOUSE = Path(__file__).parents[2]
#: One lone stone, one with a crack, two pieces: no tray, or at the end one worker would wait for the other's.
SAMPLES = ("01_lake_over_shore", "11_cracked", "02_two_pieces")
GRADER = "from grader.cli.main import run; run()"
#: A worker that does not see the photos.
BLIND = "from grader.workers import cluster; cluster._is_seen = lambda ask: False\n"
PHOTOS = 100_000


def photos(folder: Path, rounds: int) -> int:
    """Write the samples so many times, each with other grain, and return how many photos that are."""
    folder.mkdir()
    for number in range(rounds):
        for name in SAMPLES:
            rgb = cv2.imread(str(HOUSE / "sample_images" / f"{name}.jpg"))[..., ::-1]
            (folder / f"{name} {number}.jpg").write_bytes(enlarged(rgb, number))
    return rounds * len(SAMPLES)


def enlarged(rgb: NDArray[np.uint8], seed: int) -> bytes:
    """A JPEG of 12 megapixels with a little grain, as a photo has; it packs to some 1.4 MB."""
    large = cv2.resize(rgb, PHOTO_SIZE, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    grain = np.random.default_rng(seed).normal(0, 1.7, large.shape).astype(np.float32)
    noisy = np.clip(large + grain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def seconds(folder: Path, *args: str) -> float:
    """What ``batch`` takes of a core over a folder, its start and its results with it."""
    before = sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
    subprocess.run(
        [sys.executable, "-c", GRADER, "batch", folder, "--out", f"{folder}-out", "--ledger",
         f"{folder}.sqlite", *args],
        env=environment(), check=True, capture_output=True,
    )  # fmt: skip
    return sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2]) - before


def taken(process: subprocess.Popen) -> float:
    """Seconds of a core that a running process has taken (proc(5): fields 14 and 15)."""
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(HOUSE), "OMP_NUM_THREADS": "1"}


def dask(folder: Path, *args: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *args, "--no-dashboard"], env=environment(), cwd=folder,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def measured(folder: Path) -> tuple[float, float]:
    """Seconds of a core a photo takes here, and on a cluster of two workers, all that is done for it together."""
    one = photos(folder / "one", 1)
    sizes = [path.stat().st_size / 1e6 for path in (folder / "one").iterdir()]
    print(f"{min(sizes):.1f} to {max(sizes):.1f} MB a photo", file=sys.stderr)
    two = photos(folder / "two", 2)
    here = seconds(folder / "one", "--workers", "1") / one
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    (folder / "blind.py").write_text(BLIND)
    running = [dask(folder, "scheduler", "--host", "127.0.0.1", "--port", port)]
    more = ("--nthreads", "1", "--no-nanny", "--preload", str(folder / "blind.py"))
    running += [dask(folder, "worker", f"127.0.0.1:{port}", *more) for _ in range(2)]
    try:
        time.sleep(15)
        # What a worker loads with its first photo it loads once; here it counts.
        before = sum(map(taken, running))
        client = seconds(folder / "two", "--cluster", f"127.0.0.1:{port}")
        return here, (client + sum(map(taken, running)) - before) / two
    finally:
        for process in running:
            process.kill()
            process.wait()


def rows(here: float, there: float) -> list[Row]:
    two = f"{2 * len(SAMPLES)} photos, sent to two workers"
    on = "samples enlarged to 12 megapixels, 1 or 2 stones"
    of = f"{len(SAMPLES)} photos"
    hours = PHOTOS * here / 3600
    return [
        Row("batch: seconds of a core a photo", on, of, f"{here:.1f}"),
        Row("batch: photos a core and hour", on, of, f"{3600 / here:.0f}"),
        Row("batch --cluster: seconds of a core a photo", on, two, f"{there:.1f}"),
        Row("100,000 photos: hours on 1 / 8 / 64 cores", on, "worked out",
            f"{hours:.0f} / {hours / 8:.0f} / {hours / 64:.1f}"),
    ]  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        made = rows(*measured(Path(folder)))
    print(as_table(made))
    if given.write:
        tables.write("speed", made)
