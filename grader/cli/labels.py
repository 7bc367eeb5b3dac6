"""``grader labels``: labels for pieces and lots, and tags printed before there are photos."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.card import Paper
from grader.cli.options import (
    ByOption,
    JsonOption,
    check_made,
    progress,
    takes_session,
    whole_number,
    words,
)


@takes_session
def labels(
    codes: Annotated[
        list[str] | None,
        typer.Argument(metavar="[07-113|07-L2]...", help="Pieces and lots to print labels of."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.pdf", help="Where the sheets are written.")
    ] = None,
    haul: Annotated[
        str | None,
        typer.Option(metavar="07", callback=words, help="All that is there of a haul."),
    ] = None,
    blank: Annotated[
        str | None,
        typer.Option(
            metavar="07-001..07-200",
            callback=words,
            help="Tags with numbers alone; no other stone ever gets these.",
        ),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="What the printer is loaded with.")] = Paper.a4,
    skip: Annotated[
        int,
        typer.Option(
            metavar="N", parser=whole_number(0), help="Places of the first sheet used up already."
        ),
    ] = 0,
    by: ByOption = None,
    json: JsonOption = False,
    *,
    session,
) -> None:
    """Write sheets of labels as a PDF, to be printed at 100 %: 24 on A4 (70 x 37 mm), 14 on letter (4 x 1 1/3 in).

    A label has the number, as text and as QR code, the grade with its meaning, net weight and whether the photos were
    wet or dry. Lay the tag or label beside the stone in its photo: batch --haul reads it.
    """
    _usage(codes, haul, blank, out)
    from grader.made import write_made
    from grader.report.json_text import to_json
    from grader.report.label_sheet import GRIDS, label_sheets, sheet_count

    places = GRIDS[paper.value].places
    if skip >= places:
        raise typer.BadParameter(f"{skip}: a sheet has {places} places", param_hint="--skip")
    made = _labels(codes, haul, blank, by, session)
    with progress("drawing", "labels") as on_label:
        sheets_of_labels = label_sheets(made, paper.value, skip, on_label)
    write_made(out, sheets_of_labels)
    sheets = sheet_count(len(made), paper.value, skip)
    if json:
        told = {"file": str(out), "labels": [one.code for one in made], "sheets": sheets}
        typer.echo(to_json(told))
        return
    which = made[0].code if len(made) == 1 else f"{made[0].code} to {made[-1].code}"
    typer.echo(
        f"{out}: {which}, {len(made)} on {sheets} {'sheet' if sheets == 1 else 'sheets'}; print at 100 %"
    )


def _usage(codes, haul: str | None, blank: str | None, out: Path | None) -> None:
    """Refuse, before anything is kept, what is asked for twice or not at all, and a place that holds something else."""
    if sum(map(bool, (codes, haul, blank))) != 1:
        raise typer.BadParameter(
            "name pieces and lots, or give --haul or --blank, one of them", param_hint="labels"
        )
    if out is None or out.suffix.lower() != ".pdf":
        raise typer.BadParameter("give a name that ends in .pdf", param_hint="--out")
    check_made(out, "--out")


def _labels(codes, haul: str | None, blank: str | None, by: str | None, session) -> list:
    from grader.deals.labels import labels_of, labels_of_haul, print_tags, read_tags
    from grader.report.words import counted

    if haul:
        with progress("grading", "pieces") as on_piece:
            return labels_of_haul(session, haul, on_piece)
    if codes:
        return labels_of(session, codes)
    ledger = session.need_ledger("--blank")
    made, borne = print_tags(ledger, *read_tags(blank), by or session.settings.by)
    if borne:
        told = ", ".join(borne[:3]) + (" and others" if len(borne) > 3 else "")
        typer.echo(
            f"{counted(len(borne), 'number')} of pieces already ({told}): those tags are theirs",
            err=True,
        )
    return made
