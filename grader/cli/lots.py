"""``grader lots``: lots of a set weight from weighed pieces; and ``grader chips``: bags of chips from a bucket."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    takes_session,
    whole_number,
    words,
)
from grader.cli.weights import weight_option

lots = typer.Typer(no_args_is_help=True, rich_markup_mode=None, add_completion=False)


@lots.callback()
def about() -> None:
    """Lots of a set weight: none short, as many as can be, little given away."""


@lots.command("make", short_help="Make up lots of equal weight.")
@takes_session
def make(
    size: Annotated[object, weight_option("--size", "What a lot weighs at least, as 500g or 1lb.")],
    haul: Annotated[
        str | None,
        typer.Option(metavar="07", callback=words, help="Of the loose pieces of that haul."),
    ] = None,
    grade: Annotated[
        str | None,
        typer.Option(metavar="G", callback=words, help="With --haul: of pieces of that grade."),
    ] = None,
    size_class: Annotated[
        str | None,
        typer.Option(
            "--class", metavar="40x30", callback=words, help="Only of that size class of faces."
        ),
    ] = None,
    weights: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="WEIGHTS.csv", help="A table with the columns piece and weight."
        ),
    ] = None,
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
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Make up lots of equal weight from loose pieces of one grade: of a haul, where they are kept as lots with numbers,
    or of a table, where nothing is kept.

    Weigh each finished lot (grader weigh 07-L1 503g): that weight decides.
    """
    from grader.deals.lots import LotRules, lots_of
    from grader.report.json_text import to_json
    from grader.report.lots import lots_lines, lots_record
    from grader.weight import read_weights

    if most is not None and most < fewest:
        raise typer.BadParameter(f"{most} is less than --fewest {fewest}", param_hint="--most")
    if (haul is None) == (weights is None):
        raise typer.BadParameter("give --haul or --from, one of them", param_hint="--haul")
    if haul is None and size_class is not None:
        raise typer.BadParameter("goes with --haul", param_hint="--class")
    if (haul is None) != (grade is None):
        raise typer.BadParameter("goes with --haul, and --haul with it", param_hint="--grade")
    rules = LotRules(size.grams, fewest, most, seed)
    if haul is not None:
        _keep((haul, grade, size_class), rules, by or session.settings.by, json, session)
        return
    pieces = read_weights(weights, session.settings.unit)
    made = lots_of(pieces, rules)
    if json:
        typer.echo(to_json(lots_record(made, pieces)))
        return
    for line in lots_lines(made, pieces):
        typer.echo(line)


def _keep(of: tuple, rules, by: str | None, json: bool, session) -> None:
    haul, grade, size_class = of
    from grader.deals.grades import known_grades
    from grader.deals.lots import keep_lots
    from grader.report.json_text import to_json
    from grader.report.lots import kept_lines, kept_record

    if grade not in session.profile.grades:
        raise typer.BadParameter(
            f"{grade}: no grade of your ladder; one of {', '.join(session.profile.grades)}",
            param_hint="--grade",
        )
    ledger = session.need_ledger("keeping lots")
    grades = known_grades(session, haul)
    of_grade = [
        uid for uid, one in grades.items() if one.grade == grade and size_class in (None, one.size)
    ]
    done = keep_lots(ledger, haul, grade, of_grade, rules, by)
    kept = done.made, done.pieces, done.codes, done.left_out
    if json:
        typer.echo(to_json(kept_record(*kept)))
        return
    for line in kept_lines(*kept):
        typer.echo(line)


@takes_session
def chips(
    gross: Annotated[object, weight_option("--gross", "The full bucket.")],
    bag: Annotated[object, weight_option("--bag", "What a bag holds, net.")],
    tare: Annotated[object, weight_option("--tare", "The empty bucket.")] = None,
    packed: Annotated[
        Path | None,
        typer.Option(
            metavar="WEIGHTS.csv", help="What filled bags weigh: columns piece and weight."
        ),
    ] = None,
    rule: Annotated[
        str | None,
        typer.Option(
            metavar="EU|US",
            callback=words,
            help="Whose table says what a bag may be short by; the US one is from memory.",
        ),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Tell how many bags of chips a bucket fills, what is left, and what a bag may be short by."""
    from decimal import Decimal

    from grader.report.json_text import to_json
    from grader.report.lots import chips_lines, chips_record
    from grader.trade.chips import RULES, bags_of, net_contents
    from grader.weight import read_weights

    try:
        bags = bags_of(gross.grams, tare.grams if tare else Decimal(0), bag.grams)
    except ValueError as err:
        raise typer.BadParameter(str(err), param_hint="--tare") from None
    weighed = (
        [pack.weight.grams for pack in read_weights(packed, session.settings.unit)]
        if packed
        else []
    )
    rule = rule.upper() if rule else session.settings.net_contents
    if rule not in RULES:
        raise typer.BadParameter(f"{rule}: one of {', '.join(RULES)}", param_hint="--rule")
    contents = net_contents(bag.grams, weighed, rule)
    if json:
        typer.echo(to_json(chips_record(bags, contents, rule)))
        return
    for line in chips_lines(bags, contents, rule):
        typer.echo(line)
