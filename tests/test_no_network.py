"""No command reaches for a network but ``batch --cluster`` and ``table``: an audit hook writes down whatever any of its
processes does with sockets, and no other module names what could."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[1] / "sample_images"
#: Python's table of audit events: what opens, names or finds another machine. Pipes between own processes are none.
HOOK = """
import os, sys
REACHES = (
    "socket.connect", "socket.bind", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname", "urllib.Request",
)
def note(event, args):
    if event in REACHES:
        where = args[1] if event.startswith(("socket.connect", "socket.bind", "socket.sendto")) else args[0]
        if not isinstance(where, (str, bytes)) or event != "socket.connect":
            with open(os.environ["REACHED"], "a", encoding="utf-8") as log:
                log.write(f"{event} {where!r}\\n")
sys.addaudithook(note)
"""


@pytest.fixture
def reached(tmp_path, monkeypatch):
    """Runs a command with the hook in it and in every process that it starts; returns what they reached for."""
    (tmp_path / "hook").mkdir()
    (tmp_path / "hook" / "sitecustomize.py").write_text(HOOK, "utf-8")
    log = tmp_path / "reached.txt"

    def run(*args: str, code: str = "from grader.cli.main import run; run()") -> str:
        paths = [
            str(tmp_path / "hook"),
            str(Path(__file__).parents[1]),
            os.environ.get("PYTHONPATH", ""),
        ]
        done = subprocess.run(
            [sys.executable, "-c", code, *args],
            cwd=tmp_path,
            env=os.environ
            | {
                "PYTHONPATH": os.pathsep.join(filter(None, paths)),
                "REACHED": str(log),
                "XDG_DATA_HOME": str(tmp_path / "data"),
            },
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert done.returncode == 0, done.stderr
        return log.read_text("utf-8") if log.exists() else ""

    return run


@pytest.mark.slow
def test_no_command_reaches_for_a_network(reached, tmp_path):
    photos = tmp_path / "photos"
    photos.mkdir()
    for name in ("01_lake_over_shore.jpg", "04_dry_slab.jpg"):
        (photos / name).write_bytes((SAMPLES / name).read_bytes())
    one = str(photos / "01_lake_over_shore.jpg")
    for args in (
        ("trip", "new", "North bench"),
        ("haul", "new", "07", "--trip", "1", "--raw", "20lb"),
        ("batch", str(photos), "--haul", "07", "--workers", "2"),
        ("check", one),
        ("call", one, "--grade", "select", "--by", "Nell"),
        ("weigh", "07-001", "412g"),
        ("labels", "--haul", "07", "--out", "labels.pdf"),
        ("listing", "07-001", "--out", "listing"),
        ("haul", "report", "07", "--out", "report"),
        ("doctor", one),
        ("backup", "--out", "all.zip"),
    ):
        assert reached(*args) == "", args


def test_the_hook_sees_what_it_must(reached):
    asks = (
        "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('127.0.0.1', 9))"
    )
    assert "127.0.0.1" in reached(code=asks)


#: What talks to other computers, of the standard library and of what the tool may have installed.
TALKS = {
    "asyncio", "dask", "distributed", "fastapi", "ftplib", "http", "httpx", "requests", "smtplib", "socket",
    "socketserver", "ssl", "starlette", "telnetlib", "urllib.request", "uvicorn", "websockets", "xmlrpc",
}  # fmt: skip


def talking(path: Path) -> set[str]:
    """What a module imports, wherever in it, that talks to other computers."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return {name for name in names if TALKS & {name, name.partition(".")[0]}}


def test_only_the_cluster_and_the_table_name_what_talks_to_other_computers():
    package = Path(__file__).parents[1] / "grader"
    found = {p.relative_to(package).as_posix() for p in package.rglob("*.py") if talking(p)}
    assert "workers/cluster.py" in found
    assert {name for name in found if not name.startswith("table/")} <= {"workers/cluster.py"}
