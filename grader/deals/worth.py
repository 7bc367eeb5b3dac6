"""A haul as parts with weight and money, and what may become of it: what its report and its balance are made of."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from grader.deals.alike import pictures_of
from grader.deals.grades import PieceGrade, session_grades
from grader.deals.sales import HeldTable, held_prices, price_of_bin, price_of_lot
from grader.deals.samples import sample_grades
from grader.ledger import stock
from grader.ledger.store import Ledger
from grader.report.haul import HaulReport, haul_report
from grader.report.outlook import FirstAndNow, More, SampledBin, TopSingle
from grader.session import Session
from grader.trade.haul import Part
from grader.trade.outlook import Spread, Stock, outlook
from grader.trade.prices import price_of_piece

#: So many of the dearest singles are shown.
TOP = 6
_OUT = ("gifts", "kept", "lost", "broken")
NO_GRADE = PieceGrade(None, False)


def haul_parts(
    ledger: Ledger,
    haul: stock.Haul,
    grades: Mapping[str, PieceGrade],
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
        if piece.fate in _OUT or piece.lot:
            continue
        of = grades.get(uid, NO_GRADE)
        asked = held and price_of_piece(held.table, piece.code, of.grade, piece.net_g, of.size)
        sold = piece.fate == "sold"
        money = got.get(uid) if sold else asked and asked.money
        parts.append(Part("singles", piece.net_g, piece.guessed, of.grade, money, sold, of.size))
    for lot in lots.values():
        grams = lot_grams(lot, pieces)
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


def lot_grams(lot: stock.StockLot, pieces: Mapping[str, stock.Piece]) -> Decimal:
    """Return what a lot weighs, g: until the finished lot is weighed, as much as its pieces together."""
    within = [pieces[uid].net_g for uid in lot.pieces if uid in pieces]
    return lot.net_g or sum((g for g in within if g is not None), Decimal(0))


def got_of(sales: Iterable[stock.Sale], currency: str | None) -> dict[str, Decimal]:
    """Return what was got for pieces, lots and bins in that currency, by uid: their shares of the sales that hold, less
    what went back."""
    got: dict[str, Decimal] = {}
    for sale in sales:
        for uid in sale.sold if sale.currency == currency else ():
            got[uid] = got.get(uid, Decimal(0)) + sale.got(uid)
    return got


def report_of(
    session: Session,
    code: str,
    unit: str,
    on_piece: Callable[[int, int], None] = lambda done, total: None,
) -> HaulReport:
    """Return the report of a haul as things stand today.

    on_piece : told for how many of how many that nobody called the model was asked.

    Raises
    ------
    LedgerError
        No such haul: one line.
    """
    ledger = session.need_ledger("a report")
    haul = stock.haul(ledger, code)
    held = held_prices(ledger, date.today().isoformat())
    pieces = stock.pieces(ledger, haul=haul.uid)
    grades = session_grades(session, pieces, first=True, on_piece=on_piece)
    trip = next((one for one in stock.trips(ledger) if one.uid == haul.trip), None)
    lots, rests = stock.lots(ledger, haul=haul.uid), stock.rests(ledger, haul.uid)
    sales = stock.sales(ledger, [*pieces, *lots, *(one.uid for one in rests if one.code)])
    currency = held.table.currency if held else session.settings.currency
    if currency is None and sales:
        currency = sales[-1].currency
    got = got_of(sales, currency)
    parts = haul_parts(ledger, haul, grades, held, got)
    told = haul_report(haul, trip, parts, sales, held and held.table, currency, unit)
    bins = _sampled(session, rests)
    waiting = _waiting(pieces, grades, lots, rests, held, bins)
    spread = Spread(held.table.spread, held.table.sells) if held else Spread()
    more = More(
        outlook(waiting, session.profile.grades, spread),
        spread,
        told.worth.got,
        _first_and_now(pieces, grades, session.profile.grades),
        tuple(bins.values()),
        _top(ledger, pieces, grades, held, got),
    )
    return replace(told, more=more)


def _sampled(session: Session, rests: Sequence[stock.Rest]) -> dict[str, SampledBin]:
    """Bins of which a sample was photographed and that are not sold out, by uid; grades in the order of the ladder."""
    found = {}
    for one in rests:
        if one.sample and one.net_g:
            counts = sample_grades(session, one.sample)
            ordered = {grade: counts.get(grade, 0) for grade in session.profile.grades}
            found[one.uid] = SampledBin(one.code, one.what, one.net_g, ordered if counts else {})
    return found


def _waiting(
    pieces: Mapping[str, stock.Piece],
    grades: Mapping[str, PieceGrade],
    lots: Mapping[str, stock.StockLot],
    rests: Sequence[stock.Rest],
    held: HeldTable | None,
    bins: Mapping[str, SampledBin],
) -> list[Stock]:
    """What is still there for sale, with the chances of its grades and what is asked were it of each."""
    found = []
    for uid, piece in pieces.items():
        of = grades.get(uid, NO_GRADE)
        if piece.fate or piece.lot or piece.net_g is None or of.grade is None:
            continue
        chances = {g: p for g, p in of.chances.items() if p > 0} or {of.grade: 1.0}
        asked = {
            g: price_of_piece(held.table, piece.code, g, piece.net_g, of.size) if held else None
            for g in chances
        }
        found.append(Stock(float(piece.net_g), _money(asked), chances, size=of.size))
    for lot in lots.values():
        if not lot.sold and lot.grade:
            price = held and price_of_lot(held.table, lot)
            grams = float(lot.net_g or lot.size_g)
            found.append(Stock(grams, _money({lot.grade: price}), {lot.grade: 1.0}))
    for one in rests:
        if not one.code or not one.net_g:
            continue
        if one.uid in bins and bins[one.uid].counts:
            counts = bins[one.uid].counts
            of_grade = {g: replace(one, what="sorted", grade=g) for g in counts}
            asked = {
                g: held and price_of_bin(held.table, b, one.net_g) for g, b in of_grade.items()
            }
            found.append(Stock(float(one.net_g), _money(asked), counts=counts))
        elif one.what != "unsorted":
            kind = one.grade or one.what
            price = held and price_of_bin(held.table, one, one.net_g)
            found.append(Stock(float(one.net_g), _money({kind: price}), {kind: 1.0}))
    return found


def _money(asked: Mapping) -> dict[str, float]:
    return {grade: float(price.money) for grade, price in asked.items() if price}


def _first_and_now(
    pieces: Mapping[str, stock.Piece], grades: Mapping[str, PieceGrade], ladder: Sequence[str]
) -> tuple[FirstAndNow, ...]:
    """Called pieces by what the tool had proposed first, and by what they are now."""
    called = {
        uid: (one.first, one.grade, pieces[uid].net_g or Decimal(0))
        for uid, one in grades.items()
        if one.called and one.first and pieces[uid].fate != "broken"
    }
    rows = []
    for grade in ladder:
        first = [grams for was, _, grams in called.values() if was == grade]
        now = [grams for _, is_, grams in called.values() if is_ == grade]
        if first or now:
            sums = sum(first, Decimal(0)), sum(now, Decimal(0))
            rows.append(FirstAndNow(grade, len(first), sums[0], len(now), sums[1]))
    return tuple(rows)


def _top(
    ledger: Ledger,
    pieces: Mapping[str, stock.Piece],
    grades: Mapping[str, PieceGrade],
    held: HeldTable | None,
    got: Mapping[str, Decimal],
) -> tuple[TopSingle, ...]:
    """The dearest singles, sold or asked for, with their pictures."""
    singles = []
    for uid, piece in pieces.items():
        if piece.fate in _OUT or piece.lot:
            continue
        of, sold = grades.get(uid, NO_GRADE), piece.fate == "sold"
        asked = held and price_of_piece(held.table, piece.code, of.grade, piece.net_g, of.size)
        money = got.get(uid) if sold else asked and asked.money
        if money:
            singles.append((uid, TopSingle(piece.code, of.grade, piece.net_g, money, sold)))
    best = sorted(singles, key=lambda row: (-row[1].money, row[1].code))[:TOP]
    pictures = pictures_of(ledger, [uid for uid, _ in best])
    return tuple(replace(one, jpeg=pictures.get(uid)) for uid, one in best)
