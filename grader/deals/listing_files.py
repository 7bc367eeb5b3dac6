"""The files of listings: page, PDF, data and a row of a table, made on every core."""

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from grader.deals.listing_cuts import kept_cuts
from grader.deals.listings import SeenStone, known_plans, record_text, seen_stones, shown_stones
from grader.ledger import listings as kept
from grader.ledger import stock
from grader.ledger.deeds import Listed
from grader.ledger.store import Ledger
from grader.looks import content_of
from grader.outfolder import KeptFile, OutFolder
from grader.photo.photo import Photo
from grader.report.listing_page import (
    Page,
    ShownPicture,
    captions,
    face_caption,
    listing_csv,
    listing_page,
)
from grader.working import kept_photo

#: Fewer than this are made in this process: another one takes a second to begin.
FEW = 8
#: So many faces of a piece are shown; more are told in words alone.
MOST_FACES = 8
OnDone = Callable[[int, int], None]


@dataclass(frozen=True)
class _Stone:
    """What the pictures of a stone are made of, by where it lies."""

    stone: dict
    photo: dict
    kept: dict[str, bytes | Path]


@dataclass(frozen=True)
class _Job:
    record: dict
    cuts: dict | None
    faces: tuple[_Stone, ...]
    members: dict[str, _Stone]


def plan_all(ledger: Ledger, things: Sequence, on_done: OnDone) -> dict[str, dict | None]:
    """Return the cut plans of the best faces of pieces, by uid; those that a listing kept are not made again."""
    faces = seen_stones(ledger, [one.uid for one in things if isinstance(one, stock.Piece)])
    known = known_plans(ledger, faces)
    jobs = [(uid, _stone(of[0])) for uid, of in faces.items() if uid not in known]
    return known | dict(_each(_planned, jobs, on_done))


def _planned(job: tuple[str, _Stone]) -> tuple[str, dict | None]:
    uid, one = job
    regions = one.kept.get("regions")
    return uid, kept_cuts(one.stone, one.photo, regions and content_of(regions))


def write_listings(
    ledger: Ledger,
    listed: Sequence[Listed],
    out: Path,
    table: str,
    on_done: OnDone,
    *,
    only: bool = False,
) -> list[KeptFile]:
    """Write page, PDF and data of each listing, and one table of them all; return the user's files that were kept.

    table : name of that table.   only : pages of listings that are no longer open are removed from the folder, where
    nobody changed them.

    Raises
    ------
    GraderError
        The place cannot be written to.
    """
    results = OutFolder(out, of=out)
    shown = shown_stones(ledger, listed)
    jobs = [_job(ledger, one, shown[one.uid]) for one in listed]
    aside, names = [], [table]
    for files in _each(_made, jobs, on_done):
        for name, content in files.items():
            names.append(name)
            aside.append(results.write(name, content))
    aside.append(results.write(table, listing_csv(one.snapshot for one in listed).encode()))
    if only:
        open_ = kept.open_listings(ledger).values()
        suffixes = ("html", "pdf", "json", "csv")
        names += [f"{one.code}.{suffix}" for one in open_ for suffix in suffixes]
        results.keep_only(names)
    return [one for one in aside if one]


def _stone(seen: SeenStone) -> _Stone:
    return _Stone(seen.stone, seen.look.record["photo"], dict(seen.pictures))


def _job(ledger: Ledger, one: Listed, shown: Sequence[SeenStone]) -> _Job:
    record = one.snapshot
    if record["pieces"] is None:
        return _Job(record, one.cuts, tuple(map(_stone, shown)), {})
    codes = [piece["code"] for piece in record["pieces"] if piece["faces"]]
    # The pieces that have a face, in the order of the listing.
    seen = {face.seen: face for face in shown}
    members = {
        code: _stone(seen[face])
        for code, face in zip(codes, one.faces, strict=False)
        if face in seen
    }
    return _Job(record, None, (), members)


def _made(job: _Job) -> dict[str, bytes]:
    """The files of one listing, by name."""
    from grader.report.listing_pdf import listing_pdf

    code = job.record["code"]
    page = Page(
        job.record,
        _pictures(job) if job.faces else (),
        {
            piece: content_of(one.kept["photo"])
            for piece, one in job.members.items()
            if "photo" in one.kept
        },
    )
    return {
        f"{code}.html": listing_page(page).encode(),
        f"{code}.pdf": listing_pdf(page),
        f"{code}.json": record_text(job.record).encode(),
    }


def _pictures(job: _Job) -> tuple[ShownPicture, ...]:
    """All pictures of the best face, then each further face with its lines."""
    from grader.report.listing_pictures import lines_picture, listing_pictures

    record, best = job.record, job.faces[0]
    words, shown = captions(record), []
    if kept := _kept(best):
        drawn = listing_pictures(*kept, best.stone, job.cuts)
        shown = [ShownPicture(jpeg, words[name]) for name, jpeg in drawn.items()]
    for number, face in enumerate(job.faces[1:MOST_FACES], start=2):
        if kept := _kept(face):
            jpeg = lines_picture(*kept, face.stone)
            shown.append(ShownPicture(jpeg, face_caption(record, number)))
    return tuple(shown)


def _kept(one: _Stone) -> tuple[Photo, float] | None:
    if "working" not in one.kept:
        return None
    working, told = (content_of(one.kept[name]) for name in ("working", "working_record"))
    return kept_photo(working, json.loads(told))


def _each(work: Callable, jobs: Sequence, on_done: OnDone) -> Iterator:
    """Results in the order of the jobs, told as they come."""
    workers = min(os.cpu_count() or 1, len(jobs))
    if len(jobs) < FEW or workers < 2:
        done = map(work, jobs)
    else:
        from grader.workers.pool import processes

        done = processes(workers).map(work, jobs)
    for number, one in enumerate(done, start=1):
        on_done(number, len(jobs))
        yield one
