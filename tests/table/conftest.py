"""A table laid with hand-made stones: nothing is measured, all else is as it is; and the program, to be killed."""

import importlib
import os
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Thread

import anyio
import httpx
import pytest
from browsing import Program, opened_page

from grader.looking import look_at_all
from grader.looks import ask_for, shown
from grader.photo.terms import PhotoTerms
from grader.session import Session
from grader.table.serve import guarded_app, hosts_of, open_socket
from grader.table.tray import Tray

PORT = 8000
HERE = f"http://127.0.0.1:{PORT}"


class Asking:
    """A client of the application without a network; by default it is a page on this machine."""

    def __init__(self, app, client: str = "127.0.0.1") -> None:
        self._app, self._client = app, client

    def __call__(self, method: str, path: str, headers=None, **given) -> httpx.Response:
        async def ask():
            transport = httpx.ASGITransport(self._app, client=(self._client, 50000))
            async with httpx.AsyncClient(transport=transport, base_url=HERE) as client:
                return await client.request(method, path, headers=headers, **given)

        # In a thread of its own: a browser that other tests left open has a loop in this one.
        with ThreadPoolExecutor(1) as thread:
            return thread.submit(anyio.run, ask).result()

    def get(self, path: str, **given) -> httpx.Response:
        return self("GET", path, **given)

    def post(self, path: str, body, headers=None) -> httpx.Response:
        return self("POST", path, headers={"origin": HERE} | (headers or {}), json=body)


@pytest.fixture
def laid(tmp_path, monkeypatch, measuring, ledgers_copied):
    """Return a function that looks at photos, given as name and content, and lays a table with all of them."""
    monkeypatch.chdir(tmp_path)
    sessions = []

    def lay(photos=None, *, session=None) -> Tray:
        session = session or Session(ledger=tmp_path / "table.sqlite")
        sessions.append(session)
        ledger = session.need_ledger("a test")
        for name, content in (photos or {}).items():
            path = tmp_path / name
            path.write_text(content)
            ((_, look),) = look_at_all(
                [ask_for(path, PhotoTerms(), ledger)], session.profile, ledger
            )
            shown([look], ledger)
        tray = Tray(session)
        tray.lay().join()
        assert tray.progress.error is None
        return tray

    yield lay
    for session in sessions:
        session.close()


@pytest.fixture
def ask():
    """Return a function that makes a client of a table."""

    def of(tray: Tray, client: str = "127.0.0.1", sharing=None, adding=None) -> Asking:
        return Asking(guarded_app(tray, hosts_of(PORT), sharing, adding), client)

    return of


def numbered(count: int, content: str = "1") -> dict[str, str]:
    """Photos of one stone each, no two alike."""
    return {f"IMG_{n:04}.jpg": f"{content} photo {n}" for n in range(count)}


@pytest.fixture
def program(tmp_path):
    """Return a function that starts the program in a folder; it is ended after the test."""
    running = []

    def start(folder: Path = tmp_path, args: Sequence[str] = ()) -> Program:
        running.append(Program(folder, args))
        return running[-1]

    yield start
    for one in running:
        one.kill()


@pytest.fixture
def shots(tmp_path) -> Path:
    """Where screenshots go: the folder ``SCREENSHOTS``, where that is given, so that they outlive the test."""
    folder = Path(os.environ.get("SCREENSHOTS") or tmp_path / "shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


class Served:
    """A table served on loopback, which can be taken out of reach and brought back under the same address."""

    def __init__(self, tray) -> None:
        self._tray, self.port = tray, 0
        self.up()

    def up(self) -> None:
        import uvicorn

        self._socket = open_socket("127.0.0.1", self.port)
        self.port = self._socket.getsockname()[1]
        app = guarded_app(self._tray, hosts_of(self.port))
        config = uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = Thread(target=self._server.run, kwargs={"sockets": [self._socket]})
        self._thread.start()
        while not self._server.started:
            time.sleep(0.02)

    def down(self) -> None:
        self._server.should_exit = True
        self._thread.join()
        self._socket.close()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/"


@pytest.fixture
def served(laid):
    opened = []

    def serve(count: int, content: str = "1", tray: Tray | None = None) -> Served:
        tray = tray or laid({f"IMG_{n:04}.jpg": f"{content} photo {n}" for n in range(count)})
        opened.append(Served(tray))
        return opened[-1]

    yield serve
    for one in opened:
        one.down()


@pytest.fixture
def opened(chromium):
    """Return a function that opens a page and says who sorts; at the end, none may have met a fault or a stranger."""
    contexts, faults = [], []

    def at(served: Served, who: str, **looks):
        page = opened_page(chromium, served.address, who, faults, **looks)
        contexts.append(page.context)
        return page

    yield at
    for context in contexts:
        context.close()
    assert faults == []


@pytest.fixture
def importable():
    """Return a function that gives a package of the tests' own; in CI it must be there."""

    def get(name: str):
        if os.environ.get("CI"):
            return importlib.import_module(name)
        return pytest.importorskip(name, reason=f"{name} is not installed")

    return get
