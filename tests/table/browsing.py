"""What tests of the table in a browser share: the program itself, to be killed; waiting for what must come; one photo
as many."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx

from grader.looks import Ask, Look, photo_file
from grader.session import Session

HOUSE = Path(__file__).parents[2]
#: A loaded machine is slow; these wait for what must come, they do not measure.
PATIENCE_S = 180


def as_photo(look: Look, ask: Ask) -> Look:
    """A look as if another photo, the same px for px, had been looked at."""
    photo = look.record["photo"] | {"sha256": ask.sha256, "file": ask.file}
    record = look.record | {
        "photo": photo,
        "photos": [look.record["photos"][0] | {"sha256": ask.sha256, "file": ask.file}],
    }
    file = photo_file(ask.path, ask.sha256, photo["width"], photo["height"])
    return replace(look, ask=ask, record=record, files=(file,), uid=None)


@contextmanager
def ledger_of(path: Path) -> Iterator:
    """The ledger that a program writes, read from beside it."""
    session = Session(ledger=path)
    try:
        yield session.need_ledger("a test")
    finally:
        session.close()


class Program:
    """``grader table`` as a program of its own, that can be killed and started again under the same address."""

    def __init__(self, folder: Path, args: Sequence[str] = ()) -> None:
        self._folder, self._args, self.address = folder, args, ""
        self.start()

    def start(self) -> None:
        port = self.address.rpartition(":")[2].strip("/") or "0"
        command = "from grader.cli.main import run; run()"
        self._running = subprocess.Popen(
            [sys.executable, "-c", command, "table", "--port", port, "--address-only", *self._args],
            cwd=self._folder,
            env=os.environ | {"PYTHONPATH": str(HOUSE), "XDG_DATA_HOME": str(self._folder)},
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self.address = self._running.stdout.readline().strip()
        assert self.address

    def kill(self) -> None:
        if self._running.poll() is None:
            self._running.send_signal(signal.SIGKILL)
        self._running.wait()
        self._running.stdout.close()

    def photos(self) -> dict[str, str]:
        """The state of each photo that was added, by name."""
        got = httpx.get(f"{self.address}api/photos", trust_env=False, timeout=60).json()
        return {one["name"]: one["state"] for one in got["photos"]}


def opened_page(browser, address: str, who: str, faults: list, **looks):
    """Open a page, say who sorts, and put down what goes wrong on it from then on."""
    context = browser.new_context(**({"viewport": {"width": 1280, "height": 800}} | looks))
    page = context.new_page()
    page.set_default_timeout(PATIENCE_S * 1000)
    page.on("pageerror", lambda err: faults.append(str(err)))
    page.on(
        "console",
        lambda said: faults.append(said.text) if "Content Security" in said.text else None,
    )
    # Nothing but the table itself is asked for anything.
    page.on(
        "request",
        lambda asked: (
            None if asked.url.startswith((address, "data:")) else faults.append(asked.url)
        ),
    )
    page.goto(address)
    page.fill("#who-name", who)
    page.keyboard.press("Enter")
    page.wait_for_selector("#words .head")
    return page


def wait_for(fact, patience_s: float = PATIENCE_S) -> None:
    """Wait for what must come."""
    until = time.monotonic() + patience_s
    while not fact():
        assert time.monotonic() < until
        time.sleep(0.1)


def wait_until_sent(page) -> None:
    """Wait until no word waits in the browser."""
    page.wait_for_function(
        "() => Object.keys(localStorage).every(key => !key.startsWith('grader-table:word:'))"
    )


def wait_for_next(page, before: str) -> None:
    """Wait until another stone is shown than that of this name."""
    page.wait_for_function(
        """before => {
          const now = document.querySelector('#words .name')?.innerText;
          return now && now !== before;
        }""",
        arg=before,
    )
