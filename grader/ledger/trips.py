"""What the ledger holds of money spent on trips, and of limits that the seller typed."""

from dataclasses import dataclass
from decimal import Decimal

from grader.ledger import schema
from grader.ledger.reads import Reads, live
from grader.trade.limits import Limit


@dataclass(frozen=True)
class Cost:
    """Money spent on a trip. trip : uid."""

    trip: str
    money: Decimal
    currency: str
    note: str | None


def costs(reads: Reads) -> tuple[Cost, ...]:
    """Return what was spent on trips, in the order of noting."""
    c = schema.cost.c
    rows = reads.rows(live(schema.cost, c.trip, c.money, c.currency, c.note))
    return tuple(Cost(row.trip, Decimal(row.money), row.currency, row.note) for row in rows)


def limits(reads: Reads) -> tuple[Limit, ...]:
    """Return the typed limits, in the order of typing."""
    c = schema.seller_limit.c
    rows = reads.rows(
        live(schema.seller_limit, c.name, c.most_typed, c.most_g, c.each, c.begins, c.note)
    )
    return tuple(Limit(row[0], row[1], Decimal(row.most_g), *row[3:]) for row in rows)
