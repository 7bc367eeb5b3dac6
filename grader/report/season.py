"""All hauls side by side: trips compared, stock by age, weeks of stock left, returns, and cost apart from asking."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.ledger.stock import Trip
from grader.report.haul import HaulReport, sale_lines
from grader.report.sheet import page_template
from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.trade.haul import money_per
from grader.trade.prices import cents
from grader.trade.season import SELLING_DAYS, AgeBand


@dataclass(frozen=True)
class SpotRow:
    """Trips to one spot, or one trip: how many hauls, g raw and for sale, money, hours, and hours of one hand; cost."""

    name: str
    hauls: int
    raw_g: Decimal
    saleable_g: Decimal
    total: Decimal
    hours: Decimal | None
    hand_hours: Decimal | None
    cost: Decimal | None


@dataclass(frozen=True)
class Season:
    """All hauls. cost : of the stock at hand, ``None`` where no cost was noted.   no_cost : trips without one.
    a_week : g sold a week of late.   left : for how many weeks stock lasts."""

    reports: tuple[HaulReport, ...]
    currency: str | None
    unit: str
    trips: tuple[SpotRow, ...]
    spots: tuple[SpotRow, ...]
    ages: tuple[AgeBand, ...]
    a_week: Decimal | None
    left: Decimal | None
    cost: Decimal | None
    asked: Decimal
    no_cost: tuple[int, ...]


def trip_name(trip: Trip | None) -> str:
    """Return how a trip is called in a table."""
    return f"trip {trip.number}, {trip.name}" if trip else "no trip"


def row_cells(row: SpotRow, season: Season) -> list[str]:
    """Return a row of the tables of trips and spots: name, hauls, raw, for sale, worth, per raw, per hour, per hand."""
    unit, money = season.unit, lambda m: "" if m is None else money_text(m, None)
    each = lambda of: None if not of else cents(row.total / of)  # noqa: E731
    return [
        row.name,
        str(row.hauls),
        weight_text(row.raw_g, unit),
        weight_text(row.saleable_g, unit),
        money(row.total),
        money(money_per(row.total, row.raw_g, unit)),
        money(each(row.hours)),
        money(each(row.hand_hours)),
        money(row.cost),
    ]


def heads(season: Season) -> list[str]:
    """Return the heads of those tables."""
    return [
        "", "hauls", "raw", "for sale", f"worth, {season.currency or 'money'}", f"per raw {season.unit}", "per hour",
        "per hand and hour", "cost noted",
    ]  # fmt: skip


def stock_lines(season: Season) -> list[str]:
    """Return stock by age, how long it lasts, and what it cost apart from what is asked."""
    unit = season.unit
    lines = [
        f"{_days(band)}: {weight_text(band.grams, unit)} in {band.parts} parts, "
        f"{money_text(band.asked, season.currency)} asked"
        for band in season.ages
    ]
    if season.a_week is None:
        lines.append(
            f"nothing was sold in the last {SELLING_DAYS} days, so no weeks of stock are told"
        )
    else:
        lines.append(
            f"{weight_text(season.a_week, unit)} sold a week of late (last {SELLING_DAYS} days at most): "
            f"stock for {season.left} weeks"
        )
    if season.cost is None:
        of = f" in {season.currency}" if season.currency else ""
        lines.append(f"no cost was noted{of} (grader trip cost), so the stock at cost is not known")
    else:
        lacking = (
            f"; trips without a cost: {', '.join(map(str, season.no_cost))}"
            if season.no_cost
            else ""
        )
        lines.append(
            f"stock at cost {money_text(season.cost, season.currency)}, by weight of what each trip brought for sale; "
            f"own labour is none{lacking}"
        )
    lines.append(
        f"asked for it {money_text(season.asked, season.currency)}: not a cost, and no value for the books"
    )
    return lines


def _days(band: AgeBand) -> str:
    first, last = band.days
    return f"older than {first - 1} days" if last is None else f"{first} to {last} days old"


def season_lines(season: Season) -> list[str]:
    """Return all of it as text."""
    names = heads(season)
    lines = []
    for title, rows in (("trips", season.trips), ("spots", season.spots)):
        lines.append(f"{title} compared")
        for row in rows:
            name, *cells = row_cells(row, season)
            told = [f"{head} {cell}" for head, cell in zip(names[1:], cells, strict=True) if cell]
            lines.append(f"  {name}: {', '.join(told)}")
    return [*lines, "stock", *(f"  {line}" for line in stock_lines(season)), *returns(season)]


def returns(season: Season) -> list[str]:
    """Return what came back and why, each sale once."""
    return list(dict.fromkeys(line for report in season.reports for line in sale_lines(report)))


def season_page(season: Season) -> str:
    """Return all of it as a page that needs no network."""
    most = max((row.total for row in season.trips), default=Decimal(0))
    return page_template("season.html").render(
        heads=heads(season),
        tables=[
            (
                title,
                [
                    {
                        "cells": row_cells(row, season),
                        "width": f"{100 * row.total / most:.1f}" if most else "0",
                    }
                    for row in rows
                ],
            )
            for title, rows in (("Trips compared", season.trips), ("Spots compared", season.spots))
        ],
        stock=stock_lines(season),
        returns=returns(season),
    )


def season_record(season: Season) -> dict:
    """Return all of it as plain data; weights in g and money are text."""
    return {
        "currency": season.currency,
        "unit": season.unit,
        "trips": [_row_record(row) for row in season.trips],
        "spots": [_row_record(row) for row in season.spots],
        "ages": [
            {
                "from_days": band.days[0],
                "to_days": band.days[1],
                "parts": band.parts,
                "grams": number_text(band.grams),
                "asked": number_text(band.asked),
            }
            for band in season.ages
        ],
        "sold_a_week_g": number_text(season.a_week and season.a_week.quantize(Decimal("0.1"))),
        "weeks_left": number_text(season.left),
        "stock_at_cost": number_text(season.cost),
        "stock_asked": number_text(season.asked),
        "trips_without_cost": list(season.no_cost),
        "returns": returns(season),
    }


def _row_record(row: SpotRow) -> dict:
    texts = {
        name: number_text(getattr(row, name))
        for name in ("raw_g", "saleable_g", "total", "hours", "hand_hours", "cost")
    }
    return {"name": row.name, "hauls": row.hauls, **texts}


def sum_rows(name: str, rows: Sequence[SpotRow]) -> SpotRow:
    """Return rows added up; what is not known of one is not known of all."""
    add = lambda values: None if None in values else sum(values, Decimal(0))  # noqa: E731
    columns = ("hours", "hand_hours", "cost")
    known = {column: add([getattr(row, column) for row in rows]) for column in columns}
    sums = {
        column: sum((getattr(row, column) for row in rows), Decimal(0))
        for column in ("raw_g", "saleable_g", "total")
    }
    return SpotRow(name, sum(row.hauls for row in rows), **sums, **known)
