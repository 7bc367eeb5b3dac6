"""Limits and costs kept as the seller typed them, and what his hauls and parcels come to against the limits."""

from datetime import date
from decimal import Decimal

from grader.deals.hauls import typed
from grader.deals.sales import held_prices
from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.deeds import CostNoted, LimitNoted
from grader.ledger.store import Ledger
from grader.ledger.trips import limits
from grader.trade.limits import Against, Taken, against, against_parcel
from grader.weight import Weight


def set_limit(
    ledger: Ledger,
    name: str,
    most: Weight,
    each: str,
    begins: str,
    note: str | None,
    author: str | None,
) -> LimitNoted:
    """Keep a limit as it was typed, from its day on, and return it; of the same name it follows the one before."""
    done = ledger.act(lambda _: [LimitNoted(name, typed(most), each, begins, note)], author=author)
    return done[0]


def note_cost(
    ledger: Ledger,
    trip: int,
    money: Decimal,
    currency: str | None,
    note: str | None,
    author: str | None,
) -> CostNoted:
    """Keep what was spent on a trip, and return it.

    currency : ``None`` for that of the price table that holds.

    Raises
    ------
    LedgerError
        There is no such trip, or no currency is known: one line.
    """

    def decide(reads):
        found = [one.uid for one in stock.trips(reads) if one.number == trip]
        if not found:
            raise LedgerError(f"no trip {trip}; grader trip list shows them")
        held = None if currency else held_prices(reads, date.today().isoformat())
        known = currency or (held and held.table.currency)
        if not known:
            raise LedgerError("no currency is known; say it with --currency USD")
        return [CostNoted(found[-1], money, known, note)]

    return ledger.act(decide, author=author)[0]


def taken_against(reads: stock.Reads, haul: str | None = None) -> tuple[list[Against], int]:
    """Return what hauls add up to against the typed limits, and how many hauls have no trip and so no day.

    haul : only the spans that the haul of that code falls into.
    """
    trips = {one.uid: one for one in stock.trips(reads)}
    taken, own = [], None
    for one in stock.hauls(reads):
        trip = trips.get(one.trip)
        row = Taken(trip and trip.begins, trip and trip.number, one.raw_g)
        taken.append(row)
        own = row if one.code == haul else own
    found = against(limits(reads), taken)
    if haul is not None:
        spans = (own.day, f"trip {own.trip}", own.day[:4]) if own and own.day else ()
        found = [one for one in found if one.span in spans]
    return found, sum(one.day is None for one in taken)


def parcel_against(reads: stock.Reads, gross_g: Decimal, day: str) -> list[Against]:
    """Return how a packed parcel stands to the typed limits of parcels."""
    return against_parcel(limits(reads), gross_g, day)
