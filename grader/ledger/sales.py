"""What the ledger holds of sales: what was sold together, what came back, and what is held for somebody."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select

from grader.ledger import schema
from grader.ledger.reads import Reads, entries_of, live
from grader.ledger.views import among


@dataclass(frozen=True)
class Back:
    """What came back of a sale. things : uids; ``stays`` where the buyer kept them and only money went back."""

    things: tuple[str, ...]
    refund: Decimal
    why: str | None
    stays: bool


@dataclass(frozen=True)
class Sale:
    """A sale, as an order of several things. things : uids, in the order of the snapshot.   backs : in order."""

    uid: str
    time: str
    price: Decimal
    currency: str
    things: tuple[str, ...]
    snapshot: dict[str, Any]
    backs: tuple[Back, ...] = ()

    @property
    def refund(self) -> Decimal | None:
        """What was given back in all, ``None`` where nothing was said of it."""
        return sum((back.refund for back in self.backs), Decimal(0)) if self.backs else None

    @property
    def sold(self) -> tuple[str, ...]:
        """Uids of what is sold still."""
        gone = {uid for back in self.backs if not back.stays for uid in back.things}
        return tuple(uid for uid in self.things if uid not in gone)

    def told(self, uid: str) -> dict[str, Any]:
        """Return what the snapshot tells of a thing."""
        return self.snapshot["things"][self.things.index(uid)]

    def share(self, uid: str) -> Decimal:
        """Return what was paid for a thing, without what was given back."""
        return Decimal(self.told(uid)["share"])

    def got(self, uid: str) -> Decimal:
        """Return what is left of that after money went back; what went back on several is divided evenly."""
        less = [back.refund / len(back.things) for back in self.backs if uid in back.things]
        return self.share(uid) - sum(less, Decimal(0))


def sales(reads: Reads, uids: Iterable[str] | None = None) -> tuple[Sale, ...]:
    """Return the sales, or those of these pieces, lots and bins."""
    s, a, r = schema.sale.c, schema.about.c, schema.returned.c
    wanted = live(schema.sale, s.uid)
    if uids is not None:
        of = select(a.deed).where(*among(a.thing, list(uids)))
        wanted = wanted.where(s.uid.in_(of))
    sold = entries_of(reads, [row.uid for row in reads.rows(wanted)])
    of_sale = among(r.sale, [entry.fact.uid for entry in sold])
    back: dict[str, list[Back]] = {}
    whole = {entry.fact.uid: entry.fact.things_sold for entry in sold}
    came = reads.rows(live(schema.returned, r.uid).where(*of_sale))
    for entry in entries_of(reads, [row.uid for row in came]):
        fact = entry.fact
        things = whole[fact.sale] if fact.things_back is None else fact.things_back
        back.setdefault(fact.sale, []).append(Back(things, fact.refund, fact.why, bool(fact.stays)))
    return tuple(
        Sale(
            e.fact.uid, e.time, e.fact.price, e.fact.currency, e.fact.things_sold, e.fact.snapshot,
            tuple(back.get(e.fact.uid, ())),
        )
        for e in sold
    )  # fmt: skip


def sold_things(reads: Reads, uids: list[str] | None) -> set[str]:
    """Return which of these pieces and lots are sold and have not come back."""
    a, s = schema.about.c, schema.sale
    wanted = (
        live(s, a.thing)
        .join(schema.about, a.deed == s.c.uid)
        .where(~_came_back(a.thing), *among(a.thing, uids))
    )
    return {row.thing for row in reads.rows(wanted)}


def sold_from_bins(reads: Reads, bins: list[str]) -> dict[str, Decimal]:
    """Return what was sold out of bins and has not come back, g."""
    part, s = schema.from_bin.c, schema.sale
    wanted = (
        live(s, part.bin, part.net_g)
        .join(schema.from_bin, part.sale == s.c.uid)
        .where(~_came_back(part.bin), *among(part.bin, bins))
    )
    sums: dict[str, Decimal] = {}
    for row in reads.rows(wanted):
        sums[row.bin] = sums.get(row.bin, Decimal(0)) + Decimal(row.net_g)
    return sums


def sold_out(reads: Reads, bins: Iterable[str]) -> list[tuple[str, int]]:
    """Return each time that bins were sold out: uid of the bin, and sequence of the sale that took the last of it; also
    where some came back later."""
    part, s, r, a = schema.from_bin.c, schema.sale.c, schema.returned.c, schema.about.c
    sold = reads.rows(
        live(
            schema.sale, s.sequence, s.uid, part.bin, part.net_g, schema.rest.c.net_g.label("all_g")
        )
        .join(schema.from_bin, part.sale == s.uid)
        .join(schema.rest, schema.rest.c.uid == part.bin)
        .where(*among(part.bin, list(bins)))
    )
    came = reads.rows(
        live(schema.returned, r.sequence, r.uid, r.sale, r.part).where(
            r.stays.is_(None), *among(r.sale, [row.uid for row in sold])
        )
    )
    parts = reads.rows(select(a.deed, a.thing).where(*among(a.deed, [row.uid for row in came])))
    named = set(map(tuple, parts))
    back = {
        (row.uid, row.bin): one.sequence
        for one in came
        for row in sold
        if row.uid == one.sale and (not one.part or (one.uid, row.bin) in named)
    }

    def gone_g(bin_: str, at: int) -> Decimal:
        there = (row for row in sold if row.bin == bin_ and row.sequence <= at)
        return sum(
            (Decimal(row.net_g) for row in there if back.get((row.uid, bin_), at) >= at), Decimal(0)
        )

    return [
        (row.bin, row.sequence)
        for row in sold
        if gone_g(row.bin, row.sequence) >= Decimal(row.all_g)
    ]


def _came_back(thing):
    """Whether a thing of the sale at hand came back, with all of it or by itself."""
    r, back = schema.returned, schema.about.alias()
    outer = schema.about, schema.from_bin
    named = select(back.c.deed).where(back.c.deed == r.c.uid, back.c.thing == thing)
    here = live(r, r.c.uid).order_by(None).where(r.c.sale == schema.sale.c.uid)
    of_this = here.where(
        r.c.stays.is_(None), r.c.part.is_(None) | named.correlate(r, *outer).exists()
    )
    return of_this.correlate(schema.sale, *outer).exists()


@dataclass(frozen=True)
class Hold:
    """Until which day something is held, ISO date, and for whom; ``None`` too where the name was erased."""

    until: str
    whom: str | None

    @property
    def words(self) -> str:
        """For whom and until when."""
        return f"held{f' for {self.whom}' if self.whom else ''} until {self.until}"


def holds(reads: Reads, day: str, uids: Iterable[str] | None = None) -> dict[str, Hold]:
    """Return what is held on a day, by uid of piece, lot or bin: the last word on each counts."""
    r, a = schema.reserved, schema.about.c
    b = schema.buyer_name
    whom = func.coalesce(b.c.name, r.c.whom).label("whom")
    wanted = (
        live(r, a.thing, r.c.until, whom)
        .join(schema.about, a.deed == r.c.uid)
        .outerjoin(b, b.c.buyer == r.c.buyer)
    )
    chosen = None if uids is None else list(uids)
    wanted = wanted.where(a.thing != r.c.uid, *among(a.thing, chosen))
    last = {row.thing: row for row in reads.rows(wanted)}
    return {
        uid: Hold(row.until, row.whom)
        for uid, row in last.items()
        if row.until and row.until >= day
    }
