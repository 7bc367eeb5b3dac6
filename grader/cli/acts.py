"""``grader undo``, ``history`` and ``break``."""

from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    takes_session,
    whole_number,
)
from grader.cli.weights import weight_option

PieceArgument = Annotated[str, typer.Argument(metavar="07-113", help="The piece.")]


@takes_session
def undo(by: ByOption = None, json: JsonOption = False, *, session) -> None:
    """Take back your own last act with trips, hauls, weights, lots, prices or sales, and name it. Both stay in the
    ledger; again takes back the one before. Calls have an --undo of their own."""
    from grader.deals.acts import undo
    from grader.report.deeds import deed_record, undone_lines
    from grader.report.json_text import to_json

    ledger = session.need_ledger("undo")
    taken, codes = undo(ledger, by or session.settings.by)
    if json:
        typer.echo(to_json([deed_record(entry, codes) for entry in taken]))
        return
    for line in undone_lines(taken, codes):
        typer.echo(line)


@takes_session
def history(
    code: Annotated[str, typer.Argument(metavar="07-113", help="The piece or lot.")],
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Tell all that was done with a piece or lot, in order, also what was taken back."""
    from grader.deals.acts import codes_of, history_of
    from grader.deals.weighing import whole_code
    from grader.report.deeds import history_lines, line_record
    from grader.report.json_text import to_json

    ledger = session.need_ledger("a history")
    lines = history_of(ledger, whole_code(code, None))
    codes = codes_of(ledger, [line.entry for line in lines])
    if json:
        typer.echo(to_json([line_record(line, codes) for line in lines]))
        return
    for line in history_lines(lines, codes):
        typer.echo(line)


@takes_session
def break_(
    code: PieceArgument,
    into: Annotated[
        int,
        typer.Option(metavar="N", parser=whole_number(1, 99), help="How many parts are there now."),
    ],
    loss: Annotated[object, weight_option("--loss", "What was lost as chips and dust.")] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep that a piece was broken: it is closed; its parts get numbers of their own, and no grade or weight yet."""
    from grader.deals.breaking import break_piece
    from grader.deals.weighing import whole_code
    from grader.ledger.listings import closed_by, open_of
    from grader.report.cautions import BREAK_CAUTIONS, caution_lines
    from grader.report.json_text import to_json
    from grader.report.listing_state import closed_line
    from grader.report.stock import broken_lines

    whole = whole_code(code, None)
    ledger = session.need_ledger("breaking")
    listed = open_of(ledger, [whole])
    parts = break_piece(ledger, whole, into, loss, by or session.settings.by)
    for one in closed_by(listed, ledger):
        typer.echo(closed_line(one, one.closed), err=True)
    if json:
        typer.echo(to_json({"closed": whole, "parts": parts}))
    else:
        for line in broken_lines(whole, parts):
            typer.echo(line)
    for line in caution_lines(BREAK_CAUTIONS):
        typer.echo(line, err=True)
