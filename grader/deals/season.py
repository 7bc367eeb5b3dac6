"""All hauls of the ledger, as their season's report tells them."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from grader.deals.worth import lot_grams, report_of
from grader.ledger import stock
from grader.ledger.store import Ledger
from grader.ledger.trips import costs
from grader.report.season import Season, SpotRow, sum_rows, trip_name
from grader.session import Session
from grader.trade.haul import SALEABLE
from grader.trade.season import by_age, sold_a_week, stock_cost, weeks_left


def season_of(session: Session, unit: str) -> Season:
    """Return all hauls as things stand today, in the currency of the prices that hold.

    Raises
    ------
    LedgerError
        The file cannot be read: one line.
    """
    ledger, today = session.need_ledger("a report"), date.today()
    reports = [report_of(session, haul.code, unit) for haul in stock.hauls(ledger)]
    currency = next((one.currency for one in reports if one.currency), None)
    spent: dict[str, Decimal] = {}
    for cost in costs(ledger):
        if cost.currency == currency:
            spent[cost.trip] = spent.get(cost.trip, Decimal(0)) + cost.money
    by_trip: dict[str | None, list] = {}
    for one in reports:
        by_trip.setdefault(one.trip and one.trip.uid, []).append(one)
    rows = {uid: _trip_row(of, spent.get(uid)) for uid, of in by_trip.items()}
    spots: dict[str, list[SpotRow]] = {}
    for uid, of in by_trip.items():
        spot = of[0].trip and of[0].trip.spot
        spots.setdefault(spot or "no spot told", []).append(rows[uid])
    parts = [(one, part) for one in reports for part in one.parts]
    aged = [(one.trip.begins if one.trip else one.haul.day, part) for one, part in parts]
    sold = _sold(ledger, {sale.uid: sale for one in reports for sale in one.sales}.values())
    ages, a_week = by_age(aged, today), sold_a_week(sold, today)
    weights = {uid: _weights(of) for uid, of in by_trip.items() if uid}
    left = sum((band.grams for band in ages), Decimal(0))
    return Season(
        tuple(reports),
        currency,
        reports[0].unit if reports else unit,
        tuple(rows.values()),
        tuple(sum_rows(name, of) for name, of in spots.items()),
        tuple(ages),
        a_week,
        weeks_left(left, a_week),
        stock_cost(spent, weights) if spent else None,
        sum((band.asked for band in ages), Decimal(0)),
        tuple(of[0].trip.number for uid, of in by_trip.items() if uid and uid not in spent),
    )


def _trip_row(of: list, cost: Decimal | None) -> SpotRow:
    trip = of[0].trip
    hours = trip and trip.hours
    return SpotRow(
        trip_name(trip),
        len(of),
        sum((one.haul.raw_g for one in of), Decimal(0)),
        sum((one.balance.saleable_g for one in of), Decimal(0)),
        sum((one.worth.total for one in of), Decimal(0)),
        hours,
        hours * trip.hands if hours and trip.hands else None,
        cost,
    )


def _sold(ledger: Ledger, sales: Iterable[stock.Sale]) -> list[tuple[str, Decimal]]:
    """Day, and g of each thing that stays sold; a lot that was sold before it was weighed counts as its pieces do."""
    lots = stock.lots(ledger)
    found = []
    for sale in sales:
        for uid in sale.sold:
            grams = sale.told(uid)["net_g"]
            if grams is None and uid in lots:
                grams = lot_grams(lots[uid], stock.pieces(ledger, uids=lots[uid].pieces))
            if grams is not None:
                found.append((sale.time[:10], Decimal(grams)))
    return found


def _weights(of: list) -> tuple[Decimal, Decimal]:
    """g for sale and not sold, and g for sale in all."""
    parts = [p for one in of for p in one.parts if p.row in SALEABLE and p.grams is not None]
    whole = sum((part.grams for part in parts), Decimal(0))
    return sum((part.grams for part in parts if not part.sold), Decimal(0)), whole
