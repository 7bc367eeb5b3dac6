"""``grader weigh``: pieces and lots weighed, one, from a table, or one after the other."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    takes_session,
    words,
)
from grader.cli.weights import weight_in_words, weight_option


@takes_session
def weigh(
    code: Annotated[
        str | None, typer.Argument(metavar="07-113", help="The piece or lot; none to type many.")
    ] = None,
    weight: Annotated[
        list[str] | None,
        typer.Argument(metavar="WEIGHT", help="As 612g, 1,35 lb or 21.6oz."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="WEIGHTS.csv", help="A table with the columns piece and weight."
        ),
    ] = None,
    haul: Annotated[
        str | None,
        typer.Option(
            metavar="07", callback=words, help="Of numbers typed without one: 113 for 07-113."
        ),
    ] = None,
    tare: Annotated[object, weight_option("--tare", "What the container weighs by itself.")] = None,
    wet: Annotated[bool, typer.Option("--wet", help="Weighed wet; it stays marked so.")] = False,
    scale: Annotated[
        str | None,
        typer.Option(metavar="NAME", callback=words, help="Which scale, by your own name for it."),
    ] = None,
    guessed: Annotated[
        bool, typer.Option("--guessed", help="A guess; it stays marked so.")
    ] = False,
    new: Annotated[
        bool, typer.Option("--new", help="Number pieces that have no photo yet.")
    ] = False,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep what pieces and finished lots weigh; the last weight counts.

    Without a piece: type number, blank, weight, and press enter, one after the other; an empty line ends it.
    """
    from grader.deals.weighing import Weighing, read_weighings, weigh

    weight = weight_in_words(weight)
    if table is not None and code is not None:
        raise typer.BadParameter("give a piece or a table, not both", param_hint="--from")
    if code is not None and weight is None:
        raise typer.BadParameter("say what it weighs, as 1.35lb", param_hint="WEIGHT")
    ledger, by = session.need_ledger("weighing"), by or session.settings.by
    marks = {"tare": tare, "wet": wet, "guessed": guessed, "scale": scale}
    if table is not None:
        rows = read_weighings(table, haul, session.settings.unit, **marks)
        _tell(weigh(ledger, rows, by, number_new=new), json, session)
    elif code is not None:
        row = Weighing(_whole(code, haul), weight, **marks)
        _tell(weigh(ledger, [row], by, number_new=new), json, session)
    else:
        _sitting(ledger, by, haul, marks, new, json, session)


def _whole(code: str, haul: str | None) -> str:
    from grader.deals.weighing import whole_code

    return whole_code(code, haul)


def _sitting(ledger, by, haul, marks: dict, new: bool, json: bool, session) -> None:
    """Weights typed line by line: each is kept at once, and what is wrong with one does not end it."""
    from grader.deals.acts import undo
    from grader.deals.weighing import read_typed, weigh
    from grader.errors import GraderError

    typer.echo(
        "number, blank, weight, enter; undo takes the last one back; an empty line ends it",
        err=True,
    )
    kept = 0
    for line in typer.get_text_stream("stdin"):
        if not line.strip():
            break
        try:
            if line.strip() == "undo":
                if not kept:
                    raise GraderError("nothing typed here is left to take back")
                undo(ledger, by)
                kept -= 1
                typer.echo("taken back")
                continue
            row = read_typed(line, haul, session.settings.unit, **marks)
            _tell(weigh(ledger, [row], by, number_new=new), json, session)
            kept += 1
        except GraderError as err:
            typer.echo(f"not kept: {err}", err=True)
    typer.echo(f"{kept} weighed", err=True)


def _tell(weighed, json: bool, session) -> None:
    from grader.deals.sizes import heavier_than_haul, odd_weights
    from grader.report.cautions import lift_lines
    from grader.report.json_text import to_json
    from grader.report.sizes import odd_lines, over_haul_lines
    from grader.report.stock import weighed_lines, weighed_record

    if json:
        typer.echo(to_json([weighed_record(one) for one in weighed]))
    else:
        for line in weighed_lines(weighed, session.settings.unit):
            typer.echo(line)
    ledger = session.need_ledger("weighing")
    for line in odd_lines(odd_weights(ledger, weighed, session.settings), session.settings.unit):
        typer.echo(line, err=True)
    for line in over_haul_lines(heavier_than_haul(ledger, weighed), session.settings.unit):
        typer.echo(line, err=True)
    for line in lift_lines(max((one.net_g for one in weighed), default=0)):
        typer.echo(line, err=True)
