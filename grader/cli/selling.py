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

prices = typer.Typer(no_args_is_help=True, rich_markup_mode=None, add_completion=False)

ThingsArgument = Annotated[
    list[str],
    typer.Argument(
        metavar="07-113...",
        help="Pieces, lots and bins; 07-B1=5lb out of a bin, 07-B1=4x2lb as bags.",
    ),
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
    from grader.deals.sales import held_prices, set_prices
    from grader.report.json_text import to_json
    from grader.report.prices import price_lines, price_record

    text = text_of(file)
    table = set_prices(
        session.need_ledger("a price table"), text, str(file), by or session.settings.by
    )
    if json:
        typer.echo(to_json(price_record(table)))
        return
    for line in price_lines(table, session.profile.grades):
        typer.echo(line)
    today = date.today()
    if table.begins > today:
        now = held_prices(session.ledger, today.isoformat())
        until = f"that of {now.table.begins} does" if now else "none does"
        typer.echo(f"it does not hold yet; until {table.begins} {until}", err=True)


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
    from grader.report.json_text import to_json
    from grader.report.prices import price_lines, price_record

    held = held_prices(session.need_ledger("prices"), (day(on) if on else date.today()).isoformat())
    if held is None:
        raise LedgerError("no price table holds; grader prices set PRICES.toml keeps one")
    if json:
        typer.echo(to_json(price_record(held.table)))
        return
    for line in price_lines(held.table, session.profile.grades):
        typer.echo(line)


@prices.command("alike", short_help="Show your own sales most like a piece.")
@takes_session
def alike(
    code: Annotated[str, typer.Argument(metavar="07-113", help="The piece.")],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.html", help="Write it as a page with pictures; else it is told."
        ),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Show the five own sales of pieces most like this one, by what was measured, with their prices."""
    from grader.deals.alike import alike_sales, pictures_of
    from grader.files import write_new
    from grader.ledger import stock
    from grader.report.alike import alike_lines, alike_page, alike_record
    from grader.report.json_text import to_json

    (item,) = items_of([code], session)
    found, unit = alike_sales(session, item.code), session.settings.unit
    if out is not None:
        own = stock.thing(session.ledger, item.code).uid
        pictures = pictures_of(session.ledger, [own, *(one.uid for one in found)])
        write_new(out, alike_page(item.code, found, pictures, pictures.get(own), unit))
    if json:
        typer.echo(to_json(alike_record(item.code, found)))
    elif out is not None:
        typer.echo(out)
    else:
        for line in alike_lines(item.code, found, unit):
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
    held: Annotated[
        bool, typer.Option("--held", help="It goes to the one for whom it is held.")
    ] = False,
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
    """Keep that pieces, lots or parts of bins are sold together, with the price and the table version of today. Their
    listings are closed."""
    from grader.deals.grades import gradings
    from grader.deals.sales import Terms, sell
    from grader.ledger.listings import closed_by, open_of
    from grader.report.json_text import to_json
    from grader.report.listing_state import closed_line
    from grader.report.stock import sold_lines, sold_record

    ledger = session.need_ledger("a sale")
    today = date.today().isoformat()
    terms = Terms(price, session.settings.currency, today, note, held, buyer)
    items = items_of(codes, session)
    named = [item.code for item in items]
    listed = open_of(ledger, named)
    sold = sell(ledger, items, gradings(session, named), terms, by or session.settings.by)
    for one in closed_by(listed, ledger):
        typer.echo(closed_line(one, one.closed), err=True)
    if json:
        typer.echo(to_json(sold_record(sold)))
        return
    for line in sold_lines(sold):
        typer.echo(line)


def items_of(codes: list[str], session) -> list:
    """Return what a person wrote of pieces, lots and parts of bins."""
    from grader.deals.orders import read_item

    items = [read_item(code, session.settings.unit) for code in codes]
    if len({item.code for item in items}) < len(items):
        raise typer.BadParameter("a piece stands there twice", param_hint="07-113...")
    return items


@takes_session
def come_back(
    code: Annotated[str, typer.Argument(metavar="07-113", help="A piece, lot or bin of the sale.")],
    refund: Annotated[
        object,
        typer.Option(
            metavar="MONEY", parser=some_money, help="What is given back; all by default."
        ),
    ] = None,
    why: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="Why it came back.")
    ] = None,
    only: Annotated[
        bool, typer.Option("--only", help="Only this one; the rest of the sale holds.")
    ] = False,
    stays: Annotated[
        bool, typer.Option("--stays", help="The buyer keeps it: only --refund goes back.")
    ] = False,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep that a sale came back: all of its pieces are there again, with --only this one, with --stays none."""
    from grader.deals.sales import BackTerms, take_back
    from grader.report.json_text import to_json
    from grader.report.stock import returned_line, returned_record

    if stays and refund is None:
        raise typer.BadParameter("say how much goes back", param_hint="--refund")
    (item,) = items_of([code], session)
    terms = BackTerms(refund, why, only, stays)
    sale, back = take_back(
        session.need_ledger("a return"), item.code, terms, by or session.settings.by
    )
    typer.echo(to_json(returned_record(sale, back)) if json else returned_line(sale, back))


@takes_session
def reserve(
    codes: ThingsArgument,
    until: Annotated[
        str | None,
        typer.Option(metavar="DATE", callback=words, help="The last day on which it is held."),
    ] = None,
    whom: Annotated[
        str | None,
        typer.Option(
            "--for", metavar="NAME", callback=words, help="For whom; kept apart, as sell --buyer."
        ),
    ] = None,
    free: Annotated[bool, typer.Option("--free", help="It is held no more.")] = False,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Hold pieces, lots or bins for somebody until a day. Lists show it, and a sale to another is asked about."""
    from grader.cli.calls import day
    from grader.deals.orders import reserve
    from grader.report.json_text import to_json

    if free == (until is not None):
        raise typer.BadParameter("give a day, or --free", param_hint="--until")
    items = items_of(codes, session)
    done = reserve(
        session.need_ledger("holding something"),
        items,
        day(until).isoformat() if until else None,
        whom,
        by or session.settings.by,
    )
    names = [item.code for item in items]
    if json:
        typer.echo(to_json({"things": names, "until": done.until, "for": whom}))
        return
    held = f"held{f' for {whom}' if whom else ''} until {done.until}"
    typer.echo(f"{', '.join(names)}: {held if done.until else 'free again'}")


@takes_session
def slip(
    code: Annotated[
        str, typer.Argument(metavar="07-113", help="A piece, lot or bin of the order.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="Write it as a page to print; else it is shown."),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Write the packing slip of an order: what is in it, with weight and the price that held when it was sold."""
    from grader.deals.orders import order_of
    from grader.files import write_new
    from grader.report.json_text import to_json
    from grader.report.slip import slip_lines, slip_page, slip_record

    (item,) = items_of([code], session)
    sale = order_of(session.need_ledger("a packing slip"), item.code)
    unit = session.settings.unit
    if out is not None:
        write_new(out, slip_page(sale, unit))
    if json:
        typer.echo(to_json(slip_record(sale)))
    elif out is not None:
        typer.echo(out)
    else:
        for line in slip_lines(sale, unit):
            typer.echo(line)


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
    from grader.report.json_text import to_json

    ledger = session.need_ledger("buyers")
    if erase is not None:
        number = kept.erase(ledger, erase, by or session.settings.by)
        reserved = kept.reserved_for(ledger, erase)
        if json:
            typer.echo(to_json({"erased": number, "reservations_with_it": reserved}))
            return
        for line in erased_lines(erase, number, reserved):
            typer.echo(line)
        return
    found = kept.buyers(ledger)
    if json:
        typer.echo(to_json([buyer_record(one) for one in found]))
        return
    for one in found:
        typer.echo(buyer_line(one))
    typer.echo(f"{len(found)} buyers", err=True)
