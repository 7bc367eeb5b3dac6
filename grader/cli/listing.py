"""``grader listing``, ``describe`` and ``answer``: what a buyer is told of a piece, lot or bin."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    folder_place,
    progress,
    takes_session,
    words,
)
from grader.cli.weights import some_money

CodeArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="07-113...", help="Pieces, lots and bins, by their numbers."),
]


@takes_session
def listing(
    codes: CodeArgument = None,
    haul: Annotated[
        str | None,
        typer.Option(metavar="07", callback=words, help="All that is there of that haul."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Keep it, and write page, PDF, JSON and CSV there.",
        ),
    ] = None,
    price: Annotated[
        object,
        typer.Option(
            "--for",
            metavar="MONEY",
            parser=some_money,
            help="Of each, of a bin per weight; else by your table.",
        ),
    ] = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="List it again, with what is known and asked today.")
    ] = False,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Take the listing down.")] = False,
    open_: Annotated[bool, typer.Option("--open", help="Show the listings that are open.")] = False,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """List a piece, a lot or a bin: one page that works offline, the same as PDF and data. A listing keeps its price
    and its words until it is sold or broken, or you withdraw it. Without --out it is a look that keeps nothing."""
    if open_:
        _show_open(session, json)
        return
    things = _things(session, codes, haul)
    if withdraw:
        _withdraw(session, things, by, json)
        return
    from grader.deals.listing_price import AskedPrice

    things = _with_something(session, things, haul)
    asked = AskedPrice(price, session.settings.currency, date.today().isoformat())
    if out is None:
        _look(session, things, asked, haul, json)
        return
    _list(session, things, asked, out, (haul, anew, by, json))


def _things(session, codes: list[str] | None, haul: str | None) -> list:
    from grader.deals.listings import for_listing, open_things
    from grader.deals.weighing import whole_code
    from grader.errors import LedgerError

    if bool(codes) == bool(haul):
        raise typer.BadParameter("name pieces, or a --haul", param_hint="07-113...")
    ledger = session.need_ledger("a listing")
    if haul:
        things = open_things(ledger, haul)
        if not things:
            raise LedgerError(f"haul {haul}: nothing is there to list")
        return things
    whole = dict.fromkeys(whole_code(code, None) for code in codes)
    return [for_listing(ledger, code) for code in whole]


def _with_something(session, things: list, haul: str | None) -> list:
    """The same without what no page would tell of: of a haul pieces without a photo are left out, with a line."""
    from grader.deals.listings import unphotographed
    from grader.errors import LedgerError
    from grader.report.listing_state import unphotographed_line, untold_line

    bare = unphotographed(session.ledger, things)
    if not haul:
        for one in bare:
            if one.net_g is None:
                raise LedgerError(untold_line(one.code))
        return things
    if not bare:
        return things
    line = unphotographed_line([one.code for one in bare], haul)
    if len(bare) == len(things):
        raise LedgerError(line)
    typer.echo(line, err=True)
    return [one for one in things if one not in bare]


def _look(session, things: list, asked, haul: str | None, json: bool) -> None:
    from grader.deals.listings import preview
    from grader.report.json_text import to_json
    from grader.report.listing import listing_rows, piece_rows, title_words
    from grader.report.listing_state import lacking_words

    records = preview(session, things, asked)
    if json:
        typer.echo(to_json(_one_or_all(records, haul)))
        return
    for record in records:
        typer.echo(title_words(record))
        for label, text in (*listing_rows(record), *piece_rows(record)):
            typer.echo(f"  {label:<22} {text}")
        if lacks := lacking_words(record):
            typer.echo(lacks, err=True)


def _one_or_all(records: list[dict], haul: str | None) -> dict | list[dict]:
    """A haul is a list, however few are left of it."""
    return records if haul or len(records) > 1 else records[0]


def _list(session, things: list, asked, out: Path, how: tuple) -> None:
    from grader.deals.listing_files import plan_all, write_listings
    from grader.deals.listings import list_things
    from grader.report.cautions import SELL_CAUTIONS, caution_lines
    from grader.report.json_text import to_json

    haul, anew, by, json = how
    ledger = session.ledger
    with progress("planning", "pieces") as on_done:
        planned = plan_all(ledger, things, on_done)
    made = list_things(
        session, things, asked, by or session.settings.by, anew=anew, planned=planned
    )
    listed = [one.listing for one in made]
    name = f"haul-{haul}-listings.csv" if haul else f"{listed[0].snapshot['code']}.csv"
    with progress("writing", "listings") as on_done:
        aside = write_listings(ledger, listed, out, name, on_done, only=bool(haul))
    _tell(made, bool(haul))
    for kept in aside:
        typer.echo(str(kept), err=True)
    for line in caution_lines(SELL_CAUTIONS):
        typer.echo(line, err=True)
    if json:
        records = [one.snapshot for one in listed]
        typer.echo(to_json(_one_or_all(records, haul)))
        return
    new = sum(one.new for one in made)
    if haul:
        typer.echo(f"{len(made)} listings of haul {haul}, {new} of them new: {out / name}")
        return
    for one in listed:
        typer.echo(out / f"{one.snapshot['code']}.html")


def _tell(made: list, many: bool) -> None:
    """What a listing lacks, where it is one alone, and what has changed since it was kept."""
    from grader.report.listing_state import changed_line, lacking_words

    for one in made:
        if not many and (lacks := lacking_words(one.listing.snapshot)):
            typer.echo(lacks, err=True)
        if line := changed_line(one.listing.snapshot, one.changed):
            typer.echo(line, err=True)


def _withdraw(session, things: list, by: str | None, json: bool) -> None:
    from grader.deals.listings import withdraw
    from grader.report.json_text import to_json
    from grader.report.listing_state import closed_line

    ledger = session.ledger
    taken = [withdraw(ledger, one.code, by or session.settings.by) for one in things]
    if json:
        typer.echo(to_json([one.code for one in taken]))
        return
    for one in taken:
        typer.echo(closed_line(one, "withdrawn"))


def _show_open(session, json: bool) -> None:
    from grader.ledger.listings import open_listings
    from grader.report.json_text import to_json
    from grader.report.listing_state import open_line, open_record

    found = list(open_listings(session.need_ledger("listings")).values())
    if json:
        typer.echo(to_json([open_record(one) for one in found]))
        return
    for one in found:
        typer.echo(open_line(one))
    typer.echo(f"{len(found)} listings are open", err=True)


def _said(flag: str, help: str):
    return Annotated[str | None, typer.Option(flag, metavar="T", help=help)]


@takes_session
def describe(
    code: Annotated[
        str, typer.Argument(metavar="07-113|07", help="A piece, lot, bin, or a whole haul.")
    ],
    treatment: _said("--treatment", "None, or resin, dye, oil, backing, filling ...") = None,
    polish: _said("--polish", "How it took a polish, if tried.") = None,
    depth: _said("--depth", "How deep the pattern goes, if cut.") = None,
    hardness: _said("--hardness", "Only if it was tested.") = None,
    size: _said("--size", "By hand: 92x61x34 mm, or 3.6x2.4 in.") = None,
    thickness: _said("--thickness", "By hand: 34mm, 3.4cm or 1.3in.") = None,
    looked: _said("--looked", "How you looked for lines by hand.") = None,
    shown: _said("--shown", "exact, typical, or your own words on the photo.") = None,
    place: _said("--place", "The coarse place that buyers may know.") = None,
    returns: _said("--returns", "Your terms on returns.") = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep what no photo shows, for the listing and the answers to buyers. What is said of a haul goes for all of it;
    an empty word takes it back."""
    from grader.deals.listings import describe
    from grader.deals.weighing import whole_code
    from grader.report.json_text import to_json

    given = {
        "treatment": treatment, "polish": polish, "depth": depth, "hardness": hardness, "size": size,
        "thickness": thickness, "looked": looked, "shown": shown, "place": place, "returns": returns,
    }  # fmt: skip
    said = {name: words(text) for name, text in given.items() if text is not None}
    for name in ("size", "thickness"):
        if said.get(name, "")[-1:].isdigit():  # A number alone is mm: then it is kept and shown so.
            said[name] += " mm"
    if not said:
        raise typer.BadParameter("say something, as --treatment none", param_hint="describe")
    whole = whole_code(code, None) if "-" in code else code
    describe(session.need_ledger("a word on a piece"), whole, said, by or session.settings.by)
    if json:
        typer.echo(to_json({"thing": whole, "said": said}))
        return
    for name, text in said.items():
        typer.echo(f"{whole}: {name}: {text or 'taken back'}")


@takes_session
def answer(
    code: Annotated[str, typer.Argument(metavar="07-113", help="The piece, lot or bin.")],
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Answer what buyers ask, in short lines to copy; from what is recorded, and "not recorded" else."""
    from grader.deals.listing_price import AskedPrice
    from grader.deals.listings import preview
    from grader.deals.parcels import boxes_for
    from grader.report.answers import answer_lines, answers
    from grader.report.json_text import to_json

    (thing,) = _things(session, [code], None)
    day = date.today().isoformat()
    (record,) = preview(session, [thing], AskedPrice(None, session.settings.currency, day))
    several = record["kind"] != "piece"
    boxes = boxes_for(session.ledger, record["net_g"], day, of_several=several)
    told = answers(record, boxes)
    if json:
        typer.echo(to_json(told))
        return
    for line in answer_lines(told):
        typer.echo(line)
