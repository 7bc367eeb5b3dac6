"""What other systems lack is asked for before it is used: Python's library reference marks it "Availability: Unix"."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from grader.files import write_bytes
from grader.grading.models.model_files import load_model, save_model
from grader.ledger.backup import backup, restore
from grader.ledger.store import open_ledger
from grader.outfolder import OutFolder
from grader.profile import load_profile

ROOT = Path(__file__).parents[1]
SHIPPED = sorted(path for path in (ROOT / "grader").rglob("*.py"))
#: Modules and names that Windows or macOS has not, as docs.python.org says of each.
LACKING = {
    "fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty",
    "os.fork", "os.forkpty", "os.geteuid", "os.getgid", "os.getuid", "os.getpgid", "os.killpg", "os.memfd_create",
    "os.mkfifo", "os.nice", "os.O_NOFOLLOW", "os.posix_fadvise", "os.sched_getaffinity", "os.sched_setaffinity",
    "os.setsid", "os.uname", "os.wait", "os.waitpid", "os.chown", "os.pread", "os.pwrite", "os.sync",
    "signal.SIGKILL", "signal.SIGHUP", "signal.SIGALRM", "signal.SIGUSR1", "signal.alarm", "signal.pause",
    "time.tzset", "socket.AF_UNIX", "os.sysconf", "os.symlink", "os.link", "os.statvfs", "os.chroot",
    "crypt", "curses", "readline", "select.epoll", "select.kqueue", "select.poll", "socket.SO_REUSEPORT",
    "os.fchmod", "os.fchown", "os.fdatasync", "os.getegid", "os.getloadavg", "os.getpgrp", "os.getsid", "os.lchown",
    "os.lockf", "os.mknod", "os.O_CLOEXEC", "os.O_DIRECTORY", "os.O_NONBLOCK", "os.O_SYNC", "os.pipe2",
    "os.posix_fallocate", "os.posix_spawn", "os.register_at_fork", "os.sendfile", "os.setgid", "os.setpriority",
    "os.setuid", "os.ttyname", "os.wait3", "os.wait4", "os.waitid", "os.WEXITSTATUS", "os.WIFEXITED",
    "signal.SIGCHLD", "signal.SIGPIPE", "signal.SIGQUIT", "signal.SIGSTOP", "signal.SIGCONT", "signal.SIGUSR2",
    "signal.pthread_kill", "signal.pthread_sigmask", "signal.setitimer", "signal.sigwait",
    # Of Windows alone.
    "msvcrt", "winreg", "winsound", "os.startfile", "os.O_BINARY", "signal.CTRL_C_EVENT",
    # Methods of an event loop and of paths, whatever the thing is called.
    ".add_signal_handler", ".hardlink_to", ".owner", ".symlink_to",
}  # fmt: skip
#: Whose ``open`` opens no text: descriptors, pictures, pages in a browser, members of a zip.
NO_TEXT = ("os", "Image", "webbrowser", "backed_up")
#: Errors of a module or name that is not there.
CAUGHT = {"ImportError", "ModuleNotFoundError", "AttributeError", "Exception"}


def unguarded(source: str) -> list[str]:
    """Names of LACKING that stand outside of any ``try`` that catches their absence, with their lines."""
    found = []

    def look(node: ast.AST, guarded: bool) -> None:
        if isinstance(node, ast.Try):
            names = {
                n.id
                for h in node.handlers
                if h.type
                for n in ast.walk(h.type)
                if isinstance(n, ast.Name)
            }
            for part in node.body:
                look(part, guarded or bool(names & CAUGHT))
            for part in (*node.handlers, *node.orelse, *node.finalbody):
                look(part, guarded)
            return
        if not guarded:
            found.extend(f"line {node.lineno}: {name}" for name in _named(node) if name in LACKING)
        for child in ast.iter_child_nodes(node):
            look(child, guarded)

    look(ast.parse(source), False)
    return found


def _named(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        return [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
    if isinstance(node, ast.Attribute):
        thing = node.value.id if isinstance(node.value, ast.Name) else ""
        return [f"{thing}.{node.attr}", f".{node.attr}"][: 2 if thing else 1]
    return []


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_other_systems_lack_is_asked_for_before_it_is_used(path):
    assert unguarded(path.read_text("utf-8")) == []


def test_an_unguarded_name_is_seen_wherever_it_hides():
    assert unguarded("import fcntl\n") == ["line 1: fcntl"]
    assert unguarded("from signal import SIGKILL\n") == ["line 1: signal.SIGKILL"]
    assert unguarded("def f():\n    os.kill(1, signal.SIGKILL)\n") == ["line 2: signal.SIGKILL"]
    assert unguarded("a.b.symlink_to(c)") == unguarded("a.symlink_to(c)")
    assert unguarded("a.b.symlink_to(c)") == ["line 1: .symlink_to"]
    assert unguarded("try:\n    pass\nexcept OSError:\n    os.fork()\n") == ["line 4: os.fork"]
    assert unguarded("try:\n    import fcntl\nexcept ImportError:\n    fcntl = None\n") == []
    assert (
        unguarded("try:\n    os.memfd_create('a')\nexcept (AttributeError, OSError):\n    pass\n")
        == []
    )


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_texts_are_opened_as_utf_8(path):
    # The usual encoding is the system's: on Windows a name with an emoji would end a run.
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = (
            node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        )
        if name not in ("open", "read_text", "write_text"):
            continue
        words = [
            a.value
            for a in (*node.args, *(k.value for k in node.keywords))
            if isinstance(a, ast.Constant)
        ]
        binary = any(isinstance(w, str) and "b" in w and set(w) <= set("rwxab+") for w in words)
        named = any(isinstance(w, str) and w.casefold().startswith("utf-8") for w in words)
        ours = name == "write_text" and isinstance(node.func, ast.Name)
        of_pictures = (
            isinstance(node.func, ast.Attribute) and getattr(node.func.value, "id", "") in NO_TEXT
        )
        assert binary or named or ours or of_pictures, f"line {node.lineno}: name the encoding"


#: What goes another way on Windows or macOS, as the library reference says: what stands in the source, and why not.
ELSEWHERE = {
    r"get_context\(|set_start_method\(|Process\(target": "there programs are begun by spawn",
    r"ProcessPoolExecutor|import multiprocessing": "as above: processes come from joblib, which spawns everywhere",
    r"strftime\([^)]*%-": "%-d is glibc's own",
    r"NamedTemporaryFile\((?![^)]*delete=False)": "one that is open cannot be opened again by its name",
    r"[\"']/(?:tmp|var|home|usr)/": "no such folder",
}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_goes_another_way_elsewhere(path):
    source = path.read_text("utf-8")
    assert [why for pattern, why in ELSEWHERE.items() if re.search(pattern, source)] == []


def test_what_goes_another_way_is_seen():
    for source in (
        "day.strftime('%-d')",
        "multiprocessing.get_context('fork')",
        "NamedTemporaryFile(suffix='.png')",
        "open('/tmp/x')",
    ):
        assert any(re.search(pattern, source) for pattern in ELSEWHERE), source


def test_a_file_is_renamed_onto_another_by_replace_alone():
    # os.rename onto a file that is there fails on Windows (library reference, os.rename): those here are told apart.
    found = {path.name for path in SHIPPED if re.search(r"\.rename\(", path.read_text("utf-8"))}
    assert found == {"outfolder.py", "model_files.py"}, "onto new names only"


@pytest.fixture
def moved(monkeypatch):
    """Of each file that is moved from now on, whether it or the one that it replaces is open.

    Windows moves and replaces no file that is open; here it is asked for what this system would let pass.
    """
    if not os.path.isdir("/proc/self/fd"):
        pytest.skip("this system does not list what is open")
    told = []

    def watched(move):
        def ask(part, path):
            held = {os.path.realpath(f"/proc/self/fd/{fd}") for fd in os.listdir("/proc/self/fd")}
            told.append(bool({os.path.realpath(part), os.path.realpath(path)} & held))
            move(part, path)

        return ask

    monkeypatch.setattr("os.replace", watched(os.replace))
    monkeypatch.setattr("os.rename", watched(os.rename))
    return told


def test_a_file_is_closed_before_it_is_moved_or_replaced(tmp_path, moved):
    write_bytes(tmp_path / "a.txt", b"one")
    write_bytes(tmp_path / "a.txt", b"two")
    assert moved == [False, False] and (tmp_path / "a.txt").read_bytes() == b"two"
    with open(tmp_path / "a.txt", "rb"):
        write_bytes(tmp_path / "a.txt", b"three")
    assert moved[2:] == [True], "what is open is seen"


def test_results_a_model_and_a_ledger_are_closed_before_they_are_moved(tmp_path, moved):
    results = OutFolder(tmp_path / "out", tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a.csv").write_text("the seller's")
    results.write("a.csv", b"1")
    results.keep_only(["a.csv"])
    for _ in range(2):
        save_model(load_model(), tmp_path / "model", [], "card", load_profile())
    with open_ledger(tmp_path / "one.sqlite") as ledger:
        backup(ledger, tmp_path / "kept.zip")
    for _ in range(2):
        restore(tmp_path / "kept.zip", tmp_path / "one.sqlite")
    assert len(moved) >= 8 and not any(moved)


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_a_name_that_the_terminal_cannot_show_ends_no_command(tmp_path, encoding):
    # As on a Windows whose output goes into a file: its usual encoding has few letters.
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "from grader.cli.main import run; run()",
            "trip",
            "new",
            "\N{GEM STONE} ёж",
        ],
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": encoding},
        cwd=tmp_path,
        capture_output=True,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout
