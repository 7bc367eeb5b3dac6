"""``grader lots``: lots of a set weight from weighed pieces; and ``grader chips``: bags of chips from a bucket."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import whole_number

lots = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@lots.callback()
def about() -> None:
    """Lots of a set weight: none short, as many as can be, little given away."""


def _weight(text):
    from grader.weight import Weight, grams_of

    if isinstance(text, Weight):
        return text
    try:
        weight = grams_of(text)
    except ValueError as err:
        raise typer.BadParameter(str(err)) from None
    if weight.grams <= 0:
        raise typer.BadParameter(f"{text}: give a weight above 0, as 500g, 1.35lb or 21.6oz")
    return weight


def _weight_option(flag: str, help: str):
    return typer.Option(flag, metavar="WEIGHT", parser=_weight, help=help)


JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON alone.")]


@lots.command("make", short_help="Make up lots of equal weight.")
def make(
    weights: Annotated[
        Path,
        typer.Option(
            "--from", metavar="WEIGHTS.csv", help="A table with the columns piece and weight."
        ),
    ],
    size: Annotated[
        object, _weight_option("--size", "What a lot weighs at least, as 500g or 1lb.")
    ],
    fewest: Annotated[
        int, typer.Option(metavar="N", parser=whole_number(1), help="Pieces in a lot, at least.")
    ] = 1,
    most: Annotated[
        int | None,
        typer.Option(metavar="N", parser=whole_number(1), help="Pieces in a lot, at most."),
    ] = None,
    seed: Annotated[
        int, typer.Option(metavar="N", parser=whole_number(0), help="Another number, other lots.")
    ] = 0,
    json: JsonOption = False,
) -> None:
    """Make up lots of equal weight from loose pieces. Give it pieces of one grade.

    Weigh each finished lot: that weight decides.
    """
    from math import ceil

    from grader.report.lots import lots_lines, lots_record
    from grader.report.result import to_json
    from grader.trade.lots import make_lots
    from grader.weight import read_weights

    if most is not None and most < fewest:
        raise typer.BadParameter(f"{most} is less than --fewest {fewest}", param_hint="--most")
    pieces = read_weights(weights)
    # A part of a gram is left away, and a lot asked for in parts of one is rounded up: so none is short.
    grams = [max(1, int(piece.weight.grams)) for piece in pieces]
    made = make_lots(grams, ceil(size.grams), fewest=fewest, most=most, seed=seed)
    if json:
        typer.echo(to_json(lots_record(made, pieces)))
        return
    for line in lots_lines(made, pieces):
        typer.echo(line)


def chips(
    gross: Annotated[object, _weight_option("--gross", "The full bucket.")],
    bag: Annotated[object, _weight_option("--bag", "What a bag holds, net.")],
    tare: Annotated[object, _weight_option("--tare", "The empty bucket.")] = None,
    packed: Annotated[
        Path | None,
        typer.Option(
            metavar="WEIGHTS.csv", help="What filled bags weigh: columns piece and weight."
        ),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Tell how many bags of chips a bucket fills, what is left, and what a bag may be short by."""
    from decimal import Decimal

    from grader.report.lots import chips_lines, chips_record
    from grader.report.result import to_json
    from grader.trade.chips import bags_of, net_contents
    from grader.weight import read_weights

    try:
        bags = bags_of(gross.grams, tare.grams if tare else Decimal(0), bag.grams)
    except ValueError as err:
        raise typer.BadParameter(str(err), param_hint="--tare") from None
    weighed = [pack.weight.grams for pack in read_weights(packed)] if packed else []
    contents = net_contents(bag.grams, weighed)
    if json:
        typer.echo(to_json(chips_record(bags, contents)))
        return
    for line in chips_lines(bags, contents):
        typer.echo(line)
