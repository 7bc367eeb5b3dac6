"""``grader trip``: trips to dig, begun and listed."""

from datetime import date
from typing import Annotated

import typer

from grader.cli.calls import day
from grader.cli.options import (
    ByOption,
    JsonOption,
    number,
    takes_session,
    whole_number,
    words,
)
from grader.cli.weights import some_money, weight_option

trip = typer.Typer(no_args_is_help=True, rich_markup_mode=None, add_completion=False)


@trip.callback()
def about() -> None:
    """Trips to dig: where, how long, with how many hands, by what right."""


def _words_option(help: str):
    return typer.Option(metavar="T", callback=words, help=help)


@trip.command("new", short_help="Begin a trip.")
@takes_session
def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call it.")],
    begins: Annotated[
        date | None, typer.Option(metavar="DATE", parser=day, help="Its day; today by default.")
    ] = None,
    spot: Annotated[
        str | None, _words_option("Where on the claim, as you would tell a buyer.")
    ] = None,
    seam: Annotated[str | None, _words_option("The seam or layer.")] = None,
    hours: Annotated[
        float | None,
        typer.Option(metavar="H", parser=number(0.01, 10_000), help="Hours of digging."),
    ] = None,
    hands: Annotated[
        int | None, typer.Option(metavar="N", parser=whole_number(1), help="People who dig.")
    ] = None,
    target: Annotated[object, weight_option("--target", "What you want to bring home.")] = None,
    right: Annotated[
        str | None, _words_option("Your right to dig there: permit, claim, owner's word, limits.")
    ] = None,
    place: Annotated[
        str | None, _words_option("The exact place: for you alone, shown to nobody.")
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Begin a trip, and print its number."""
    from decimal import Decimal

    from grader.deals.hauls import new_trip, typed
    from grader.report.cautions import TRIP_CAUTIONS, caution_lines
    from grader.report.json_text import to_json
    from grader.report.stock import trip_lines, trip_record

    if words(name) is None:
        raise typer.BadParameter("give the trip a name", param_hint="NAME")
    begun = new_trip(
        session.need_ledger("a trip"),
        words(name),
        (begins or date.today()).isoformat(),
        by or session.settings.by,
        spot=spot,
        seam=seam,
        hours=None if hours is None else Decimal(f"{hours:g}"),
        hands=hands,
        target=target and typed(target),
        right=right,
        place=place,
    )
    if json:
        typer.echo(to_json(trip_record(begun)))
        return
    for line in trip_lines(begun):
        typer.echo(line)
    for line in caution_lines(TRIP_CAUTIONS):
        typer.echo(line, err=True)


@trip.command("list", short_help="List the trips.")
@takes_session
def listed(json: JsonOption = False, *, session) -> None:
    """List the trips, without their exact places."""
    from grader.ledger import stock
    from grader.report.json_text import to_json
    from grader.report.stock import trip_line, trip_record

    trips = stock.trips(session.need_ledger("listing trips"))
    if json:
        typer.echo(to_json([trip_record(one) for one in trips]))
        return
    for one in trips:
        typer.echo(trip_line(one))


@trip.command("cost", short_help="Note money spent on a trip.")
@takes_session
def cost(
    number: Annotated[int, typer.Argument(metavar="TRIP", parser=whole_number(1))],
    money: Annotated[object, typer.Argument(metavar="MONEY", parser=some_money)],
    currency: Annotated[
        str | None,
        typer.Option(
            metavar="C", callback=words, help="Else that of grader.toml, else of your prices."
        ),
    ] = None,
    note: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="What for: fuel, fee, tools.")
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Note what a trip cost; several costs add up. Your own labour is none. What is in stock is told at cost apart from
    what is asked for it."""
    from grader.deals.limits import note_cost
    from grader.report.deeds import deed_words
    from grader.report.json_text import to_json

    done = note_cost(
        session.need_ledger("a cost"), number, money, currency or session.settings.currency, note,
        by or session.settings.by,
    )  # fmt: skip
    if json:
        record = {"trip": number, "money": f"{done.money:f}", "currency": done.currency}
        typer.echo(to_json(record | {"note": done.note}))
        return
    typer.echo(f"trip {number}: {deed_words(done)}")
