"""``grader table``: the sorting table in the browser."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import takes_session, whole_number
from grader.errors import SettingsError

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
        int,
        typer.Option(
            metavar="N", parser=whole_number(0, 65535), help="Which port; 0 for any that is free."
        ),
    ] = 0,
    address_only: Annotated[
        bool,
        typer.Option("--address-only", help="Print the address alone, and open no browser."),
    ] = False,
    *,
    session,
) -> None:
    """Sort in the browser, on this machine alone: look, accept or say otherwise, weigh, next.

    What you say there is kept at once in the same ledger. Ctrl-C ends it.
    """
    try:
        from grader.table.serve import open_socket, serve
    except ModuleNotFoundError as err:
        raise SettingsError(EXTRA) from err
    from grader.table.tray import Tray

    missing = next((path for path in photos or () if not path.exists()), None)
    if missing is not None:
        raise SettingsError(f"{missing}: no such photo or folder; check its name and place")
    tray = Tray(session, photos or ())
    listening = open_socket("127.0.0.1", port)
    address = f"http://127.0.0.1:{listening.getsockname()[1]}/"

    def tell() -> None:
        typer.echo(address if address_only else f"the table is at {address} (Ctrl-C ends it)")
        if not address_only:
            import webbrowser

            webbrowser.open(address)

    serve(tray, [listening], on_open=tell)
