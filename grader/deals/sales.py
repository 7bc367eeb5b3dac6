"""The seller's price table set, and pieces and lots sold and taken back, each with the price that held then."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.deals.hauls import open_piece
from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.buyers import buyer_called
from grader.ledger.deeds import CameBack, Sold, TableSet
from grader.ledger.store import Ledger
from grader.trade.haul import shares_of
from grader.trade.prices import Price, PriceTable, cents, price_of_piece, read_price_table


@dataclass(frozen=True)
class HeldTable:
    """The price table that holds, and its uid in the ledger."""

    uid: str
    table: PriceTable


def set_prices(ledger: Ledger, text: str, where: str, author: str | None) -> PriceTable:
    """Keep a price table as it was written, from its day on, and return it.

    Raises
    ------
    SettingsError
        It does not make sense: one line.
    """
    table = read_price_table(text, where)
    ledger.act(lambda _: [TableSet("prices", table.begins.isoformat(), text)], author=author)
    return table


def held_prices(reads: stock.Reads, day: str) -> HeldTable | None:
    """Return the price table that holds on a day, ``None`` before the first."""
    entry = stock.table(reads, "prices", day)
    if entry is None:
        return None
    return HeldTable(entry.fact.uid, read_price_table(entry.fact.text, "prices in the ledger"))


@dataclass(frozen=True)
class Grading:
    """Grade and size class of a piece or lot, as far as they are known."""

    grade: str | None = None
    size: str | None = None


@dataclass(frozen=True)
class Terms:
    """On what terms something is sold. price : ``None`` for what the table asks.   currency : where no table holds.
    buyer : his name, which is kept apart."""

    price: Decimal | None
    currency: str | None
    day: str
    note: str | None = None
    buyer: str | None = None


def sell(
    ledger: Ledger,
    codes: Sequence[str],
    grades: dict[str, Grading],
    terms: Terms,
    author: str | None,
) -> Sold:
    """Keep that pieces or lots were sold together, with a snapshot of each, and return it.

    grades : by code.

    Raises
    ------
    LedgerError
        One is not there, has no price, or no currency is known: one line.
    """

    def decide(reads):
        held = held_prices(reads, terms.day)
        things = [_for_sale(reads, code) for code in codes]
        asked = [_asked(held, one, grades.get(one.code, Grading())) for one in things]
        price = terms.price
        if price is None:
            lacking = [one.code for one, p in zip(things, asked, strict=True) if p is None]
            if lacking:
                raise LedgerError(f"{lacking[0]}: no price is known; say it with --for")
            price = sum((p.money for p in asked), Decimal(0))
        currency = held.table.currency if held else terms.currency
        if currency is None:
            raise LedgerError(
                'no currency is known; set a price table, or write currency = "USD" in grader.toml'
            )
        shares = shares_of(cents(price), _by(things, asked))
        snapshot = {
            "table": held
            and {"begins": held.table.begins.isoformat(), "version": held.table.version},
            "things": [
                _told(one, p, share, grades.get(one.code, Grading()))
                for one, p, share in zip(things, asked, shares, strict=True)
            ],
        }
        uids = tuple(one.uid for one in things)
        buyer = terms.buyer and buyer_called(reads, terms.buyer)
        return [Sold(uids, cents(price), currency, snapshot, held and held.uid, terms.note, buyer)]

    return ledger.act(decide, author=author)[0]


def _for_sale(reads: stock.Reads, code: str) -> stock.Piece | stock.StockLot:
    found = stock.thing(reads, code)
    if isinstance(found, stock.Piece):
        return open_piece(reads, code)
    if found.sold:
        raise LedgerError(f"{code}: is sold; grader return brings it back")
    return found


def _asked(held: HeldTable | None, one: stock.Piece | stock.StockLot, of: Grading) -> Price | None:
    if held is None:
        return None
    if isinstance(one, stock.StockLot):
        # As a lot it is no single; by hand or by weight.
        return price_of_lot(held.table, one)
    return price_of_piece(held.table, one.code, of.grade, one.net_g, of.size)


def price_of_lot(table: PriceTable, lot: stock.StockLot) -> Price | None:
    """Return what a lot comes to: by hand, else by what the finished lot weighs, else by what was asked of it."""
    return price_of_piece(table, lot.code, lot.grade, lot.net_g or lot.size_g, single=False)


def _by(things: Sequence, asked: Sequence[Price | None]) -> list[Decimal]:
    """By what a price for all is divided: what is asked for each, else their weights, else evenly."""
    if all(asked):
        return [price.money for price in asked]
    if all(one.net_g for one in things):
        return [one.net_g for one in things]
    return [Decimal(1)] * len(things)


def _told(one, asked: Price | None, share: Decimal, of: Grading) -> dict:
    """What stands in the snapshot of a sale: numbers as text, so that no digit is lost."""
    is_lot = isinstance(one, stock.StockLot)
    return {
        "code": one.code,
        "net_g": one.net_g and f"{one.net_g:f}",
        "grade": one.grade if is_lot else of.grade,
        "size": None if is_lot else of.size,
        "asked": asked and f"{asked.money:f}",
        "how": asked and asked.how,
        "share": f"{share:f}",
    }


def take_back(
    ledger: Ledger, code: str, refund: Decimal | None, why: str | None, author: str | None
) -> tuple[stock.Sale, CameBack]:
    """Keep that a sale came back, all of it, and return both.

    refund : all of the price by default.

    Raises
    ------
    LedgerError
        It is not sold, or more is given back than was paid: one line.
    """
    found: list[stock.Sale] = []

    def decide(reads):
        thing = stock.thing(reads, code)
        held = [sale for sale in stock.sales(reads, [thing.uid]) if sale.refund is None]
        if not held:
            raise LedgerError(f"{code}: is not sold, so it cannot come back")
        sale = held[-1]
        if refund is not None and refund > sale.price:
            raise LedgerError(
                f"{code}: {refund} is more than was paid ({sale.price} {sale.currency})"
            )
        found[:] = [sale]
        return [CameBack(sale.uid, sale.price if refund is None else cents(refund), why)]

    done = ledger.act(decide, author=author)[0]
    return found[0], done
