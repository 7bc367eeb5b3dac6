"""Parts of hauls that are no numbered pieces. Those that are sold from, by weight, by the bag or whole, are bins."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from grader.ledger import schema
from grader.ledger.reads import Reads, code_of, live
from grader.ledger.sales import sold_from_bins
from grader.ledger.views import among


@dataclass(frozen=True)
class Rest:
    """A part of a haul that is no piece for sale.

    what : as of :data:`~grader.ledger.deeds.REST`.   grade : of sorted stone.   grams : as it was noted.
    piece : uid of a numbered one that was given away, kept or lost.
    code : of a bin, ``None`` of what nothing is sold from.   sold_g : of a bin.
    sample : contents of photos of pieces drawn from a bin at random.
    """

    uid: str
    haul: str
    what: str
    grade: str | None
    grams: Decimal
    guessed: bool
    piece: str | None
    code: str | None = None
    sold_g: Decimal = Decimal(0)
    sample: tuple[str, ...] = ()

    @property
    def net_g(self) -> Decimal:
        """What is left in it, g."""
        return self.grams - self.sold_g


def rests(
    reads: Reads, haul: str | None = None, uids: Iterable[str] | None = None
) -> tuple[Rest, ...]:
    """Return the parts of a haul, those of ``uids``, or all, in the order of noting."""
    r, h = schema.rest.c, schema.haul.c
    columns = r["uid", "haul", "what", "grade", "net_g", "guessed", "piece", "number", "sample"]
    wanted = live(schema.rest, *columns, h.code).join(schema.haul, h.uid == r.haul)
    if haul is not None:
        wanted = wanted.where(r.haul == haul)
    rows = reads.rows(wanted.where(*among(r.uid, None if uids is None else list(uids))))
    sold = sold_from_bins(reads, [row.uid for row in rows if row.number])
    return tuple(
        Rest(
            *row[:4],
            Decimal(row.net_g),
            bool(row.guessed),
            row.piece,
            row.number and code_of(row.code, row.number, "B"),
            sold.get(row.uid, Decimal(0)),
            tuple(row.sample or ()),
        )
        for row in rows
    )
