"""The table opened on this machine: a socket on loopback, the server on it, and its end."""

import os
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from grader.errors import SettingsError
from grader.table.adding import Adding
from grader.table.app import table_app
from grader.table.guard import Guard
from grader.table.share import Sharing
from grader.table.tray import Tray
from grader.table.uploads import Uploads

LOOPBACK = "127.0.0.1"


def open_socket(host: str, port: int) -> socket.socket:
    """Return a socket that listens there; port 0 takes any that is free.

    Raises
    ------
    SettingsError
        The port is taken or may not be used: one line.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            # So that it can begin again at once; on Windows it would let two programs have one port.
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(64)
    except (OSError, OverflowError) as err:
        listening.close()
        why = getattr(err, "strerror", None) or err
        raise SettingsError(
            f"port {port}: cannot be used ({why}); give another with --port"
        ) from err
    return listening


def hosts_of(port: int) -> frozenset[str]:
    """Return the names by which this machine calls itself, with a port."""
    return frozenset(f"{name}:{port}" for name in (LOOPBACK, "localhost"))


def guarded_app(
    tray: Tray, hosts: frozenset[str], sharing: Sharing | None = None, adding: Adding | None = None
) -> Guard:
    """Return the application behind its guard."""
    return Guard(table_app(tray, sharing, adding), hosts, sharing)


def serve(
    tray: Tray,
    sockets: list[socket.socket],
    sharing: Sharing | None = None,
    on_open: Callable[[], None] = lambda: None,
    watched: Path | None = None,
) -> None:
    """Serve the table until it is ended with Ctrl-C.

    sockets : the first one on loopback.   on_open : called once pages are answered.
    watched : a folder whose new photos are graded too.
    """
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets=None) -> None:
            await super().startup(sockets=sockets)
            on_open()

    hosts = hosts_of(sockets[0].getsockname()[1])
    adding = Adding(tray, Uploads(tray.ledger.path), watched)
    config = uvicorn.Config(
        guarded_app(tray, hosts, sharing, adding), log_level="warning", access_log=False, server_header=False,
        date_header=False, timeout_graceful_shutdown=2, proxy_headers=False,
    )  # fmt: skip
    tray.lay()
    adding.begin()
    try:
        with suppress(KeyboardInterrupt):
            Server(config).run(sockets=sockets)
    finally:
        adding.end()
        tray.clear_away()
        for one in sockets:
            one.close()
