"""The seller's price table set, and pieces and lots sold and taken back, each with the price that held then."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.deals.orders import Item, Ware, refuse_held, wares
from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.buyers import buyer_called
from grader.ledger.deeds import CameBack, Sold, TableSet
from grader.ledger.store import Ledger
from grader.trade.haul import shares_of
from grader.trade.prices import (
    Price,
    PriceTable,
    cents,
    price_by_weight,
    price_of_chips,
    price_of_piece,
    read_price_table,
)


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
    to_holder : it goes to the one for whom it is held.   buyer : his name, which is kept apart."""

    price: Decimal | None
    currency: str | None
    day: str
    note: str | None = None
    to_holder: bool = False
    buyer: str | None = None


def sell(
    ledger: Ledger,
    items: Sequence[Item],
    grades: dict[str, Grading],
    terms: Terms,
    author: str | None,
) -> Sold:
    """Keep that pieces, lots or parts of bins were sold together, with a snapshot of each, and return it.

    grades : by code.

    Raises
    ------
    LedgerError
        One is not there, is held for another, has no price, or no currency is known: one line.
    """

    def decide(reads):
        held = held_prices(reads, terms.day)
        sold = wares(reads, items)
        if not terms.to_holder:
            refuse_held(reads, sold, terms.day)
        asked = [_asked(held, one, grades.get(one.thing.code, Grading())) for one in sold]
        price = terms.price
        if price is None:
            lacking = [one.thing.code for one, p in zip(sold, asked, strict=True) if p is None]
            if lacking:
                raise LedgerError(f"{lacking[0]}: no price is known; say it with --for")
            price = sum((p.money for p in asked), Decimal(0))
        currency = held.table.currency if held else terms.currency
        if currency is None:
            raise LedgerError(
                'no currency is known; set a price table, or write currency = "USD" in grader.toml'
            )
        shares = shares_of(cents(price), _by(sold, asked))
        snapshot = {
            "table": held
            and {"begins": held.table.begins.isoformat(), "version": held.table.version},
            "things": [
                _told(one, p, share, grades.get(one.thing.code, Grading()))
                for one, p, share in zip(sold, asked, shares, strict=True)
            ],
        }
        uids = tuple(one.thing.uid for one in sold)
        of_bins = tuple(one.from_bin for one in sold if one.from_bin) or None
        buyer = terms.buyer and buyer_called(reads, terms.buyer)
        by_table = held and held.uid
        return [Sold(uids, cents(price), currency, snapshot, by_table, terms.note, of_bins, buyer)]

    return ledger.act(decide, author=author)[0]


def _asked(held: HeldTable | None, ware: Ware, of: Grading) -> Price | None:
    one = ware.thing
    if held is None:
        return None
    if isinstance(one, stock.Rest):
        return price_of_bin(held.table, one, ware.net_g, ware.bags)
    if isinstance(one, stock.StockLot):
        # As a lot it is no single; by hand or by weight.
        return price_of_lot(held.table, one)
    return price_of_piece(held.table, one.code, of.grade, one.net_g, of.size)


def price_of_lot(table: PriceTable, lot: stock.StockLot) -> Price | None:
    """Return what a lot comes to: by hand, else by what the finished lot weighs, else by what was asked of it."""
    return price_of_piece(table, lot.code, lot.grade, lot.net_g or lot.size_g, single=False)


def price_of_bin(table: PriceTable, one: stock.Rest, grams: Decimal, bags: int = 1) -> Price | None:
    """Return what so much of a bin comes to: chips in bags, stone of one grade by weight."""
    if one.what == "chips":
        each = price_of_chips(table, grams / bags)
        # What fills no bag of the table has no price by it.
        return Price(cents(each.money * bags), each.how) if each and each.money else None
    return price_by_weight(table, one.grade, grams) if one.what == "sorted" else None


def _by(sold: Sequence[Ware], asked: Sequence[Price | None]) -> list[Decimal]:
    """By what a price for all is divided: what is asked for each, else their weights, else evenly."""
    if all(asked):
        return [price.money for price in asked]
    if all(one.net_g for one in sold):
        return [one.net_g for one in sold]
    return [Decimal(1)] * len(sold)


def _told(ware: Ware, asked: Price | None, share: Decimal, of: Grading) -> dict:
    """What stands in the snapshot of a sale: numbers as text, so that no digit is lost."""
    one = ware.thing
    is_piece, is_bin = isinstance(one, stock.Piece), isinstance(one, stock.Rest)
    return {
        "code": one.code,
        "what": one.what if is_bin else "piece" if is_piece else "lot",
        "net_g": ware.net_g and f"{ware.net_g:f}",
        "bags": ware.bags if is_bin else None,
        "pieces": len(one.pieces) if isinstance(one, stock.StockLot) else None,
        "grade": of.grade if is_piece else one.grade,
        "size": of.size if is_piece else None,
        "asked": asked and f"{asked.money:f}",
        "how": asked and asked.how,
        "share": f"{share:f}",
    }


@dataclass(frozen=True)
class BackTerms:
    """How a sale comes back. only : that thing alone, not all of the sale.   stays : the buyer keeps it, and only money
    goes back.   refund : ``None`` for all that was paid for what comes back."""

    refund: Decimal | None = None
    why: str | None = None
    only: bool = False
    stays: bool = False


def take_back(
    ledger: Ledger, code: str, terms: BackTerms, author: str | None
) -> tuple[stock.Sale, CameBack]:
    """Keep that a sale came back, all of it or one thing, or that money went back, and return both.

    Raises
    ------
    LedgerError
        It is not sold, or more is given back than was paid: one line.
    """
    found: list[stock.Sale] = []

    def decide(reads):
        thing = stock.thing(reads, code)
        held = [sale for sale in stock.sales(reads, [thing.uid]) if thing.uid in sale.sold]
        if not held:
            raise LedgerError(f"{code}: is not sold, so it cannot come back")
        sale = held[-1]
        back = (thing.uid,) if terms.only or terms.stays else sale.sold
        left = sum((sale.got(uid) for uid in back), Decimal(0))
        refund = left if terms.refund is None else terms.refund
        if refund > left:
            raise LedgerError(
                f"{code}: {refund} is more than was paid and not given back yet ({left} {sale.currency})"
            )
        found[:] = [sale]
        whole = back == sale.things
        return [
            CameBack(
                sale.uid,
                cents(refund),
                terms.why,
                None if whole else back,
                True if terms.stays else None,
            )
        ]

    done = ledger.act(decide, author=author)[0]
    return found[0], done
