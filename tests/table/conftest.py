"""A table laid with hand-made stones: nothing is measured, all else is as it is."""

import os
import shutil

import anyio
import httpx
import pytest

from grader.looking import look_at_all
from grader.looks import ask_for, shown
from grader.photo.terms import PhotoTerms
from grader.session import Session
from grader.table.serve import guarded_app, hosts_of
from grader.table.tray import Tray

PORT = 8000
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
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

        return anyio.run(ask)

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


@pytest.fixture(scope="module")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not os.path.exists(CHROMIUM):
        if os.environ.get("CI"):
            pytest.fail("chromium is not installed; CI needs it")
        pytest.skip("chromium is not installed; the table is not tried in a browser")
    with playwright.sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()
