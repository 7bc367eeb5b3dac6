"""Listings, and what the seller says beside them, as they stand: a listing is open until its piece or lot is sold, its
bin sold out, the piece broken, given away or put into a lot, it is listed anew, or the listing is taken down. What was
taken back does not count."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from grader.ledger import schema
from grader.ledger.deeds import Listed, SeenFace
from grader.ledger.facts import Entry
from grader.ledger.sales import sold_out
from grader.ledger.stock import Reads, entries_of, live, thing
from grader.ledger.views import among


@dataclass(frozen=True)
class Listing:
    """A listing. closed : "sold", "broken", "gifts", "kept", "lost", "in a lot", "withdrawn" or "listed anew";
    ``None`` while it is open."""

    uid: str
    thing: str
    time: str
    price: Decimal | None
    currency: str | None
    snapshot: dict[str, Any]
    closed: str | None = None

    @property
    def code(self) -> str:
        """Of the piece, lot or bin."""
        return self.snapshot["code"]


def listings(reads: Reads, things: Iterable[str] | None = None) -> tuple[Listing, ...]:
    """Return the listings of these pieces, lots and bins, or all, in the order of listing; the last of each may be
    open."""
    t, d = schema.listing.c, schema.deed.c
    wanted = live(
        schema.listing, t.uid, t.thing, d.time, t.price, t.currency, t.snapshot, t.sequence
    ).join(schema.deed, d.uid == t.uid)
    rows = reads.rows(wanted.where(*among(t.thing, None if things is None else list(things))))
    events = _events(reads, {row.thing for row in rows}) if rows else {}
    last = {row.thing: row.uid for row in rows}
    return tuple(
        Listing(
            *row[:3], row.price and Decimal(row.price), row.currency, row.snapshot,
            _closed(row, events.get(row.thing, ()), row.uid == last[row.thing]),
        )
        for row in rows
    )  # fmt: skip


def open_listings(reads: Reads, things: Iterable[str] | None = None) -> dict[str, Listing]:
    """Return the open listings by uid of the piece, lot or bin."""
    return {one.thing: one for one in listings(reads, things) if one.closed is None}


def open_of(reads: Reads, codes: Iterable[str]) -> dict[str, Listing]:
    """Return the open listings of pieces, lots and bins, by uid.

    Raises
    ------
    LedgerError
        Nothing bears a code.
    """
    return open_listings(reads, [thing(reads, code).uid for code in codes])


def closed_by(before: Mapping[str, Listing], reads: Reads) -> list[Listing]:
    """Return which listings were open before and are closed now."""
    now = listings(reads, list(before)) if before else ()
    return [one for one in now if one.closed and before.get(one.thing, one).uid == one.uid]


def listed_fact(reads: Reads, uid: str) -> Entry[Listed]:
    """Return a listing as it was kept."""
    return entries_of(reads, [uid])[0]


def listed_cuts(reads: Reads, things: Iterable[str]) -> dict[str, tuple[SeenFace, dict]]:
    """Return the cut plans that listings of pieces kept, each with the face that it is of, by uid of the piece; the
    last one counts, open or not."""
    t = schema.listing.c
    rows = reads.rows(select(t.uid).where(*among(t.thing, list(things))))
    facts = [entry.fact for entry in entries_of(reads, [row.uid for row in rows])]
    return {one.thing: (one.faces[0], one.cuts) for one in facts if one.faces and one.cuts}


def _closed(row, events: Iterable[tuple[int, str, str | None]], is_last: bool) -> str | None:
    after = [
        why
        for sequence, why, of in sorted(events)
        if sequence > row.sequence and of in (None, row.uid)
    ]
    return after[0] if after else (None if is_last else "listed anew")


def _events(reads: Reads, things: set[str]) -> dict[str, list[tuple[int, str, str | None]]]:
    """What closes a listing, by piece, lot or bin: (sequence, why, uid of the one listing that it closes, else None).

    Of a lot also what became of a piece in it.
    """
    a, p = schema.about.c, schema.piece.c
    lots = reads.rows(
        live(schema.lot, schema.lot.c.uid, a.thing)
        .join(schema.about, a.deed == schema.lot.c.uid)
        .join(schema.piece, p.uid == a.thing)
        .where(*among(schema.lot.c.uid, things))
    )
    of: dict[str, list[str]] = {thing: [thing] for thing in things}
    for lot, piece in lots:
        of.setdefault(piece, []).append(lot)
    found: dict[str, list[tuple[int, str, str | None]]] = {}

    def note(thing: str, *event) -> None:
        for listed in of.get(thing, ()):
            found.setdefault(listed, []).append(event)

    sold, made, r, b, w = schema.sale, schema.lot, schema.rest.c, schema.broken.c, schema.withdrawn
    every = list(of)
    bins = {row.uid for row in reads.rows(live(schema.rest, r.uid).where(*among(r.uid, every)))}
    for bin_, sequence in sold_out(reads, bins) if bins else ():
        note(bin_, sequence, "sold", None)
    for table, why in ((sold, "sold"), (made, "in a lot")):
        wanted = live(table, table.c.uid, table.c.sequence, a.thing)
        wanted = wanted.join(schema.about, a.deed == table.c.uid).where(a.thing != table.c.uid)
        for row in reads.rows(wanted.where(*among(a.thing, every))):
            if not (row.thing in bins or (why == "in a lot" and row.uid in of.get(row.thing, ()))):
                note(row.thing, row.sequence, why, None)
    for row in reads.rows(live(schema.broken, b.piece, b.sequence).where(*among(b.piece, every))):
        note(row.piece, row.sequence, "broken", None)
    for row in reads.rows(
        live(schema.rest, r.piece, r.sequence, r.what).where(*among(r.piece, every))
    ):
        note(row.piece, row.sequence, row.what, None)
    t = schema.listing.c
    down = live(w, w.c.sequence, w.c.listing, t.thing).join(schema.listing, t.uid == w.c.listing)
    for row in reads.rows(down.where(*among(t.thing, list(things)))):
        note(row.thing, row.sequence, "withdrawn", row.listing)
    return found


def described(reads: Reads, things: Iterable[str]) -> dict[str, dict[str, str]]:
    """Return what the seller says of pieces, lots and hauls, by uid: the last word on each, none where it was taken
    back."""
    d = schema.described.c
    told: dict[str, dict[str, str]] = {}
    for row in reads.rows(
        live(schema.described, d.thing, d.what, d.says).where(*among(d.thing, list(things)))
    ):
        said = told.setdefault(row.thing, {})
        said.pop(row.what, None)
        if row.says:
            said[row.what] = row.says
    return told


def haul_place(reads: Reads, haul: str) -> tuple[str | None, str | None]:
    """Return the coarse place and the day of the trip that brought a haul, ``None`` where it is not known; the exact
    place stays with the seller."""
    h, t = schema.haul.c, schema.trip.c
    wanted = select(t.spot, t.begins).join(schema.haul, h.trip == t.uid).where(h.uid == haul)
    rows = reads.rows(wanted)
    return tuple(rows[0]) if rows else (None, None)
