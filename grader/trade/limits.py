"""Limits that the seller typed, and what he took or sends against them. Sums and warnings, never a permission."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

#: From this share of a limit on it is told that little is left.
NEAR = Decimal("0.9")


@dataclass(frozen=True)
class Limit:
    """A limit as it was typed, from a day on, ISO date. each : "day", "trip", "year" or "parcel"."""

    name: str
    most_typed: str
    most_g: Decimal
    each: str
    begins: str
    note: str | None = None


@dataclass(frozen=True)
class Taken:
    """What a haul brought home: day of its trip, ISO date, and the trip by its number; both ``None`` without a trip."""

    day: str | None
    trip: int | None
    grams: Decimal


@dataclass(frozen=True)
class Against:
    """What was taken against a limit in one of its spans. span : the day, "trip 3", or the year."""

    limit: Limit
    span: str
    grams: Decimal

    @property
    def state(self) -> str:
        """ "over", "near" or "below"."""
        if self.grams > self.limit.most_g:
            return "over"
        return "near" if self.grams >= NEAR * self.limit.most_g else "below"


def against(limits: Iterable[Limit], hauls: Iterable[Taken]) -> list[Against]:
    """Return what hauls add up to against each limit, span by span, in order; a span without a haul is left out.

    limits : of two with one name the one that begins later counts from its day on. Limits of a parcel are left out.
    """
    taken = [one for one in hauls if one.day is not None]
    found = []
    by_name: dict[str, list[Limit]] = {}
    for limit in limits:
        by_name.setdefault(limit.name, []).append(limit)
    for same in by_name.values():
        sums: dict[tuple[Limit, str], Decimal] = {}
        for one in sorted(taken, key=lambda one: one.day):
            begun = [limit for limit in same if limit.begins <= one.day]
            # Of those that begin on one day the last one typed.
            limit = max(reversed(begun), key=lambda limit: limit.begins, default=None)
            if limit and (span := _span(limit.each, one)):
                sums[limit, span] = sums.get((limit, span), Decimal(0)) + one.grams
        found += [Against(limit, span, grams) for (limit, span), grams in sums.items()]
    return found


def _span(each: str, one: Taken) -> str | None:
    spans = {"day": one.day, "trip": f"trip {one.trip}", "year": one.day[:4]}
    return spans.get(each)


def against_parcel(limits: Iterable[Limit], gross_g: Decimal, day: str) -> list[Against]:
    """Return how a packed parcel stands to the limits of parcels that hold on a day."""
    begun = sorted((one for one in limits if one.begins <= day), key=lambda one: one.begins)
    holds = {limit.name: limit for limit in begun}
    return [Against(one, "this parcel", gross_g) for one in holds.values() if one.each == "parcel"]
