"""``grader batch``: a folder of photos into a table and a sheet."""

from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    AnewOption,
    ByOption,
    ModelOption,
    existing_folder,
    folder_place,
    progress,
    takes_session,
    takes_terms,
    whole_number,
    words,
)


@takes_session
@takes_terms
def batch(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", callback=existing_folder, help="Every photo below it is graded."
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Where the results go; FOLDER/graded by default.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            parser=whole_number(1),
            help="Processes; as many as there are cores by default.",
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            callback=words,
            help="Measure on a Dask cluster: tls://HOST:PORT, or HOST:PORT of this computer.",
        ),
    ] = None,
    certificates: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=existing_folder,
            help="For --cluster with TLS: a folder with ca.pem, cert.pem and key.pem.",
        ),
    ] = None,
    model: ModelOption = None,
    haul: Annotated[
        str | None,
        typer.Option(
            metavar="07",
            callback=words,
            help="Number the stones in that haul, by their tags where they have one; what has a number keeps it.",
        ),
    ] = None,
    by: ByOption = None,
    anew: AnewOption = False,
    *,
    terms,
    session,
) -> None:
    """Grade every photo below a folder; run again, it measures only what is new or changed.

    Writes results.jsonl, results.csv and sheet.html. Exit code 1 if a photo could not be read; the
    rest is graded.
    """
    from grader.batch import FolderRun, grade_folder, write_maps
    from grader.report.folder import failed_words, folder_lines, stopped_words, total_lines

    _check_workers(workers, cluster, certificates)
    stones, told = [], []
    if haul is not None:
        from grader.ledger import stock

        # Before the work is done: a haul that is not there is a slip of the pen.
        stock.haul(session.need_ledger("--haul"), haul)

    def number(records: Sequence[dict]) -> None:
        if haul is not None:
            numbered, lines = _number(haul, records, by, session)
            stones.extend(numbered)
            told.extend(lines)

    try:
        with _workers(workers, cluster, certificates) as works, progress("grading") as on_photo:
            done = grade_folder(
                folder,
                session.profile,
                session.model(model),
                session.ledger,
                terms=session.with_usual_scale(
                    terms if haul is None else replace(terms, tags=True)
                ),
                out=out,
                settings=session.settings,
                run=FolderRun(works, anew, on_photo, number),
            )
    except KeyboardInterrupt:
        typer.echo(stopped_words(session.ledger is not None), err=True)
        raise typer.Exit(130) from None
    for line in folder_lines(done.records, done.known, done.duplicates, done.lost_calls):
        typer.echo(line, err=True)
    for kept in done.kept_aside:
        typer.echo(str(kept), err=True)
    for record in done.failed:
        typer.echo(failed_words(record), err=True)
    for line in told:
        typer.echo(line, err=True)
    if stones:
        graded = [record for record in done.records if "error" not in record]
        for path in write_maps(folder, done.sheet.parent, graded, stones):
            typer.echo(path)
    weighed = {piece.code: piece for piece in done.numbered.values()}
    for line in total_lines(done.records, weighed, session.profile.grades, session.settings.unit):
        typer.echo(line, err=True)
    typer.echo(done.sheet)
    if done.failed:
        raise typer.Exit(1)


def _check_workers(workers: int | None, cluster: str | None, certificates: Path | None) -> None:
    if cluster is not None and workers is not None:
        raise typer.BadParameter(
            "is for this computer; a cluster has the workers that it has", param_hint="--workers"
        )
    if cluster is None and certificates is not None:
        raise typer.BadParameter("goes with --cluster", param_hint="--certificates")


def _workers(workers: int | None, cluster: str | None, certificates: Path | None):
    """Who measures, from ``with`` to its end."""
    if cluster is None:
        from grader.workers.pool import Pool

        return nullcontext(Pool(workers))
    from grader.workers.cluster import Cluster

    return Cluster(cluster, certificates)


def _number(haul: str, records: Sequence[dict], by: str | None, session) -> tuple[list, list[str]]:
    """Give the stones of a folder's photos their numbers, and return them, and lines that tell them."""
    from grader.deals.hauls import number_photos
    from grader.deals.tagging import tagged_photo
    from grader.report.folder import numbered_lines

    photos = {record["photo"]["sha256"]: record["photo"]["file"] for record in records}
    tags = {record["photo"]["sha256"]: tagged_photo(record, haul) for record in records}
    stones = number_photos(session.ledger, haul, photos, by or session.settings.by, tags)
    remarks = [line for tagged in tags.values() for line in tagged.remarks]
    return stones, [*numbered_lines(stones), *remarks]
