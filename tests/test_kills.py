"""Programs that are killed, and programs that write at once: nothing that was said or measured is lost."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import chdir
from pathlib import Path

import lamp_photos
import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.ledger import views
from grader.ledger.store import open_ledger

ROOT = Path(__file__).parents[1]
needs_fork = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="this system starts programs another way"
)


def environment() -> dict[str, str]:
    """That of a program that takes the tool from here."""
    paths = [str(ROOT), str(ROOT / "tests" / "benchmarks")]
    return os.environ | {"PYTHONPATH": os.pathsep.join(paths)}


def program(*args, code: str | None = None) -> subprocess.Popen:
    start = [sys.executable, "-c", code] if code else [sys.executable]
    return subprocess.Popen(
        [*start, *map(str, args)],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


GRADER = "from grader.cli.main import run; run()"


@pytest.fixture(scope="module")
def faces(tmp_path_factory) -> list[Path]:
    """Three small photos that one face fills each."""
    folder = tmp_path_factory.mktemp("faces")
    return [lamp_photos.whole_face(n, folder / f"{n}.png") for n in range(3)]


@pytest.fixture
def haul(faces, tmp_path) -> Path:
    """A working folder with the photos in ``haul``."""
    work = tmp_path / "work"
    (work / "haul").mkdir(parents=True)
    for path in faces:
        (work / "haul" / path.name).write_bytes(path.read_bytes())
    return work


def killed(*args) -> list[dict]:
    """What ``killed.py`` tells."""
    run = program(ROOT / "tests" / "killed.py", *args)
    out, err = run.communicate()
    assert run.returncode == 0, err
    return json.loads(out)


HOLDS = ("sound", "replays", "kept what was there", "at most one missing")
WORKS = ("model loads", "results whole", "next works")


@needs_fork
@pytest.mark.slow
def test_commands_killed_at_sixty_moments_lose_at_most_the_action_in_hand(haul):
    outcomes = killed(haul, "random", 60, 11)
    assert len(outcomes) == 60 and {one["ended"] for one in outcomes} <= {0, -9}
    broken = [one for one in outcomes if not all(one[name] for name in HOLDS + WORKS)]
    assert broken == []
    # The log of begun and ended writes shows where they fell.
    fell = [one["command"] for one in outcomes if one["ended"] == -9 and one["in a write"]]
    assert len(fell) >= 20 and set(fell) == {"batch", "call", "retrain"}


@needs_fork
@pytest.mark.slow
@pytest.mark.parametrize("way", ["kill", "full"])
def test_retrain_that_ends_at_any_step_leaves_the_old_model_or_the_new_one_in_use(haul, way):
    outcomes = killed(haul, "steps", way)
    # Six files of a model are each synced and renamed, then its folder is.
    assert len(outcomes) >= 14
    assert {one["ended"] for one in outcomes} <= ({-9} if way == "kill" else {0, 1})
    holds = ("sound", "kept what was there", "known", "model loads", "next works", "again works")
    broken = [one for one in outcomes if not all(one[name] for name in (*holds, "and is used"))]
    assert broken == []
    # The ledger is told last; where a step fails that the tool can do without, the new model is used.
    assert {one["used"] for one in outcomes} == ({"old"} if way == "kill" else {"old", "new"})


CALLS = """
import sys, time
from dataclasses import replace
from pathlib import Path
from grader.calling import place_on, save_calls
from grader.grading.proposal import Call
from grader.ledger.store import open_ledger
from grader.looks import last_look
path, name = Path(sys.argv[1]), sys.argv[2]
with open_ledger(path) as ledger:
    look = last_look(sys.argv[3], ledger)
    path.with_name(name).touch()
    while len(list(path.parent.glob("writer*"))) < 2:
        time.sleep(0.001)
    for number in range(50):
        call = Call("0.png", sys.argv[3], 1, None, "waste", None, name, "2026-03-02T10:11:12+01:00", str(number))
        save_calls([place_on(look, call)], ledger)
"""


@pytest.mark.slow
def test_two_programs_that_save_fifty_calls_each_at_once_lose_none(haul):
    ledger = haul / "ledger.sqlite"
    with chdir(haul):
        ran = CliRunner().invoke(
            app, ["check", "haul/0.png", "--whole", "--json", "--ledger", str(ledger)]
        )
    sha256 = json.loads(ran.stdout)["photo"]["sha256"]
    running = [program(ledger, f"writer {n}", sha256, code=CALLS) for n in range(2)]
    assert [run.communicate()[1] for run in running] == ["", ""]
    with open_ledger(ledger) as opened:
        calls = views.calls(opened)
    for n in range(2):
        assert [c.note for c in calls if c.by == f"writer {n}"] == [str(k) for k in range(50)]
    assert len(calls) == 100


@pytest.mark.slow
def test_two_folders_graded_at_once_into_one_ledger_are_both_there(haul, faces):
    ledger = haul / "ledger.sqlite"
    other = lamp_photos.whole_face(7, haul / "other" / "7.png")
    running = [
        program("batch", haul / name, "--whole", "--workers", 1, "--ledger", ledger, code=GRADER)
        for name in ("haul", "other")
    ]
    stderr = [run.communicate()[1] for run in running]
    assert [run.returncode for run in running] == [0, 0], stderr
    assert "3 photos graded, 3 stones" in stderr[0] and "1 photo graded, 1 stone" in stderr[1]
    with open_ledger(ledger) as opened:
        looks = views.last_looks(opened)
        before = views.stones(opened)
        opened.replay()
        assert views.stones(opened) == before
    assert len(looks) == 4 and other.exists()
    for name, count in (("haul", 3), ("other", 1)):
        lines = (haul / name / "graded" / "results.jsonl").read_text("utf-8").splitlines()
        assert len(lines) == count


# --- results are the seller's too ----------------------------------------------------------------


def batch(work: Path, *args) -> tuple[int, str]:
    """Exit code of a batch run in the working folder, and what it tells a person."""
    more = ("--whole", "--workers", "1", "--ledger", "ledger.sqlite")
    with chdir(work):
        ran = CliRunner().invoke(app, ["batch", *map(str, args), *more])
    return ran.exit_code, ran.stderr


def content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


AT_ONCE = """
import os, signal, sys
from grader import looking
looking._measure = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
from grader.cli.main import run
run()
"""


@pytest.fixture(scope="module")
def graded_once(faces, tmp_path_factory) -> Path:
    work = tmp_path_factory.mktemp("graded") / "work"
    shutil.copytree(faces[0].parent, work / "haul")
    assert batch(work, "haul")[0] == 0
    return work


@pytest.fixture
def graded(graded_once, tmp_path) -> Path:
    """A working folder with photos that batch has graded."""
    return shutil.copytree(graded_once, tmp_path / "work")


@pytest.mark.slow
def test_a_batch_with_another_option_that_is_killed_at_once_leaves_what_was_there(graded):
    before = content(graded / "haul" / "graded")
    with open_ledger(graded / "ledger.sqlite") as ledger:
        facts = list(ledger.entries())
    run = program(
        "batch", graded / "haul", "--state", "dry", "--whole", "--workers", 1,
        "--ledger", graded / "ledger.sqlite", code=AT_ONCE,
    )  # fmt: skip
    run.communicate()
    assert run.returncode == -9
    assert content(graded / "haul" / "graded") == before
    with open_ledger(graded / "ledger.sqlite") as ledger:
        assert list(ledger.entries())[: len(facts)] == facts
    code, stderr = batch(graded, "haul")
    assert code == 0 and "3 photos known before" in stderr


def test_a_table_that_was_filled_in_is_kept_and_can_be_taken_in(graded):
    table = graded / "haul" / "graded" / "results.csv"
    lines = table.read_text("utf-8-sig").splitlines()
    names = lines[0].split(",")
    cells = lines[1].split(",")
    cells[names.index("grade")] = "waste"
    filled = "\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n"
    table.write_text(filled, "utf-8-sig")
    code, stderr = batch(graded, "haul")
    aside = table.with_name("results (yours).csv")
    assert code == 0 and aside.read_text("utf-8-sig") == filled
    assert "results.csv was changed" in stderr and "grader call --from" in stderr
    with chdir(graded):
        ran = CliRunner().invoke(app, ["call", "--from", str(aside), "--ledger", "ledger.sqlite"])
    assert ran.exit_code == 0 and "1 call saved" in ran.stdout


def test_results_of_two_folders_are_never_mixed(graded, faces):
    lamp_photos.whole_face(8, graded / "other" / "8.png")
    before = content(graded / "haul" / "graded")
    code, stderr = batch(graded, "other", "--out", "haul/graded")
    assert code == 1
    assert stderr.splitlines()[-1] == (
        "grader: haul/graded: holds the results of haul; choose another folder for these"
    )
    assert content(graded / "haul" / "graded") == before


@pytest.mark.slow
def test_files_of_the_sellers_own_stay_where_results_are_written(haul):
    own = haul / "own"
    (own / ".pictures").mkdir(parents=True)
    mine = {
        ".pictures/holiday.jpg": b"holiday",
        "sheet-2024.html": b"last year",
        "results.csv": b"mine",
    }
    for name, text in mine.items():
        (own / name).write_bytes(text)
    code, stderr = batch(haul, "haul", "--out", "own")
    assert code == 0 and "results.csv was changed, or is not of this tool" in stderr
    after = content(own)
    assert after[".pictures/holiday.jpg"] == b"holiday"
    assert after["sheet-2024.html"] == b"last year"
    assert after["results (yours).csv"] == b"mine"
    assert after["results.csv"] != b"mine"


# --- deals ---------------------------------------------------------------------------------------


@needs_fork
@pytest.mark.slow
@pytest.mark.parametrize("seed", range(5))
def test_scenario_18_deals_killed_at_two_hundred_moments_come_to_the_same_as_unbroken(
    tmp_path, seed
):
    """Forty moments a seed; the sixty of ``batch``, ``call`` and ``retrain`` are killed above."""
    run = program(ROOT / "tests" / "killed_deals.py", tmp_path, 40, seed)
    out, err = run.communicate()
    assert run.returncode == 0, err
    told = json.loads(out)
    assert told["same as unbroken"]
    names = ("sound", "replays", "kept what was there", "all or nothing", "works again")
    assert [one for one in told["killed"] if not all(one[name] for name in names)] == []
    # The log of begun and ended acts shows where they fell.
    fell = [one["command"] for one in told["killed"] if one["ended"] == -9 and one["in a write"]]
    assert len(fell) >= 15 and {"weigh", "sell", "undo"} <= set(fell)


SELLS = """
import sys, time
from decimal import Decimal
from pathlib import Path
from grader.deals.orders import Item
from grader.deals.sales import Terms, sell
from grader.deals.weighing import Weighing, weigh
from grader.errors import LedgerError
from grader.ledger.store import open_ledger
from grader.weight import grams_of
path, name = Path(sys.argv[1]), sys.argv[2]
sold = 0
with open_ledger(path) as ledger:
    path.with_name(name).touch()
    while len(list(path.parent.glob("writer*"))) < 2:
        time.sleep(0.001)
    for number in range(1, 21):
        code = f"07-{number:03d}"
        weigh(ledger, [Weighing(f"07-9{number:02d}{name[-1]}", grams_of("5g"))], name, number_new=True)
        try:
            sell(ledger, [Item(code)], {}, Terms(Decimal(1), "USD", "2026-01-01"), name)
            sold += 1
        except LedgerError as err:
            assert "is sold" in str(err), err
print(sold)
"""


@pytest.mark.slow
def test_two_programs_that_sell_the_same_pieces_at_once_sell_each_once(tmp_path):
    from grader.deals.hauls import new_haul
    from grader.deals.weighing import Weighing, weigh
    from grader.ledger import stock
    from grader.weight import grams_of

    path = tmp_path / "ledger.sqlite"
    with open_ledger(path) as ledger:
        new_haul(ledger, "07", grams_of("9kg"), None, None)
        rows = [Weighing(f"07-{number:03d}", grams_of("100g")) for number in range(1, 21)]
        weigh(ledger, rows, None, number_new=True)
    running = [program(path, f"writer {n}", code=SELLS) for n in range(2)]
    told = [run.communicate() for run in running]
    assert [err for _, err in told] == ["", ""]
    assert sum(int(out) for out, _ in told) == 20
    with open_ledger(path) as ledger:
        assert len(stock.sales(ledger)) == 20
        assert len(stock.pieces(ledger)) == 60
        before = stock.pieces(ledger)
        ledger.replay()
        assert stock.pieces(ledger) == before


@needs_fork
@pytest.mark.slow
def test_a_batch_on_a_full_disk_says_so_in_one_line_and_goes_on_once_there_is_room(faces, tmp_path):
    """A disk of its own, with nothing left on it, then a little more each time."""
    (tmp_path / "disk").mkdir()
    try_it = ["unshare", "-rm", "mount", "-t", "tmpfs", "none", tmp_path / "disk"]
    if not shutil.which("unshare") or subprocess.run(try_it, capture_output=True).returncode:
        pytest.skip("no disk of our own can be mounted here")
    mount = (
        f"mount -t tmpfs -o size=8m none '{tmp_path}/disk' && exec '{sys.executable}' "
        f"'{ROOT}/tests/full_disk.py' '{tmp_path}/disk' '{faces[0].parent}'"
    )
    told = {"TOLD": str(tmp_path / "told"), "XDG_DATA_HOME": str(tmp_path)}
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", mount],
        env=environment() | told,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    outcomes = json.loads(done.stdout)
    failed = [one for one in outcomes if one["ended"] != 0]
    assert len(failed) >= 4 and {one["ended"] for one in failed} == {1}
    assert [one for one in failed if len(one["lines"]) != 1] == []
    lines = [one["lines"][0] for one in failed]
    assert [line for line in lines if "full" not in line and "No space left" not in line] == []
    assert [
        one for one in outcomes if one["left"] or not one["again works"] or not one["same"]
    ] == []


# --- nothing outlives its program ----------------------------------------------------------------

needs_proc = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no list of processes")


def of_group(group: int) -> list[int]:
    """Processes of a group that are no corpses (proc(5): state, parent and group follow the name in brackets)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, theirs = path.read_text().rpartition(")")[2].split()[:3]
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(theirs) == group and state != "Z":
            found.append(int(path.parent.name))
    return found


def wait_for(what) -> None:
    """Return when it is so. Looks are counted, no time: a slow machine may stand still for a while."""
    for _ in range(1200):
        if what():
            return
        time.sleep(0.05)
    raise AssertionError("waited in vain")


def killed_with(processes: int, *args, code: str, delay_s: float = 0.0) -> None:
    """Kill a program once it has so many processes and so long more; fail where one of them stays."""
    run = subprocess.Popen(
        [sys.executable, "-c", code, *map(str, args)],
        env=environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        wait_for(lambda: len(of_group(run.pid)) >= processes or run.poll() is not None)
        time.sleep(delay_s)
        assert run.poll() is None, "it ended before the kill"
        run.kill()
        run.wait()
        # Two seconds between two looks at the parent; the rest is for a slow machine.
        wait_for(lambda: of_group(run.pid) == [])
    finally:
        for left in of_group(run.pid):
            os.kill(left, signal.SIGKILL)


BUSY = """
import time
from grader.workers.pool import processes
pool = processes(2)
waiting = [pool.submit(time.sleep, 600) for _ in range(4)]
time.sleep(600)
"""


@pytest.mark.slow
@needs_proc
@pytest.mark.parametrize("delay_s", [0.0, 3.0])
def test_workers_end_soon_after_a_killed_program(delay_s):
    """Else they would stay for ever, with their networks in memory: those just begun, and those at work."""
    killed_with(3, code=BUSY, delay_s=delay_s)


@needs_proc
@pytest.mark.slow
@pytest.mark.parametrize("delay_s", [0.0, 1.0, 4.0])
def test_nothing_of_a_killed_batch_stays(haul, delay_s):
    for number in range(6):
        (haul / "haul" / f"copy {number}.png").write_bytes(
            (haul / "haul" / "0.png").read_bytes() + bytes(number + 1)
        )
    args = ("batch", haul / "haul", "--workers", 2, "--ledger", haul / "ledger.sqlite")
    killed_with(3, *args, code=GRADER, delay_s=delay_s)


@needs_proc
@pytest.mark.slow
@pytest.mark.parametrize("delay_s", [0.0, 3.0])
def test_nothing_of_a_killed_table_stays(haul, delay_s):
    pytest.importorskip("watchfiles")
    args = (
        "table",
        "--address-only",
        "--port",
        0,
        "--watch",
        haul / "haul",
        "--ledger",
        haul / "ledger.sqlite",
    )
    # Two cores at the least, so that it has workers of its own.
    two = "import os; os.cpu_count = lambda: 2\n" + GRADER
    killed_with(3, *args, code=two, delay_s=delay_s)


# --- the same as unbroken ------------------------------------------------------------------------


@needs_fork
@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_a_batch_killed_at_a_hundred_moments_comes_to_the_same_as_unbroken(haul, seed):
    """Ten moments a seed. What the sheet tells of its day is the one time in the results."""
    (haul / "haul" / "2.png").unlink()
    run = program(ROOT / "tests" / "killed_batch.py", haul, 10, seed)
    out, err = run.communicate()
    assert run.returncode == 0, err
    told = json.loads(out)
    same = ("again works", "results are the same", "ledger is the same", "nothing half-written")
    assert [one for one in told if not all(one[name] for name in same)] == []
    # By the log of writes begun and ended; of a hundred it is twenty and more, as the figures tell.
    assert any(one["ended"] == -9 and one["in a write"] for one in told)
