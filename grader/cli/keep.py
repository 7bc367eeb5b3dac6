"""``grader keep-or-break``: what a piece comes to whole and broken, and how it may part."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import JsonOption, check_picture, takes_session
from grader.cli.weights import weight_option


@takes_session
def keep_or_break(
    code: Annotated[str, typer.Argument(metavar="07-113", help="The piece.")],
    parts_of: Annotated[
        object, weight_option("--parts-of", "What a part should weigh, as 300g or 0.5lb.")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the break plan and both values as a picture."),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Weigh a piece whole against the same piece broken along its parting lines, by your price table; nothing is kept.

    Advice is given only where the difference is larger than its doubt. The break plan tells where to strike, and the
    several ways in which the stone may part.
    """
    check_picture(picture, [])
    from grader.deals.keeping import keep_or_break
    from grader.deals.weighing import whole_code
    from grader.report.json_text import to_json
    from grader.report.keep import keep_record, keep_text
    from grader.report.keep_picture import draw_keep
    from grader.report.overlay import write_picture

    unit = session.settings.unit
    plan = keep_or_break(session, whole_code(code, None), parts_of and parts_of.grams)
    typer.echo(to_json(keep_record(plan)) if json else keep_text(plan, unit))
    if picture:
        write_picture(picture, draw_keep(plan, unit))
