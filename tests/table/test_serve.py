"""``grader table`` as a program: the one line that scripts read, and what it opens."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from grader.table.share import own_address

HOUSE = Path(__file__).parents[2]


@pytest.fixture
def program(tmp_path):
    started = []

    def start(*args):
        command = [sys.executable, "-c", "from grader.cli.main import run; run()", "table", *args]
        env = os.environ | {"PYTHONPATH": str(HOUSE), "XDG_DATA_HOME": str(tmp_path)}
        started.append(
            subprocess.Popen(
                command,
                cwd=tmp_path,
                env=env,
                text=True,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
            )
        )
        return started[-1]

    yield start
    for one in started:
        one.kill()
        one.wait()
        one.stdout.close()
        one.stderr.close()


def listening(pid: int) -> set[str]:
    """The addresses on which a process waits to be asked, in hexadecimal as the system tells them (proc(5))."""
    links = [Path(f"/proc/{pid}/fd", fd) for fd in os.listdir(f"/proc/{pid}/fd")]
    inodes = {
        os.readlink(link)[8:-1]
        for link in links
        if link.is_symlink() and os.readlink(link).startswith("socket:")
    }
    found = set()
    for kind in ("tcp", "tcp6", "udp", "udp6"):
        for line in Path(f"/proc/{pid}/net/{kind}").read_text().splitlines()[1:]:
            fields = line.split()
            # 0A: listening; a datagram socket that is bound stands as 07.
            if fields[9] in inodes and fields[3] in ("0A", "07"):
                found.add(fields[1].partition(":")[0])
    return found


@pytest.mark.slow
@pytest.mark.skipif(
    not Path("/proc/self/net/tcp").exists(), reason="this system does not tell its sockets"
)
def test_it_prints_one_line_with_the_address_opens_nothing_but_loopback_and_ends(program):
    table = program("--port", "0", "--address-only")
    address = table.stdout.readline().strip()
    assert httpx.get(address, trust_env=False).status_code == 200
    assert listening(table.pid) == {"0100007F"}  # 127.0.0.1, lowest byte first
    table.send_signal(signal.SIGINT)
    rest, said = table.communicate(timeout=60)
    assert (rest, table.returncode) == ("", 0)
    assert "Traceback" not in said


@pytest.mark.slow
@pytest.mark.skipif(
    not Path("/proc/self/net/tcp").exists() or own_address() is None,
    reason="this system does not tell its sockets, or is in no network",
)
def test_shared_it_opens_this_machines_own_address_beside_loopback_and_no_other(program):
    table = program("--port", "0", "--address-only", "--share")
    assert table.stdout.readline()
    own = bytes(reversed(socket.inet_aton(own_address()))).hex().upper()
    assert listening(table.pid) == {"0100007F", own}


@pytest.mark.slow
def test_a_port_that_is_taken_is_told_in_one_line(program):
    first = program("--port", "0", "--address-only")
    port = first.stdout.readline().strip().rpartition(":")[2].strip("/")
    second = program("--port", port, "--address-only")
    out, said = second.communicate(timeout=120)
    assert (out, second.returncode) == ("", 2)
    assert said.splitlines()[0].startswith(f"grader: port {port}: cannot be used")
