"""How many photos a core measures in an hour, by ``batch`` here and on a cluster: figures for ``figures/kept.md``.

    python tests/benchmarks/many_figures.py [--write]

Photos are samples enlarged to 12 megapixels, with a little grain. The scheduler and its two workers are processes
of this computer, so two cores must be idle; photos are sent to them as to a computer that does not see them.
"""

import argparse
import os
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
#: One lone stone, one with a crack, two pieces and a tray of five.
SAMPLES = ("01_lake_over_shore", "11_cracked", "02_two_pieces", "03_evening_tray")
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
    """A JPEG of 12 megapixels with a little grain, so that it packs to some 3 MB as those of phones do."""
    large = cv2.resize(rgb, PHOTO_SIZE, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    grain = np.random.default_rng(seed).normal(0, 1.7, large.shape).astype(np.float32)
    noisy = np.clip(large + grain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def seconds(folder: Path, *args: str) -> float:
    """How long ``batch`` takes over a folder, its start and its results with it."""
    begun = time.monotonic()
    subprocess.run(
        [sys.executable, "-c", GRADER, "batch", folder, "--out", f"{folder}-out", "--ledger",
         f"{folder}.sqlite", *args],
        env=environment(), check=True, capture_output=True,
    )  # fmt: skip
    return time.monotonic() - begun


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(HOUSE), "OMP_NUM_THREADS": "1"}


def dask(folder: Path, *args: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *args, "--no-dashboard"], env=environment(), cwd=folder,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def measured(folder: Path) -> tuple[float, float]:
    """Seconds a photo on one core here, and seconds a photo on a cluster of two workers."""
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
        time.sleep(8)
        return here, seconds(folder / "two", "--cluster", f"127.0.0.1:{port}") / two
    finally:
        for process in running:
            process.kill()
            process.wait()


def rows(here: float, there: float) -> list[Row]:
    on = "samples enlarged to 12 megapixels, 1 to 5 stones"
    of = f"{len(SAMPLES)} photos"
    hours = PHOTOS * here / 3600
    return [
        Row("batch: seconds a photo on one core", on, of, f"{here:.1f}"),
        Row("batch: photos a core and hour", on, of, f"{3600 / here:.0f}"),
        Row("batch --cluster: seconds a photo, two workers", on, f"{2 * len(SAMPLES)} photos", f"{there:.1f}"),
        Row("batch --cluster: two workers, times one core", on, f"{2 * len(SAMPLES)} photos", f"{here / there:.2f}"),
        Row("100,000 photos: hours on 1 / 8 / 64 cores", "worked out from one core", of,
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
        tables.write("kept", made)
