"""``grader table``: the sorting table in the browser."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import takes_session, whole_number
from grader.errors import SettingsError

#: Always the same one where it is free: what a page has kept and not sent is found again under its address alone.
USUAL_PORT = 8420
#: What the table needs beside the commands.
EXTRA = "the table needs more: pip install 'stone-face-grader[table]'"


@takes_session
def table(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[PHOTOS]", help="Photos or folders to lay out; all of the ledger by default."
        ),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            parser=whole_number(0, 65535),
            help=f"Which port; 0 for any that is free, {USUAL_PORT} by default.",
        ),
    ] = None,
    address_only: Annotated[
        bool,
        typer.Option("--address-only", help="Print the address alone, and open no browser."),
    ] = False,
    share: Annotated[
        bool,
        typer.Option(
            "--share", help="Let phones in the same house in too, each by a code that holds once."
        ),
    ] = False,
    watch: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Grade the photos that come to lie in that folder, too."),
    ] = None,
    *,
    session,
) -> None:
    """Sort in the browser, on this machine alone: look, accept or say otherwise, weigh, next.

    What you say there is kept at once in the same ledger. Ctrl-C ends it.
    """
    try:
        if watch is not None:
            import watchfiles  # noqa: F401

        from grader.table.serve import open_socket, serve
    except ModuleNotFoundError as err:
        raise SettingsError(EXTRA) from err
    from grader.table.tray import Tray

    missing = next((path for path in photos or () if not path.exists()), None)
    if missing is not None:
        raise SettingsError(f"{missing}: no such photo or folder; check its name and place")
    if watch is not None and not watch.is_dir():
        raise SettingsError(f"{watch}: no such folder; name the one that photos come to")
    tray = Tray(session, photos or ())
    sockets = [open_socket("127.0.0.1", USUAL_PORT if port is None else port)]
    port = sockets[0].getsockname()[1]
    address = f"http://127.0.0.1:{port}/"
    sharing = _shared(sockets, port) if share else None

    def tell() -> None:
        typer.echo(address if address_only else f"the table is at {address} (Ctrl-C ends it)")
        if sharing is not None:
            _tell_shared(sharing)
        if not address_only:
            import webbrowser

            webbrowser.open(address)

    serve(tray, sockets, sharing, on_open=tell, watched=watch)


def _shared(sockets: list, port: int):
    """Listen in the house's network too, and return who is let in."""
    from grader.table.serve import open_socket
    from grader.table.share import Sharing, own_address

    own = own_address()
    if own is None:
        raise SettingsError(
            "--share: this computer is in no network; join the one your phone is in"
        )
    sockets.append(open_socket(own, port))
    return Sharing(frozenset({f"{own}:{port}"}))


def _tell_shared(sharing) -> None:
    from grader.table.share import code_rows, code_text, entrance

    (host,) = sharing.hosts
    typer.echo(code_text(code_rows(entrance(host, sharing))), err=True)
    typer.echo(
        f"shared at {host}: whoever scans this code in your network is let in, one device, within ten minutes; it sees "
        "all stones and may call and weigh until Ctrl-C. Nothing is encrypted: in your own house only",
        err=True,
    )
