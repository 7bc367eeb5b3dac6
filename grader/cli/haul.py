"""``grader haul``: what a trip brought home, its parts, its pieces and its report."""

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    ByOption,
    JsonOption,
    existing_folder,
    folder_place,
    progress,
    takes_session,
    takes_terms,
    whole_number,
    words,
)
from grader.cli.weights import some_money, some_range, weight_in_words, weight_option

haul = typer.Typer(no_args_is_help=True, rich_markup_mode=None, add_completion=False)

HaulArgument = Annotated[str, typer.Argument(metavar="07", help="The haul.")]


@haul.callback()
def about() -> None:
    """Hauls: the raw weight, what became of it, and what it is worth."""


@haul.command("new", short_help="Begin a haul.")
@takes_session
def new(
    code: HaulArgument,
    raw: Annotated[object, weight_option("--raw", "What it weighs as it came out of the ground.")],
    trip: Annotated[
        int | None,
        typer.Option(metavar="N", parser=whole_number(1), help="The trip that brought it."),
    ] = None,
    guess: Annotated[
        object,
        typer.Option(
            metavar="MONEY",
            parser=some_money,
            help="What you think it is worth, to look back on in its report.",
        ),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Keep what a trip brought home. Its pieces are numbered 07-001, 07-002 and so on."""
    from grader.deals.hauls import new_haul
    from grader.deals.limits import taken_against
    from grader.ledger import stock
    from grader.report.json_text import to_json
    from grader.report.limits import warning_lines
    from grader.report.stock import haul_record
    from grader.report.weights import with_unit

    ledger = session.need_ledger("a haul")
    new_haul(ledger, code, raw, trip, by or session.settings.by, guess)
    found, _ = taken_against(ledger, code)
    for line in warning_lines(found, session.settings.unit):
        typer.echo(line, err=True)
    if json:
        typer.echo(to_json(haul_record(stock.haul(ledger, code), trip)))
        return
    typer.echo(f"haul {code}: {with_unit(raw.typed)} raw")


class RestKind(StrEnum):
    """What a haul holds beside its pieces, as ``grader.ledger.deeds.REST`` has it."""

    sorted = "sorted"
    chips = "chips"
    waste = "waste"
    trimming = "trimming loss"
    gifts = "gifts"
    kept = "kept"
    lost = "lost"
    unsorted = "unsorted"
    mud = "mud and water"


@haul.command("add", short_help="Note a part of a haul that has no number.")
@takes_session
def add(
    code: HaulArgument,
    what: Annotated[RestKind, typer.Argument(help="What it is; sorted is stone of one --grade.")],
    weight: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WEIGHT]", help="Left out for a weighed --piece."),
    ] = None,
    grade: Annotated[
        str | None, typer.Option(metavar="G", callback=words, help="Of sorted stone.")
    ] = None,
    piece: Annotated[
        str | None,
        typer.Option(metavar="07-113", callback=words, help="A piece given away, kept or lost."),
    ] = None,
    guessed: Annotated[
        bool, typer.Option("--guessed", help="A guess: it stays marked so.")
    ] = False,
    note: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="Anything else.")
    ] = None,
    sample: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=existing_folder,
            help="Photos of pieces drawn from it at random, graded by batch: they tell what it holds.",
        ),
    ] = None,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Note waste, chips, sorted stone, mud and so on, by weight. Several buckets add up; grader undo takes one back."""
    from grader.deals.hauls import PartOfHaul, note_part
    from grader.deals.samples import sample_of
    from grader.ledger.deeds import BINS
    from grader.ledger.stock import code_of
    from grader.report.cautions import lift_lines
    from grader.report.deeds import deed_words
    from grader.report.json_text import to_json

    weight = weight_in_words(weight)
    _usage_of_rest(what, weight, grade, piece, session)
    if sample is not None and what.value not in BINS:
        raise typer.BadParameter("goes with unsorted, sorted or chips", param_hint="--sample")
    ledger = session.need_ledger("a part of a haul")
    drawn = sample_of(ledger, sample) if sample else None
    part = PartOfHaul(what.value, weight, grade, guessed, piece, note, drawn)
    done = note_part(ledger, code, part, by or session.settings.by)
    codes = {done.uid: code_of(code, done.number, "B")} if done.number else {}
    said = deed_words(done, codes | ({done.piece: piece} if piece else {}))
    for line in lift_lines(done.weight.grams):
        typer.echo(line, err=True)
    if json:
        record = {"haul": code, "what": done.what, "net_g": f"{done.weight.grams:f}"}
        typer.echo(to_json(record | {"bin": codes.get(done.uid)}))
        return
    typer.echo(f"haul {code}: {said}")


def _usage_of_rest(what: RestKind, weight, grade, piece, session) -> None:
    """Refuse a grade of what has none, an unknown one, and a piece that is waste."""
    if (what is RestKind.sorted) != (grade is not None):
        raise typer.BadParameter("goes with sorted, and sorted with it", param_hint="--grade")
    if grade is not None and grade not in session.profile.grades:
        raise typer.BadParameter(
            f"{grade}: no grade of your ladder; one of {', '.join(session.profile.grades)}",
            param_hint="--grade",
        )
    if piece is not None and what not in (RestKind.gifts, RestKind.kept, RestKind.lost):
        raise typer.BadParameter("goes with gifts, kept or lost", param_hint="--piece")
    if weight is None and piece is None:
        raise typer.BadParameter("say what it weighs, as 36lb", param_hint="WEIGHT")


@haul.command("list", short_help="List the pieces of a haul.")
@takes_session
def listed(
    code: HaulArgument,
    proposed: Annotated[
        bool, typer.Option("--proposed", help="Also what the model proposes where nobody called.")
    ] = False,
    thick_mm: Annotated[
        object,
        typer.Option(
            "--thick-mm",
            metavar="6|20-30",
            parser=some_range(0.5, 2000),
            help="How thick the pieces are, evenly, for estimates of their weight.",
        ),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """List the pieces of a haul: number, weight, grade, and whether it is there. What was not weighed has a weight
    estimated from the size of its face, which is a range and no weight."""
    from grader.deals.grades import called_grades, session_grades
    from grader.deals.sizes import estimates
    from grader.ledger import stock
    from grader.ledger.sales import holds
    from grader.report.json_text import to_json
    from grader.report.stock import bin_line, piece_line, piece_record
    from grader.report.words import counted

    ledger = session.need_ledger("listing pieces")
    of = stock.haul(ledger, code)
    pieces = stock.pieces(ledger, haul=of.uid)
    known = session_grades(session, pieces) if proposed else called_grades(session, pieces)
    codes = {uid: one.code for uid, one in pieces.items()}
    codes |= stock.lot_codes(ledger, of.uid)
    held = holds(ledger, date.today().isoformat())
    guesses = estimates(ledger, pieces, session.settings, thick_mm)
    records = []
    for uid, one in pieces.items():
        grade, hold = known.get(uid), held.get(uid) or held.get(one.lot)
        if one.fate:  # What is sold or gone is held for nobody any more.
            hold = None
        grade, called = (grade.grade, grade.called) if grade else (None, None)
        record = piece_record(one, grade, called, codes, hold)
        record["estimate_g"] = guesses.get(uid)
        records.append(record)
    if json:
        typer.echo(to_json(records))
        return
    not_called = not proposed and any(record["grade"] is None for record in records)
    if records:
        # All at once: ten thousand lines one by one take a while.
        typer.echo(
            "\n".join(piece_line(record, session.settings.unit, proposed) for record in records)
        )
    for one in stock.rests(ledger, of.uid):
        if one.code:
            typer.echo(bin_line(one, held.get(one.uid), session.settings.unit))
    more = "; --proposed tells what is proposed for those not called" if not_called else ""
    typer.echo(f"{counted(len(records), 'piece')} in haul {code}{more}", err=True)


@haul.command("photo", short_help="Say which piece a photo shows.")
@takes_session
@takes_terms
def photo(
    code: Annotated[str, typer.Argument(metavar="07-113", help="The piece.")],
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO", help="Photos that show it.")],
    piece: Annotated[
        int | None,
        typer.Option(
            metavar="N", parser=whole_number(1), help="Which stone, where there are several."
        ),
    ] = None,
    by: ByOption = None,
    *,
    terms,
    session,
) -> None:
    """Say by hand that these photos show that piece: where no tag and no name of the photo tells it, or a wrong one."""
    from grader.calling import look_shown
    from grader.deals.hauls import show_piece
    from grader.errors import LedgerError

    ledger = session.need_ledger("haul photo")
    for path in photos:
        look = look_shown(path, session.with_usual_scale(terms), session.profile, ledger)
        try:
            now, before = show_piece(
                ledger, code, look.ask.sha256, piece, by or session.settings.by
            )
        except LedgerError as err:
            raise LedgerError(f"{path}: {err}") from err
        was = f"; it was {before} until now" if before not in (None, now) else ""
        typer.echo(f"{path}: shows {now}{was}")


class ReportForm(StrEnum):
    """How a report is printed."""

    text = "text"
    csv = "csv"


@haul.command("report", short_help="Tell what became of a haul and what it is worth.")
@takes_session
def report(
    code: Annotated[
        str | None,
        typer.Argument(
            metavar="[07]", help="The haul; without it all are compared, with the stock."
        ),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(
            metavar="UNIT", callback=words, help="kg, lb or another; else that of grader.toml."
        ),
    ] = None,
    form: Annotated[ReportForm, typer.Option(help="text, or csv: a table.")] = ReportForm.text,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Write haul-07.html and haul-07.csv there, or hauls.html.",
        ),
    ] = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Tell where the raw weight went, with the gap by its name, and what singles, lots and the rest are worth and may
    come to. Without a haul: trips and spots compared, stock by age, weeks of stock left, cost apart from asking."""
    from grader.deals.worth import report_of
    from grader.report.haul import report_csv, report_lines, report_record
    from grader.report.json_text import to_json
    from grader.weight import GRAMS_IN

    unit = unit or session.settings.unit
    if unit not in GRAMS_IN:
        raise typer.BadParameter(f"{unit}: one of {', '.join(GRAMS_IN)}", param_hint="--unit")
    if code is None:
        _report_all(session, unit, out, json)
        return
    with progress("grading", "pieces") as on_piece:
        told = report_of(session, code, unit, on_piece)
    if out is not None:
        _write(told, out)
    if json:
        typer.echo(to_json(report_record(told)))
    elif form is ReportForm.csv:
        typer.echo(report_csv(told), nl=False)
    elif out is None:
        for line in report_lines(told):
            typer.echo(line)


def _write(told, out: Path) -> None:
    from grader.outfolder import OutFolder
    from grader.report.haul import report_csv, report_page

    results, name = OutFolder(out, of=out), f"haul-{told.haul.code}"
    for suffix, text in ((".html", report_page(told)), (".csv", report_csv(told))):
        if kept := results.write(name + suffix, text.encode()):
            typer.echo(str(kept), err=True)
    typer.echo(out / f"{name}.html")


def _report_all(session, unit: str, out: Path | None, json: bool) -> None:
    from grader.deals.season import season_of
    from grader.outfolder import OutFolder
    from grader.report.json_text import to_json
    from grader.report.season import season_lines, season_page, season_record

    told = season_of(session, unit)
    if out is not None and (
        kept := OutFolder(out, of=out).write("hauls.html", season_page(told).encode())
    ):
        typer.echo(str(kept), err=True)
    if json:
        typer.echo(to_json(season_record(told)))
    elif out is not None:
        typer.echo(out / "hauls.html")
    else:
        for line in season_lines(told):
            typer.echo(line)
