"""``grader limits``: what a permit, a rule or the post lets you take or send, as you typed it, added up."""

from datetime import date
from enum import StrEnum
from typing import Annotated

import typer

from grader.cli.calls import day
from grader.cli.options import ByOption, JsonOption, takes_session, words
from grader.cli.weights import weight_option

limits = typer.Typer(no_args_is_help=True, rich_markup_mode=None, add_completion=False)


class Span(StrEnum):
    """What a limit counts for, as ``grader.ledger.deeds.SPANS`` has it."""

    day = "day"
    trip = "trip"
    year = "year"
    parcel = "parcel"


@limits.callback()
def about() -> None:
    """Limits that you typed: permit, collecting, postal, added up with a warning. The last word is not ours."""


@limits.command("set", short_help="Keep a limit as you typed it.")
@takes_session
def set_(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call it, as permit 12.")],
    most: Annotated[object, weight_option("--most", "No more than that.")],
    each: Annotated[Span, typer.Option(help="In a day, trip or year, or in one parcel.")],
    begins: Annotated[
        date | None,
        typer.Option("--from", metavar="DATE", parser=day, help="Since when; today by default."),
    ] = None,
    note: Annotated[
        str | None,
        typer.Option(metavar="T", callback=words, help="Where it stands, or who said it."),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep a limit as you typed it. One of the same name follows it from its own day on."""
    from grader.deals.limits import set_limit
    from grader.report.deeds import deed_words
    from grader.report.json_text import to_json

    if words(name) is None:
        raise typer.BadParameter("give the limit a name", param_hint="NAME")
    since = (begins or date.today()).isoformat()
    done = set_limit(
        session.need_ledger("a limit"), words(name), most, each.value, since, note,
        by or session.settings.by,
    )  # fmt: skip
    if json:
        typer.echo(
            to_json({"name": done.name, "most": most.typed, "each": done.each, "begins": since})
        )
        return
    typer.echo(deed_words(done))


@limits.command("list", short_help="Add up what you took against each.")
@takes_session
def listed(json: JsonOption = False, *, session) -> None:
    """List the limits that you typed, and what your hauls add up to against each of them."""
    from grader.deals.limits import taken_against
    from grader.ledger.trips import limits
    from grader.report.json_text import to_json
    from grader.report.limits import (
        OWN_WORD,
        against_line,
        against_record,
        limit_line,
        limit_record,
    )

    ledger = session.need_ledger("limits")
    kept, (found, without_day) = limits(ledger), taken_against(ledger)
    if json:
        typer.echo(
            to_json(
                {
                    "limits": [limit_record(one) for one in kept],
                    "taken": [against_record(one) for one in found],
                    "hauls_without_a_trip": without_day,
                }
            )
        )
        return
    if not kept:
        typer.echo(
            'no limit was typed; grader limits set "permit 12" --most 250lb --each day begins one',
            err=True,
        )
    for one in kept:
        typer.echo(limit_line(one))
    for one in found:
        typer.echo(f"  {against_line(one, session.settings.unit)}")
    if without_day:
        typer.echo(
            f"not counted, for their day is not known: hauls of no trip, {without_day}", err=True
        )
    if kept:
        typer.echo(OWN_WORD, err=True)
