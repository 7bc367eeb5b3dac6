"""How long a whole check takes, one thread, in units of a plain decoding of the same file; what each further stone, the
start and a second worker add; and how much memory it takes.

    python tests/benchmarks/speed.py [PART ...] [--write]

Parts are one, trays, workers, start and memory, all of them by default, and many, which takes half an hour and
is measured only where it is named. ``--write`` puts the rows into figures/ and a line into the history beside it.
"""

import argparse
import datetime
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from unittest import mock

import cv2
import numpy as np
import yardstick
from numpy.typing import NDArray
from phone_photos import drawn, phone_jpeg
from tables import NO_ANSWER, Row, as_table, machine, write
from threadpoolctl import threadpool_limits

from grader import grade_photo
from grader.grading.models.model import Model
from grader.grading.models.model_files import load_model
from grader.looking import look_at_all
from grader.looks import ask_for
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, load_profile
from grader.workers.pool import Pool

HISTORY = Path(__file__).parent / "SPEED_HISTORY.md"
PHOTO_SIZE, MEGAPIXELS = (4000, 3000), 12
ROUNDS = 5
FLOOR, FURTHER = "≤ 9 R, aim 7", "≤ 2.5 R"
TRAYS = (4, 8, 16, 40)
SIZES = (12, 24, 48, 108)
MANY, MARKS = 1000, (10, 30, 100, 300, 1000)
#: Stages of a check: words, and the functions that are timed, by module.
STAGES = {
    "reading the file": ("grader.grade.read_photo",),
    "card, chart and light": ("grader.grade.find_reference",),
    "finding the stones": ("grader.grade.find_pieces",),
    "cutting faces": ("grader.grade.cut_face",),
    "glare, regions and state": ("grader.grade.see_face",),
    "bands": ("grader.face.measure.measure_bands",),
    "lines": ("grader.face.measure.find_cracks", "grader.face.measure.line_facts"),
    "scene": ("grader.face.measure.measure_scene",),
    "sound stone and room": (
        "grader.face.measure.sound_stone",
        "grader.face.measure.measure_room",
    ),
    "verdict": ("grader.grade.judge_photo",),
    "proposal": ("grader.grade.grade_measured",),
}
#: Within them.
NETWORKS = (
    "grader.photo.pieces.run_net",
    "grader.face.regions.regions.run_net",
    "grader.photo.net.run_net",
)
#: Run in a process of its own, for it tells the most memory that one ever held, MB; stones; and seconds of a check.
PEAK = """
import sys, re, time, cv2
from grader import grade_photo
cv2.setNumThreads(1)
grade_photo(sys.argv[1])
start = time.process_time()
stones = len(grade_photo(sys.argv[1]).pieces)
took = time.process_time() - start
kilobytes = re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]
print(int(kilobytes) * 1024 / 1e6, stones, took)
"""


def twelve_megapixels(rgb: NDArray[np.uint8], rng: np.random.Generator) -> bytes:
    """Return a 12-megapixel JPEG of an enlarged picture; grain makes it pack as photos do."""
    large = cv2.resize(rgb, PHOTO_SIZE, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    grain = rng.normal(0, 2.5, large.shape).astype(np.float32)
    noisy = np.clip(large + grain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def speed_row() -> Row:
    """Return the row of a whole check: see :func:`one_rows`."""
    return one_rows()[0]


def one_rows() -> list[Row]:
    """Return the rows of a whole check of one stone and of its stages: the least of rounds in which unit, check
    and yardstick take turns, of the processor.
    """
    with one_thread(), phone_photo(1) as path:
        data, (profile, model) = np.fromfile(path, np.uint8), (load_profile(), load_model())
        check = lambda: grade_photo(path, profile=profile, model=model)  # noqa: E731
        naive_way = lambda: yardstick.grade(np.ascontiguousarray(_decoded(data)[..., ::-1]))  # noqa: E731
        check()
        seconds = np.array(
            [
                (unit_of(data), cpu_seconds_of(check), cpu_seconds_of(naive_way))
                for _ in range(ROUNDS)
            ]
        )
        stages = staged(check)
    unit, ours, naive = seconds.min(axis=0)
    by_round = seconds[:, 1] / seconds[:, 0]
    on = f"one stone, a drawn photo of {len(data) / 1e6:.1f} MB, one thread"
    rows = [
        Row(
            "whole check of 12 megapixels, R", on, f"{ROUNDS} rounds",
            f"{ours / unit:.1f} ({ours:.2f} s, R = {unit:.2f} s)",
            f"{by_round.min():.1f} to {by_round.max():.1f} (all rounds)", FLOOR, f"{naive / unit:.1f}",
        )
    ]  # fmt: skip
    # Shares of one check, so that they add up to what the rounds say.
    whole = stages.pop("whole")
    for words, took in stages.items():
        rows.append(Row(f"of it {words}, R", on, "1 round", f"{took / whole * ours / unit:.2f}"))
    return rows


def staged(check: Callable[[], object]) -> dict[str, float]:
    """Return seconds of the processor of each stage of a check, of the networks within them, and of the whole."""
    took = {**dict.fromkeys(STAGES, 0.0), "networks (within these)": 0.0}

    def timed(target: str, words: str):
        module, name = target.rsplit(".", 1)
        work = getattr(sys.modules[module], name)

        def run(*args, **given):
            start = time.process_time()
            try:
                return work(*args, **given)
            finally:
                took[words] += time.process_time() - start

        return mock.patch(target, run)

    with ExitStack() as patches:
        for words, targets in [*STAGES.items(), ("networks (within these)", NETWORKS)]:
            for target in targets:
                patches.enter_context(timed(target, words))
        whole = cpu_seconds_of(check)
    return took | {"whole": whole}


def tray_rows(trays: Sequence[int] = TRAYS) -> list[Row]:
    """Return what each further stone of a tray takes, and a whole tray, for each of so many stones."""
    profile, model, rows = load_profile(), load_model(), []
    with one_thread():
        one, unit, _ = _check_of(1, profile, model)
        for stones in trays:
            tray, _, found = _check_of(stones, profile, model)
            further = (tray - one) / max(found - 1, 1) / unit
            on, n = f"{stones} stones in 12 megapixels, one thread", f"{found} found"
            rows.append(
                Row("each further stone of a tray, R", on, n, f"{further:.1f}", "", FURTHER)
            )
            rows.append(Row("whole check of a tray, R", on, n, f"{tray / unit:.1f}"))
    return rows


def _check_of(stones: int, profile: Profile, model: Model) -> tuple[float, float, int]:
    """Seconds of a check of a tray, those of R, and how many stones are found; of the processor."""
    with phone_photo(stones) as path:
        data, graded = np.fromfile(path, np.uint8), []
        check = lambda: graded.append(grade_photo(path, profile=profile, model=model))  # noqa: E731
        if stones == 1:
            check()
        took, unit = cpu_seconds_of(check), unit_of(data)
    return took, unit, len(graded[-1].pieces)


def worker_rows(photos: int = 6, rounds: int = 2) -> list[Row]:
    """Return how many times faster two workers are than one; both take turns, the pool is warm.

    What the machine did beside one worker is told with it: two workers lack it.
    """
    profile, seconds, beside = load_profile(), {1: [], 2: []}, []
    with one_thread(), phone_photo(1) as path:
        asks = [ask_for(path, PhotoTerms(), None)] * photos

        def look(workers: int, asks=asks) -> None:
            list(look_at_all(asks, profile, None, workers=Pool(workers), anew=True))

        look(2, asks[:4])
        for _ in range(rounds):
            for workers, took in seconds.items():
                busy = busy_seconds()
                took.append(seconds_of(lambda workers=workers: look(workers)))
                if workers == 1:
                    beside.append((busy_seconds() - busy) / took[-1] - 1)
    ratios = np.array(seconds[1]) / seconds[2]
    others = f"others took {max(float(np.mean(beside)), 0):.2f} of a core"
    told = f"{ratios.min():.2f} to {ratios.max():.2f} (all rounds; {others})"
    return [
        Row(
            "two workers against one, times as fast", f"{photos} photos of one stone, 12 megapixels",
            f"{rounds} rounds", f"{np.median(ratios):.2f}", told, "≥ 1.85",
        )
    ]  # fmt: skip


def start_rows(rounds: int = 3) -> list[Row]:
    """Return what the command takes beyond the check itself, and ``--help``: of the processor, and on the clock."""
    with phone_photo(1, 1.0) as path:
        profile, model = load_profile(), load_model()
        check = lambda: grade_photo(path, profile=profile, model=model)  # noqa: E731
        ask = ("check", str(path), "--anew")
        # The first makes the ledger.
        for way in (check, lambda: _command(path.parent, *ask)):
            way()
        warm = np.min([_both_seconds_of(check) for _ in range(rounds)], axis=0)
        cold, helped = (
            [_command(path.parent, *words) for _ in range(rounds)] for words in (ask, ("--help",))
        )
    rows = []
    for name, took, less, floor in (
        ("start of check beyond the check, s", cold, warm, "≤ 1.5"), ("--help, s", helped, (0.0, 0.0), ""),
    ):  # fmt: skip
        cpu, clock = np.min(took, axis=0) - np.array(less)
        ours, told = f"{cpu:.2f}", f"{clock:.2f} on the clock, with two cores"
        rows.append(Row(name, "a process of its own", f"{rounds} rounds", ours, told, floor))
    return rows


def _both_seconds_of(way: Callable[[], object]) -> tuple[float, float]:
    """How long one call takes, of the processor and on the clock."""
    cpu, clock = time.process_time(), time.perf_counter()
    way()
    return time.process_time() - cpu, time.perf_counter() - clock


def _command(folder: Path, *words: str) -> tuple[float, float]:
    """Run the tool's command; return what it took, seconds of the processor and on the clock."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    clock = seconds_of(
        lambda: subprocess.run(
            [sys.executable, "-c", "from grader.cli.main import run; run()", *words],
            env=os.environ | {"XDG_DATA_HOME": str(folder)},
            stdout=subprocess.DEVNULL,
            check=True,
        )
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, clock


def memory_rows() -> list[Row]:
    """Return the most memory of a process that checks one photo, and how long a check takes, for each of ``SIZES``."""
    rows = []
    for size in SIZES:
        with phone_photo(1, size) as path:
            told = subprocess.run(
                [sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True
            ).stdout.split()
        megabytes, stones, took = map(float, told)
        on, n, limit = "one stone, one process", f"{stones:.0f} found", f"≤ {500 + 20 * size}"
        rows += [
            Row(f"peak memory, {size} megapixels, MB", on, n, f"{megabytes:.0f}", "", limit),
            Row(f"whole check of {size} megapixels, s", on, n, f"{took:.2f}"),
        ]
    return rows


def many_rows() -> list[Row]:
    """Return what a worker takes for photo after photo of one megapixel: seconds each, and how its memory grows."""
    profile, seconds, memory, work = load_profile(), {}, {}, 0.0
    with one_thread(), ExitStack() as stack:
        paths = [stack.enter_context(phone_photo(1, 1.0, number)) for number in range(10)]
        asks = [ask_for(path, PhotoTerms(), None) for path in paths]
        for n in range(1, MANY + 1):
            ask = [asks[n % len(asks)]]
            work += cpu_seconds_of(
                lambda ask=ask: list(look_at_all(ask, profile, None, workers=Pool(1), anew=True))
            )
            if n in MARKS:
                seconds[n], memory[n] = work / n, held_mb()
    told = "ten photos of one stone, one megapixel, in turn"
    rows = [
        Row(f"seconds a photo, {n} photos", told, str(n), f"{each:.2f}") for n, each in seconds.items()
    ]  # fmt: skip
    first = MARKS[1]
    grown = memory[MANY] - memory[first]
    return [
        *rows,
        Row(f"memory after {MANY} photos less after {first}, MB", told, str(MANY), f"{grown:.0f}",
            NO_ANSWER, "≤ 20"),
    ]  # fmt: skip


def busy_seconds() -> float:
    """Return how long all cores of the machine have worked since its start, whoever they worked for."""
    user, nice, system = map(int, Path("/proc/stat").read_text().split()[1:4])
    return (user + nice + system) / os.sysconf("SC_CLK_TCK")


def held_mb() -> float:
    """Return the memory that this process holds now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@contextmanager
def one_thread() -> Iterator[None]:
    """Within it neither OpenCV nor NumPy takes a second thread."""
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        with threadpool_limits(1):
            yield
    finally:
        cv2.setNumThreads(threads)


@contextmanager
def phone_photo(stones: int, megapixels: float = MEGAPIXELS, number: int = 0) -> Iterator[Path]:
    """Give the file of a drawn photo of so many stones, as a phone writes it, in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        path.write_bytes(phone_jpeg(drawn(stones, number), megapixels))
        yield path


def decoded_to_lab(data: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return a file's picture as Lab: ``cv2.imdecode`` at full size and ``cv2.cvtColor`` of it as float32.

    What this takes for 12 megapixels is R, the unit of times in the table.
    """
    return cv2.cvtColor(_decoded(data).astype(np.float32) / 255, cv2.COLOR_BGR2LAB)


def unit_of(data: NDArray[np.uint8]) -> float:
    """Return R, seconds of the processor: the least of some calls in a row.

    Up to two thirds of a call are the system's time to give it memory, the more the less of it lies free in one piece:
    a mean of such calls would make all else look quick.
    """
    return min(cpu_seconds_of(lambda: decoded_to_lab(data)) for _ in range(2 * ROUNDS))


def _decoded(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def seconds_of(way: Callable[[], object]) -> float:
    """Return how long one call takes, on the clock."""
    start = time.perf_counter()
    way()
    return time.perf_counter() - start


def cpu_seconds_of(way: Callable[[], object]) -> float:
    """Return how long one call takes, of the processor."""
    start = time.process_time()
    way()
    return time.process_time() - start


def keep_in_history(rows: list[Row]) -> None:
    """Write a line into the history: what was measured this time, in the words of the rows."""
    told = "; ".join(
        f"{row.figure} {row.ours}" + (f" ({row.measured_on.split(' in ')[0]})" if "tray" in row.figure else "")
        for row in rows
    )  # fmt: skip
    today = datetime.date.today().isoformat()
    with HISTORY.open("a", encoding="utf-8") as history:
        history.write(f"- {today}, {machine()}: {told}\n")


PARTS = {
    "one": one_rows,
    "trays": tray_rows,
    "workers": worker_rows,
    "start": start_rows,
    "memory": memory_rows,
    "many": many_rows,
}


def main() -> None:
    """Measure the parts that were asked for, print their rows, and keep them where that was asked for."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    ask.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    ask.add_argument("--write", action="store_true", help="keep the rows")
    ask.add_argument("--stones", nargs="*", type=int, default=TRAYS, help="of the trays")
    args = ask.parse_args()
    if unknown := set(args.parts) - set(PARTS):
        ask.error(f"no part {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    for part in args.parts or [part for part in PARTS if part != "many"]:
        rows = tray_rows(args.stones) if part == "trays" else PARTS[part]()
        print(as_table(rows), flush=True)
        if args.write:
            write("speed", rows)
            keep_in_history(rows)


if __name__ == "__main__":
    main()
