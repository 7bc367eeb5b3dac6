"""A haul as parts with weight and money: what its report and its balance are made of."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from grader.deals.grades import known_grades
from grader.deals.sales import Grading, HeldTable, held_prices, price_of_bin, price_of_lot
from grader.ledger import stock
from grader.ledger.store import Ledger
from grader.report.haul import HaulReport, haul_report
from grader.session import Session
from grader.trade.haul import Part
from grader.trade.prices import price_of_piece


def haul_parts(
    ledger: Ledger,
    haul: stock.Haul,
    grades: Mapping[str, Grading],
    held: HeldTable | None,
    got: Mapping[str, Decimal],
) -> list[Part]:
    """Return the parts of a haul. A broken piece is its parts, and its loss trimming loss; pieces in a lot are the lot.

    grades : by uid of piece.   got : what was got for those sold, by uid.
    """
    pieces = stock.pieces(ledger, haul=haul.uid)
    lots = stock.lots(ledger, haul=haul.uid)
    parts = []
    for uid, piece in pieces.items():
        if piece.fate in ("gifts", "kept", "lost", "broken") or piece.lot:
            continue
        of = grades.get(uid, Grading())
        asked = held and price_of_piece(held.table, piece.code, of.grade, piece.net_g, of.size)
        sold = piece.fate == "sold"
        money = got.get(uid) if sold else asked and asked.money
        parts.append(Part("singles", piece.net_g, piece.guessed, of.grade, money, sold))
    for lot in lots.values():
        within = [pieces[uid].net_g for uid in lot.pieces if uid in pieces]
        grams = lot.net_g or sum((g for g in within if g is not None), Decimal(0))
        asked = held and price_of_lot(held.table, lot)
        money = got.get(lot.uid) if lot.sold else asked and asked.money
        parts.append(Part("lots", grams, False, lot.grade, money, lot.sold))
    for rest in stock.rests(ledger, haul.uid):
        price = held and price_of_bin(held.table, rest, rest.net_g)
        if rest.sold_g:
            money = got.get(rest.uid)
            parts.append(Part(rest.what, rest.sold_g, rest.guessed, rest.grade, money, True))
        if rest.net_g or not rest.sold_g:
            parts.append(
                Part(rest.what, rest.net_g, rest.guessed, rest.grade, price and price.money)
            )
    lost = stock.losses(ledger, [uid for uid, p in pieces.items() if p.fate == "broken"])
    return [*parts, *(Part("trimming loss", grams) for grams in lost.values())]


def _got(sales: Iterable[stock.Sale], currency: str | None) -> dict[str, Decimal]:
    """What was got for pieces, lots and bins in that currency, by uid: their shares of the sales that hold, less what
    went back."""
    got: dict[str, Decimal] = {}
    for sale in sales:
        for uid in sale.sold if sale.currency == currency else ():
            got[uid] = got.get(uid, Decimal(0)) + sale.got(uid)
    return got


def report_of(session: Session, code: str, unit: str) -> HaulReport:
    """Return the report of a haul as things stand today.

    Raises
    ------
    LedgerError
        No such haul: one line.
    """
    ledger = session.need_ledger("a report")
    haul = stock.haul(ledger, code)
    held = held_prices(ledger, date.today().isoformat())
    grades = {uid: Grading(one.grade, one.size) for uid, one in known_grades(session, code).items()}
    trip = next((one for one in stock.trips(ledger) if one.uid == haul.trip), None)
    things = [*stock.pieces(ledger, haul=haul.uid), *stock.lots(ledger, haul=haul.uid)]
    things += [one.uid for one in stock.rests(ledger, haul.uid) if one.code]
    sales = stock.sales(ledger, things)
    currency = held.table.currency if held else session.settings.currency
    if currency is None and sales:
        currency = sales[-1].currency
    parts = haul_parts(ledger, haul, grades, held, _got(sales, currency))
    return haul_report(haul, trip, parts, sales, held and held.table, currency, unit)
