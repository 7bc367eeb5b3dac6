"""What other systems lack is asked for before it is used: Python's library reference marks it "Availability: Unix"."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from grader.files import write_bytes

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
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        return [f"{node.value.id}.{node.attr}"]
    return []


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_other_systems_lack_is_asked_for_before_it_is_used(path):
    assert unguarded(path.read_text("utf-8")) == []


def test_an_unguarded_name_is_seen_wherever_it_hides():
    assert unguarded("import fcntl\n") == ["line 1: fcntl"]
    assert unguarded("from signal import SIGKILL\n") == ["line 1: signal.SIGKILL"]
    assert unguarded("def f():\n    os.kill(1, signal.SIGKILL)\n") == ["line 2: signal.SIGKILL"]
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
    found = {path.name for path in SHIPPED if "os.rename(" in path.read_text("utf-8")}
    assert found == {"outfolder.py", "model_files.py"}, "onto new names only"


def test_a_file_is_closed_before_it_is_moved_or_replaced(tmp_path, monkeypatch):
    # Windows replaces no file that is open; here it is asked for what this system would let pass.
    moved = []
    replace = os.replace

    def watched(part, path):
        held = {os.path.realpath(f"/proc/self/fd/{fd}") for fd in os.listdir("/proc/self/fd")}
        moved.append(os.path.realpath(part) in held or os.path.realpath(path) in held)
        replace(part, path)

    if not os.path.isdir("/proc/self/fd"):
        pytest.skip("this system does not list what is open")
    monkeypatch.setattr("os.replace", watched)
    write_bytes(tmp_path / "a.txt", b"one")
    write_bytes(tmp_path / "a.txt", b"two")
    assert moved == [False, False] and (tmp_path / "a.txt").read_bytes() == b"two"


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
