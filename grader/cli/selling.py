"""``grader prices``, ``sell`` and ``return``: the seller's price table, and what is sold by it."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    takes_session,
    words,
)
from grader.cli.weights import some_money

prices = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

ThingsArgument = Annotated[
    list[str], typer.Argument(metavar="07-113...", help="Pieces and lots, by their numbers.")
]


@prices.callback()
def about() -> None:
    """Your own dated price table: never changed, only followed by the next."""


@prices.command("set", short_help="Keep a price table from its day on.")
@takes_session
def set_(
    file: Annotated[Path, typer.Argument(metavar="PRICES.toml", help="Your table.")],
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep a price table. It holds from the day that it names; what was sold keeps the price of its own day."""
    from grader.checks import text_of
    from grader.deals.sales import set_prices
    from grader.report.prices import price_lines, price_record
    from grader.report.result import to_json

    text = text_of(file)
    table = set_prices(
        session.need_ledger("a price table"), text, str(file), by or session.settings.by
    )
    if json:
        typer.echo(to_json(price_record(table)))
        return
    for line in price_lines(table, session.profile.grades):
        typer.echo(line)


@prices.command("show", short_help="Show the price table that holds.")
@takes_session
def show(
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", callback=words, help="On that day; today by default."),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Show the price table that holds on a day."""
    from grader.cli.calls import day
    from grader.deals.sales import held_prices
    from grader.errors import LedgerError
    from grader.report.prices import price_lines, price_record
    from grader.report.result import to_json

    held = held_prices(session.need_ledger("prices"), (day(on) if on else date.today()).isoformat())
    if held is None:
        raise LedgerError("no price table holds; grader prices set PRICES.toml keeps one")
    if json:
        typer.echo(to_json(price_record(held.table)))
        return
    for line in price_lines(held.table, session.profile.grades):
        typer.echo(line)


@takes_session
def sell(
    codes: ThingsArgument,
    price: Annotated[
        object,
        typer.Option(
            "--for",
            metavar="MONEY",
            parser=some_money,
            help="For all of them; else what your table asks.",
        ),
    ] = None,
    note: Annotated[
        str | None,
        typer.Option(metavar="T", callback=words, help="Where, or anything else; no names."),
    ] = None,
    buyer: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", callback=words, help="Who bought; kept apart, grader buyers erases it."
        ),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep that pieces or lots are sold, with the price and the table version of today. Their listings are closed."""
    from grader.deals.grades import gradings
    from grader.deals.listings import closed_by, open_of
    from grader.deals.sales import Terms, sell
    from grader.report.listing_state import closed_line
    from grader.report.result import to_json
    from grader.report.stock import sold_lines, sold_record

    ledger = session.need_ledger("a sale")
    terms = Terms(price, session.settings.currency, date.today().isoformat(), note, buyer)
    whole = _whole(codes)
    listed = open_of(ledger, whole)
    sold = sell(ledger, whole, gradings(session, whole), terms, by or session.settings.by)
    for one in closed_by(listed, ledger):
        typer.echo(closed_line(one, one.closed), err=True)
    if json:
        typer.echo(to_json(sold_record(sold)))
        return
    for line in sold_lines(sold):
        typer.echo(line)


def _whole(codes: list[str]) -> list[str]:
    from grader.deals.weighing import whole_code

    whole = [whole_code(code, None) for code in codes]
    if len(set(whole)) < len(whole):
        raise typer.BadParameter("a piece stands there twice", param_hint="07-113...")
    return whole


@takes_session
def come_back(
    code: Annotated[str, typer.Argument(metavar="07-113", help="A piece or lot of the sale.")],
    refund: Annotated[
        object,
        typer.Option(
            metavar="MONEY", parser=some_money, help="What is given back; all by default."
        ),
    ] = None,
    why: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="Why it came back.")
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep that a sale came back: all of its pieces are there again."""
    from grader.deals.sales import take_back
    from grader.report.result import to_json
    from grader.report.stock import returned_line, returned_record

    (whole,) = _whole([code])
    sale, back = take_back(
        session.need_ledger("a return"), whole, refund, why, by or session.settings.by
    )
    typer.echo(to_json(returned_record(sale, back)) if json else returned_line(sale, back))


@takes_session
def buyers(
    erase: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", callback=words, help="Erase this name from the ledger and its copies."
        ),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """List who bought what, or erase a buyer's name: what was sold stays, with its weights and money. Backups that you
    put elsewhere keep the name: make a new one, and do away with the old."""
    from grader.ledger import buyers as kept
    from grader.report.buyers import buyer_line, buyer_record, erased_lines
    from grader.report.result import to_json

    ledger = session.need_ledger("buyers")
    if erase is not None:
        number = kept.erase(ledger, erase, by or session.settings.by)
        if json:
            typer.echo(to_json({"erased": number}))
            return
        for line in erased_lines(erase, number):
            typer.echo(line)
        return
    found = kept.buyers(ledger)
    if json:
        typer.echo(to_json([buyer_record(one) for one in found]))
        return
    for one in found:
        typer.echo(buyer_line(one))
    typer.echo(f"{len(found)} buyers", err=True)
