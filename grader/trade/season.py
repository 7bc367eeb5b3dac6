"""Hauls and trips side by side, stock by age, how long it lasts, and what it cost apart from what is asked for it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from grader.trade.haul import SALEABLE, Part
from grader.trade.prices import cents

#: Ages by which stock is told: up to so many days; older is the last band.
AGES = (30, 90, 180, 365)
#: What is sold a week is told by the sales of so many days, or since the first sale where that is less.
SELLING_DAYS = 84


@dataclass(frozen=True)
class AgeBand:
    """Stock of an age. days : from, to (``None`` for older than all).   asked : money."""

    days: tuple[int, int | None]
    parts: int
    grams: Decimal
    asked: Decimal


def by_age(stock: Iterable[tuple[str, Part]], today: date) -> list[AgeBand]:
    """Return what is for sale and not sold, by how many days ago it was brought; (day as ISO date, part) of each."""
    edges = [0, *(days + 1 for days in AGES)]
    bands = list(zip(edges, [*AGES, None], strict=True))
    found: dict[int, list[Part]] = {}
    for day, part in stock:
        if part.row in SALEABLE and not part.sold:
            age = max(0, (today - date.fromisoformat(day)).days)
            found.setdefault(sum(age > last for last in AGES), []).append(part)
    return [
        AgeBand(
            bands[n],
            len(parts),
            sum((part.grams for part in parts if part.grams is not None), Decimal(0)),
            sum((part.money for part in parts if part.money is not None), Decimal(0)),
        )
        for n, parts in sorted(found.items())
    ]


def sold_a_week(sold: Sequence[tuple[str, Decimal]], today: date) -> Decimal | None:
    """Return g sold a week of late, ``None`` where nothing is; (day as ISO date, g) of each thing that stays sold."""
    days = [(today - date.fromisoformat(day)).days for day, _ in sold]
    late = [g for age, (_, g) in zip(days, sold, strict=True) if age < SELLING_DAYS]
    if not late:
        return None
    span = min(SELLING_DAYS, max(7, max(days) + 1))
    return sum(late, Decimal(0)) * 7 / span


def weeks_left(stock_g: Decimal, a_week: Decimal | None) -> Decimal | None:
    """Return for how many weeks stock lasts, ``None`` where nothing is sold."""
    return None if not a_week else (stock_g / a_week).quantize(Decimal("0.1"))


def stock_cost(
    costs: Mapping[str, Decimal], weights: Mapping[str, tuple[Decimal, Decimal]]
) -> Decimal:
    """Return what the stock at hand cost: each trip's money, divided by weight over all of its stone for sale, sold or
    not, as far as it is not sold.

    costs : by trip.   weights : by trip, g not sold and g in all.
    """
    shares = [
        costs[trip] * left / whole
        for trip, (left, whole) in weights.items()
        if trip in costs and whole
    ]
    return cents(sum(shares, Decimal(0)))
