"""``grader parcel``: which of your boxes takes what you send, and whether lifting it wants care."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import ByOption, JsonOption, takes_session, words
from grader.cli.selling import items_of


@takes_session
def parcel(
    codes: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="07-113...", help="Pieces, lots and parts of bins (07-B1=5lb) that go together."
        ),
    ] = None,
    to: Annotated[
        str, typer.Option(metavar="PLACE", callback=words, help="Where to, as your boxes name it.")
    ] = "domestic",
    boxes: Annotated[
        Path | None,
        typer.Option(metavar="BOXES.toml", help="Keep this table of boxes, from its day on."),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Tell which of your boxes takes these pieces, by weight and by volume, or how they go in several parcels. Limits
    are those that you typed, with their day; what the post takes is for the post to say."""
    from grader.deals.parcels import parcel_of, set_boxes
    from grader.report.json_text import to_json
    from grader.report.parcel import boxes_lines, parcel_lines, parcel_record

    ledger = session.need_ledger("a parcel")
    if boxes is None and not codes:
        raise typer.BadParameter("name pieces, or --boxes with your table", param_hint="07-113...")
    if boxes is not None:
        from grader.checks import text_of

        kept = set_boxes(ledger, text_of(boxes), str(boxes), by or session.settings.by)
        for line in boxes_lines(kept):
            typer.echo(line, err=True)
    if not codes:
        return
    told = parcel_of(ledger, items_of(codes, session), to, date.today().isoformat())
    if json:
        typer.echo(to_json(parcel_record(told)))
    else:
        for line in parcel_lines(told, session.settings.unit):
            typer.echo(line)
    for line in _care_lines(ledger, told, session.settings.unit):
        typer.echo(line, err=True)


def _care_lines(ledger, told, unit: str) -> list[str]:
    """What the limits and the weight of each parcel say, each line once."""
    from grader.deals.limits import parcel_against
    from grader.report.cautions import lift_lines
    from grader.report.limits import warning_lines

    parcels, today = told.parts or (told,), date.today().isoformat()
    warned = [warning_lines(parcel_against(ledger, one.gross_g, today), unit) for one in parcels]
    lifted = [lift_lines(one.gross_g) for one in parcels]
    return list(dict.fromkeys(line for lines in (*warned, *lifted) for line in lines))
