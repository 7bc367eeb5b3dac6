"""What a listing asks for a piece, a lot or a bin, and the net weight that it tells."""

from dataclasses import dataclass, replace
from decimal import Decimal

from grader.deals.grades import PieceGrade
from grader.deals.sales import price_of_lot
from grader.errors import LedgerError
from grader.ledger import stock
from grader.report.listing_price import bags_record, price_record
from grader.report.weights import both_weights
from grader.trade.prices import ANY, Price, PriceTable, cents, price_of_piece

Thing = stock.Piece | stock.StockLot | stock.Rest
#: What stone is sold by where the seller's unit is too small for a price.
_SOLD_BY = {"g": "kg"}


@dataclass(frozen=True)
class AskedPrice:
    """What a listing asks, typed by the seller, of a bin per weight; ``currency`` where no table holds."""

    money: Decimal | None
    currency: str | None
    day: str


def net_told(thing: Thing) -> tuple[Decimal | None, str | None]:
    """Return the weight that a buyer is told: dry stone that was weighed, of a bin what is left; else why there is
    none."""
    if thing.net_g is None:
        made_up = isinstance(thing, stock.StockLot) and both_weights(thing.size_g)
        return None, f"made up to at least {made_up}, not weighed yet" if made_up else None
    if thing.guessed:
        return None, "guessed, not weighed yet"
    if not isinstance(thing, stock.Rest) and thing.wet:
        return None, "weighed wet, not dry yet"
    return thing.net_g, None


def price_asked(
    thing: Thing, grade: PieceGrade, table: PriceTable | None, asked: AskedPrice, unit: str
) -> dict | None:
    """Return what is asked for it as plain data: as typed, else by the table; ``None`` where none is known.

    grade : of a piece.   unit : the seller's, where no table holds.

    Raises
    ------
    LedgerError
        A price is typed and no currency is known.
    """
    if asked.money is not None:
        currency = table.currency if table else asked.currency
        if currency is None:
            raise LedgerError(
                'no currency is known; set a price table, or write currency = "USD" in grader.toml'
            )
        money = cents(asked.money)
        if isinstance(thing, stock.Rest):
            unit = table.per if table else _SOLD_BY.get(unit, unit)
            return price_record(money, currency, "per weight", None, (money, unit))
        return price_record(money, currency, "typed")
    if table is None:
        return None
    return (_of_bin if isinstance(thing, stock.Rest) else _of_whole)(thing, grade, table)


def _of_bin(thing: stock.Rest, _: PieceGrade, table: PriceTable) -> dict | None:
    """Chips in the bags that what is left fills, stone of one grade per weight."""
    if thing.what == "chips":
        bags = [(grams, cents(money)) for grams, money in table.chips if grams <= thing.net_g]
        return bags_record(bags, table.currency, table) if bags else None
    each = _each(table, thing.grade, None)
    if each is None:
        return None
    return price_record(each, table.currency, "per weight", table, (each, table.per))


def _of_whole(
    thing: stock.Piece | stock.StockLot, of: PieceGrade, table: PriceTable
) -> dict | None:
    net_g, _ = net_told(thing)
    price: Price | None
    if isinstance(thing, stock.StockLot):
        grade, size = thing.grade, None
        # Without a weight that a buyer is told, by what the lot was made up to.
        price = price_of_lot(table, replace(thing, net_g=net_g))
    else:
        grade, size = (None if of.unfamiliar else of.grade), of.size
        price = price_of_piece(table, thing.code, grade, net_g, size)
    if price is None:
        return None
    each = _each(table, grade, size)
    per = None if each is None else (each, table.per)
    return price_record(price.money, table.currency, price.how, table, per)


def _each(table: PriceTable, grade: str | None, size: str | None) -> Decimal | None:
    by_size = table.by_weight.get(grade, {})
    return by_size.get(size, by_size.get(ANY))
