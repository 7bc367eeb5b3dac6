"""Who may speak with the table, and what its pages may do: loopback alone, unless it is shared."""

import re
from collections.abc import Callable
from secrets import compare_digest

from grader.table.share import COOKIE, Sharing, is_loopback
from grader.table.uploads import MOST_PART

#: A page that shows pictures and speaks with its own server, and does nothing else.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
#: No word on a stone is longer.
MOST_BYTES = 64_000
#: Parts of photos come as they are, to these addresses alone.
_PARTS = re.compile(r"/api/photos/[0-9a-f]{32}/part")


class Guard:
    """Stands before the application: refuses what does not come from its own pages.

    hosts : by which the pages may be asked for on this machine, with the port.   sharing : ``None`` where the table is
    for this machine alone.
    """

    def __init__(
        self, app: Callable, hosts: frozenset[str], sharing: Sharing | None = None
    ) -> None:
        self._app, self._hosts, self._sharing = app, hosts, sharing

    async def __call__(self, scope, receive, send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1")
            for name, value in scope["headers"]
        }
        refused = self._why_not(scope, headers)
        if refused:
            await _refuse(send, *refused)
            return

        async def guarded(message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                more = [
                    (n.encode(), v.encode()) for n, v in _HEADERS.items() if n.encode() not in given
                ]
                if b"cache-control" not in given:
                    more.append((b"cache-control", b"no-store"))
                message = message | {"headers": [*message["headers"], *more]}
            await send(message)

        await self._app(scope, receive, guarded)

    def _why_not(self, scope, headers: dict[str, str]) -> tuple[int, str] | None:
        """Status and reason where a request is refused."""
        host = headers.get("host", "")
        if refused := self._why_not_there(scope, host, headers):
            return refused
        site, mode = headers.get("sec-fetch-site"), headers.get("sec-fetch-mode")
        if scope["method"] in ("GET", "HEAD"):
            if site in ("cross-site", "same-site") and mode != "navigate":
                return 403, "asked for by another page"
            return None
        if scope["method"] != "POST":
            return 405, "this way of asking is not known here"
        if headers.get("origin") != f"http://{host}" or site not in (None, "same-origin"):
            return 403, "sent by another page"
        return _why_not_taken(scope["path"], headers)

    def _why_not_there(self, scope, host: str, headers: dict[str, str]) -> tuple[int, str] | None:
        client = (scope.get("client") or ("", 0))[0]
        if is_loopback(client):
            if host in self._hosts:
                return None
            return 403, "open the page by the address that `grader table` printed"
        if self._sharing is None:
            return 403, "this table is for its own machine alone"
        if host not in self._sharing.hosts:
            return 403, "open the page by the address that `grader table --share` printed"
        if scope["path"] == "/enter":
            return None
        if not self._sharing.knows(_cookie(headers.get("cookie", ""))):
            return (
                403,
                "this phone is not known here: let the person at the computer show you a new code",
            )
        return None


def _why_not_taken(path: str, headers: dict[str, str]) -> tuple[int, str] | None:
    """Status and reason where what is sent is of the wrong kind or too long."""
    part = _PARTS.fullmatch(path)
    kind = headers.get("content-type", "").partition(";")[0].strip()
    if kind != ("application/octet-stream" if part else "application/json"):
        return 415, "send a part of a photo as it is" if part else "send JSON"
    length = headers.get("content-length", "")
    if not length.isascii() or not length.isdigit():
        return 411, "say how long it is"
    if len(length) > 9 or int(length) > (MOST_PART if part else MOST_BYTES):
        return 413, "too long"
    return None


def _cookie(header: str) -> str:
    """The value of the table's cookie."""
    for part in header.split(";"):
        name, _, value = part.strip().partition("=")
        if compare_digest(name.encode(), COOKIE.encode()):
            return value
    return ""


async def _refuse(send, status: int, why: str) -> None:
    body = f"Not here: {why}.\n".encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
    ]
    headers += [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
