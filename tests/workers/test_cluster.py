"""The same work on a Dask cluster: a scheduler and workers of their own, some of whom are killed."""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path

import lamp_photos
import pytest

from grader.batch import FolderRun, grade_folder
from grader.errors import ClusterError, SettingsError
from grader.grading.models.model_files import load_model
from grader.looks import ask_for
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.workers import build as builds
from grader.workers import cluster as module
from grader.workers.cluster import Cluster, is_safe, whole_address
from grader.workers.pool import Pool

ROOT = Path(__file__).parents[2]
GRADER = "from grader.cli.main import run; run()"
RESULTS = ("results.jsonl", "results.csv", "sheet.html")


# --- who may be asked ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "whole"),
    [
        ("127.0.0.1:8786", "tcp://127.0.0.1:8786"),
        ("localhost:8786", "tcp://localhost:8786"),
        ("tcp://[::1]:8786", "tcp://[::1]:8786"),
        ("tls://192.0.2.7:8786", "tls://192.0.2.7:8786"),
    ],
)
def test_an_address_of_this_computer_or_with_tls_will_do(address, whole):
    assert whole_address(address) == whole


# RFC 5737 and RFC 2606 keep these addresses and names for examples.
@pytest.mark.parametrize(
    "address",
    [
        "192.0.2.7:8786", "tcp://192.0.2.7:8786", "tcp://shop.example:8786", "tcp://127.0.0.1.example:8786",
        "0.0.0.0:8786", "tcp://localhost.example:8786",
    ],
)  # fmt: skip
def test_an_address_that_others_can_listen_to_is_refused_in_one_line(address):
    with pytest.raises(SettingsError, match="without TLS only an address of this computer") as err:
        Cluster(address)
    assert "\n" not in str(err.value)


@pytest.mark.parametrize(
    "address",
    ["", "shop", "127.0.0.1", "127.0.0.1:x", "http://127.0.0.1:8786", "tls://", "inproc://127.0.0.1:1",
     "127.0.0.1:8786/x", "tls://me@192.0.2.7:8786", "127.0.0.1:99999", "tcp://[::1"],
)  # fmt: skip
def test_what_is_no_address_is_told(address):
    with pytest.raises(SettingsError, match="no address of a cluster"):
        whole_address(address)


def test_a_scheduler_or_worker_with_an_address_open_to_others_is_not_safe():
    assert is_safe("tls://192.0.2.7:1") and is_safe("tcp://127.0.0.1:1")
    assert not is_safe("tcp://192.0.2.7:1") and not is_safe("tcp://[2001:db8::1]:1")


def test_certificates_and_tls_go_together(tmp_path):
    with pytest.raises(SettingsError, match="TLS needs --certificates"):
        Cluster("tls://127.0.0.1:1")
    with pytest.raises(SettingsError, match=r"ca\.pem: no such file"):
        Cluster("tls://127.0.0.1:1", tmp_path)
    with pytest.raises(SettingsError, match="certificates go with an address that begins with tls"):
        Cluster("127.0.0.1:1", tmp_path)


def test_without_dask_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SettingsError) as err:
        Cluster("127.0.0.1:1")
    assert str(err.value) == "--cluster needs more: pip install 'stone-face-grader[cluster]'"


@pytest.mark.slow
@pytest.mark.parametrize("listens", [False, True])
def test_an_address_that_does_not_answer_is_told_within_ten_seconds(listens):
    pytest.importorskip("distributed")
    with closing(socket.socket()) as other:
        other.bind(("127.0.0.1", 0))
        if listens:  # It takes the call and never says a word.
            other.listen()
        begun = time.monotonic()
        with pytest.raises(ClusterError, match="no cluster answers") as err:
            Cluster(f"127.0.0.1:{other.getsockname()[1]}")
    assert time.monotonic() - begun < 10
    assert "\n" not in str(err.value)


def test_builds_differ_in_words():
    ours = builds.build()
    assert builds.difference(ours, ours) is None
    told = builds.difference(dict(ours) | {"measurement version": "7"}, ours)
    assert told == "has another measurement version (7) than this computer (8)"
    assert "numpy (none)" in builds.difference(
        {k: v for k, v in ours.items() if k != "numpy"}, ours
    )


def test_a_photo_is_seen_only_where_it_has_the_same_content(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"one")
    ask = ask_for(tmp_path / "a.jpg", PhotoTerms(), None)
    assert module._is_seen(ask)
    (tmp_path / "a.jpg").write_bytes(b"two")
    assert not module._is_seen(ask)
    (tmp_path / "a.jpg").unlink()
    assert not module._is_seen(ask)


# --- a cluster within this process: photos are text files, all else is as it is -------------------


@pytest.fixture
def near(measuring, ledgers_copied):
    """The address of a scheduler with a worker, in threads of this process."""
    distributed = pytest.importorskip("distributed")
    module._distributed()
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1",
        dashboard_address=None,
    ) as cluster:  # fmt: skip
        yield cluster.scheduler_address


def graded(folder: Path, out: str, workers) -> dict[str, bytes]:
    grade_folder(
        folder, load_profile(), load_model(), None, terms=PhotoTerms(), out=folder.parent / out,
        run=FolderRun(workers),
    )  # fmt: skip
    return {name: (folder.parent / out / name).read_bytes() for name in RESULTS}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seen", [True, False])
def test_results_and_order_are_those_of_the_pool(near, tmp_path, monkeypatch, measuring, seen):
    folder = tmp_path / "photos"
    (folder / "tray").mkdir(parents=True)
    for name, content in {
        "b": "2",
        "a": "1",
        "tray/a": "3",
        "bad": "bad",
        "crash": "crash",
    }.items():
        (folder / f"{name}.jpg").write_text(content)
    here = graded(folder, "here", Pool(1))
    measuring.clear()
    if not seen:
        monkeypatch.setattr(module, "_is_seen", lambda ask: False)
    with Cluster(near.removeprefix("tcp://")) as cluster:
        assert graded(folder, "there", cluster) == here
    assert {one.photo.parent in (folder, folder / "tray") for one in measuring} == {seen}


# --- a scheduler and workers in processes of their own --------------------------------------------


def free_port() -> int:
    with closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


#: No page for others to look at, as README has it.
NO_PAGES = ("--no-dashboard", "--dashboard-address", "127.0.0.1:0")


class Running:
    """A scheduler and its workers; all of them end with it."""

    def __init__(self, folder: Path, protocol="tcp", more=()) -> None:
        self.folder, self.more = folder, list(more)
        self.address = f"{protocol}://127.0.0.1:{free_port()}"
        self.processes: list[subprocess.Popen] = []
        self._start(
            "scheduler",
            "--host",
            self.address.rpartition(":")[0],
            "--port",
            self.address.rpartition(":")[2],
        )

    def _start(self, *args, env=None) -> subprocess.Popen:
        with open(self.folder / f"{len(self.processes)}.log", "wb") as log:
            one = subprocess.Popen(
                [sys.executable, "-m", "dask", *args, *NO_PAGES, *self.more],
                env=environment() | (env or {}),
                cwd=self.folder,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self.processes.append(one)
        return one

    def worker(self, *args, preload: str | None = None) -> subprocess.Popen:
        number = len(self.processes)
        if preload is not None:
            (self.folder / f"preload{number}.py").write_text(preload)
            args = (*args, "--preload", str(self.folder / f"preload{number}.py"))
        return self._start(
            "worker",
            self.address,
            "--nthreads",
            "1",
            "--local-directory",
            str(self.folder / f"w{number}"),
            *args,
        )

    def end(self) -> None:
        for one in self.processes:
            try:
                os.killpg(one.pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
            finally:
                one.wait()


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}


@contextmanager
def running(folder: Path, **given):
    pytest.importorskip("distributed")
    folder.mkdir(exist_ok=True)
    cluster = Running(folder, **given)
    try:
        yield cluster
    finally:
        cluster.end()


def start_batch(work: Path, out: str, *args) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-c", GRADER, "batch", "photos", "--whole", "--out", out,
         "--ledger", f"{out}.sqlite", *map(str, args)],
        cwd=work, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def wait_for_workers(cluster: Running, count: int, certificates: Path | None = None) -> None:
    """Return when so many have joined. Looks are counted, no time: a slow machine may stand still for a while."""
    for _ in range(100):
        try:
            with Cluster(cluster.address, certificates) as there:
                if there.at_once >= 2 * count:
                    return
        except ClusterError:
            pass
        time.sleep(0.5)
    raise AssertionError("the workers did not come")


@pytest.fixture(scope="module")
def faces(tmp_path_factory) -> list[Path]:
    folder = tmp_path_factory.mktemp("faces")
    return [lamp_photos.whole_face(n, folder / f"{n}.png") for n in range(6)]


@pytest.fixture
def work(faces, tmp_path) -> Path:
    (tmp_path / "photos").mkdir()
    for path in faces:
        shutil.copy(path, tmp_path / "photos")
    return tmp_path


def results(work: Path, out: str) -> dict[str, bytes]:
    return {name: (work / out / name).read_bytes() for name in RESULTS}


def measured_so_far(work: Path, out: str) -> int:
    from grader.ledger.store import open_ledger

    if not (work / f"{out}.sqlite").exists():
        return 0
    with open_ledger(work / f"{out}.sqlite") as ledger:
        return sum(entry.fact.kind == "measured" for entry in ledger.entries())


SLOWER = """
import time
from grader import looking
# Dask may load this twice.
measure = getattr(looking._measure, "plain", looking._measure)
def slower(*given):
    time.sleep(1)
    return measure(*given)
slower.plain = measure
looking._measure = slower
"""
KILLS = """
import os
from grader import looking
measure = getattr(looking._measure, "plain", looking._measure)
def dies(ask, *given):
    if ask.file == "2.png":
        os._exit(3)
    return measure(ask, *given)
dies.plain = measure
looking._measure = dies
"""
OTHER_VERSION = "import grader.measures; grader.measures.MEASUREMENT_VERSION = 7\n"
WITHOUT = "import sys; sys.modules['grader.workers'] = None\n"
BLIND = "from grader.workers import cluster; cluster._is_seen = lambda ask: False\n"


@pytest.mark.slow
def test_one_of_two_workers_is_killed_midway_and_the_results_are_those_of_one_computer(work):
    with running(work / "cluster") as cluster:
        first, second = (
            cluster.worker("--no-nanny", preload=SLOWER),
            cluster.worker("--no-nanny", preload=BLIND),
        )
        wait_for_workers(cluster, 2)
        run = start_batch(work, "there", "--cluster", cluster.address)
        while measured_so_far(work, "there") < 1:
            assert run.poll() is None, run.communicate()
            time.sleep(0.1)
        os.kill(first.pid, signal.SIGKILL)
        assert measured_so_far(work, "there") < 6, "all was done before the kill"
        _, err = run.communicate(timeout=300)
        assert run.returncode == 0, err
        assert second.poll() is None
    here = start_batch(work, "here", "--workers", 1)
    _, err = here.communicate(timeout=300)
    assert here.returncode == 0, err
    assert results(work, "there") == results(work, "here")


@pytest.mark.slow
def test_a_photo_that_kills_workers_again_and_again_is_told_and_the_run_goes_on(work):
    with running(work / "cluster") as cluster:
        # These are begun anew when they end.
        for _ in range(2):
            cluster.worker(preload=KILLS)
        wait_for_workers(cluster, 2)
        run = start_batch(work, "there", "--cluster", cluster.address)
        _, err = run.communicate(timeout=500)
    assert run.returncode == 1, err
    lines = [line for line in err.splitlines() if "2.png" in line]
    assert len(lines) == 1 and "could not be measured (the process ended" in lines[0], err
    records = [json.loads(line) for line in (work / "there/results.jsonl").read_text().splitlines()]
    assert [r["photo"]["file"] for r in records if "error" in r] == ["2.png"] and len(records) == 6


@pytest.mark.slow
@pytest.mark.parametrize(
    ("preload", "told"),
    [
        (OTHER_VERSION, "has another measurement version (7) than this computer (8)"),
        (WITHOUT, "this tool cannot be used there"),
    ],
)
def test_a_worker_that_would_measure_otherwise_is_refused_in_one_line(work, preload, told):
    with running(work / "cluster") as cluster:
        cluster.worker("--no-nanny", preload=preload)
        for _ in range(30):
            run = start_batch(work, "there", "--cluster", cluster.address)
            _, err = run.communicate(timeout=300)
            assert run.returncode == 1 and len(err.splitlines()) == 1 + ("ledger:" in err), err
            if "no worker there" not in err and "no cluster answers" not in err:
                break
    assert told in err and not (work / "there").exists()


@pytest.mark.slow
def test_ctrl_c_leaves_nothing_running(work):
    with running(work / "cluster") as cluster:
        cluster.worker("--no-nanny", preload=SLOWER)
        wait_for_workers(cluster, 1)
        run = start_batch(work, "there", "--cluster", cluster.address)
        while measured_so_far(work, "there") < 1:
            assert run.poll() is None, run.communicate()
            time.sleep(0.1)
        run.send_signal(signal.SIGINT)
        _, err = run.communicate(timeout=300)
        assert run.returncode == 130 and "what is done is kept" in err
        with Cluster(cluster.address) as there:
            for _ in range(300):
                left = there._client.run_on_scheduler(
                    lambda dask_scheduler: len(dask_scheduler.tasks)
                )
                if not left:
                    break
                time.sleep(0.2)
            assert not left


@pytest.mark.slow
def test_a_scheduler_that_goes_midway_is_told_in_one_line_and_what_is_done_is_kept(work):
    with running(work / "cluster") as cluster:
        cluster.worker("--no-nanny", preload=SLOWER)
        wait_for_workers(cluster, 1)
        run = start_batch(work, "there", "--cluster", cluster.address)
        while measured_so_far(work, "there") < 1:
            assert run.poll() is None, run.communicate()
            time.sleep(0.1)
        os.kill(cluster.processes[0].pid, signal.SIGKILL)
        _, err = run.communicate(timeout=300)
    assert run.returncode == 1
    assert "the cluster has gone; what was measured is kept" in err and "Traceback" not in err
    assert measured_so_far(work, "there") >= 1


# --- with certificates ---------------------------------------------------------------------------


def certificates(folder: Path) -> Path:
    """Those that README tells how to make, by its own commands."""
    text = (ROOT / "README.md").read_text("utf-8")
    block = next(b for b in re.findall(r"```sh\n(.*?)```", text, re.S) if "openssl" in b)
    folder.mkdir()
    subprocess.run(["sh", "-ec", block], cwd=folder, check=True, capture_output=True)
    return folder / "certificates"


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("openssl"), reason="makes certificates with openssl")
def test_with_certificates_as_in_readme_photos_are_measured_and_strangers_are_refused(work):
    mine, others = certificates(work / "mine"), certificates(work / "others")
    keys = [
        f"--tls-{kind}={mine / name}"
        for kind, name in (("ca-file", "ca.pem"), ("cert", "cert.pem"), ("key", "key.pem"))
    ]
    with running(work / "cluster", protocol="tls", more=keys) as cluster:
        cluster.worker("--no-nanny", preload=BLIND)
        wait_for_workers(cluster, 1, mine)
        stranger = start_batch(
            work, "stranger", "--cluster", cluster.address, "--certificates", others
        )
        _, err = stranger.communicate(timeout=300)
        assert stranger.returncode == 1 and "no cluster answers" in err and "Traceback" not in err
        run = start_batch(work, "there", "--cluster", cluster.address, "--certificates", mine)
        _, err = run.communicate(timeout=300)
        assert run.returncode == 0, err
