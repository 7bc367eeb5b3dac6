"""Lots at the table: trays of pictures that a hand may change while the weights are seen, and then keeps."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.deals.grades import known_grades
from grader.deals.lots import (
    LoosePieces,
    LotRules,
    keep_made,
    loose_pieces,
    lots_of,
    put_together,
)
from grader.errors import LedgerError
from grader.ledger import stock
from grader.report.lots import kept_lines, over_words
from grader.report.stock import weight_text
from grader.report.words import counted
from grader.session import Session
from grader.table.stones import TableStone
from grader.table.tray import Tray
from grader.trade.lots import Lots
from grader.weight import grams_of


@dataclass(frozen=True)
class LotWish:
    """Lots of which pieces, and how heavy, as it was typed. fewest, most : pieces in a lot."""

    haul: str
    grade: str
    size: str
    fewest: int = 1
    most: int | None = None


def _size_g(wish: LotWish, session: Session) -> Decimal:
    try:
        size = grams_of(wish.size, session.settings.unit).grams
    except ValueError as err:
        raise LedgerError(f"weight of a lot: {err}") from err
    if size <= 0:
        raise LedgerError("weight of a lot: is nothing; write it as 500g or 1lb")
    return size


def _loose(wish: LotWish, session: Session) -> LoosePieces:
    if wish.grade not in session.profile.grades:
        raise LedgerError(
            f"{wish.grade}: no grade of your ladder; one of {', '.join(session.profile.grades)}"
        )
    ledger = session.need_ledger("lots")
    grades = known_grades(session, wish.haul)
    of_grade = [uid for uid, one in grades.items() if one.grade == wish.grade]
    return loose_pieces(ledger, wish.haul, wish.grade, of_grade)


def planned(wish: LotWish, tray: Tray) -> dict:
    """Return lots that fill the wish, as trays; nothing is kept.

    Raises
    ------
    LedgerError
        No such haul, or no piece of it can go into a lot: one line.
    """
    if wish.most is not None and wish.most < wish.fewest:
        raise LedgerError(
            f"pieces in a lot: {wish.most} at most is less than {wish.fewest} at least"
        )
    size_g, loose = _size_g(wish, tray.session), _loose(wish, tray.session)
    made = lots_of(loose.weights, LotRules(size_g, wish.fewest, wish.most))
    return _trays(made, loose, tray)


def weighed(wish: LotWish, trays: Sequence[Sequence[str]], tray: Tray) -> dict:
    """Return trays as a hand put them, with what they weigh now; nothing is kept.

    Raises
    ------
    LedgerError
        A piece is gone, or lies in two trays: one line.
    """
    size_g, loose = _size_g(wish, tray.session), _loose(wish, tray.session)
    return _trays(put_together(loose, size_g, trays), loose, tray)


def kept(wish: LotWish, trays: Sequence[Sequence[str]], by: str, tray: Tray) -> list[str]:
    """Keep trays as lots with numbers, and return them in words.

    Raises
    ------
    LedgerError
        One is short, or a piece was dealt with meanwhile: one line.
    """
    size_g, loose = _size_g(wish, tray.session), _loose(wish, tray.session)
    made = put_together(loose, size_g, trays)
    if not made.lots:
        raise LedgerError("no lot holds a piece; put some in")
    done = keep_made(tray.ledger, loose, made, size_g, by)
    tray.keep_up()
    return kept_lines(done.made, done.pieces, done.codes, done.left_out)


def _trays(made: Lots, loose: LoosePieces, tray: Tray) -> dict:
    unit, stones = tray.session.settings.unit, _by_code(tray)

    def told(places: Sequence[int]) -> list[dict]:
        return [_piece(loose.pieces[i], stones, unit) for i in places]

    short = sum(lot.over_g < 0 for lot in made.lots)
    if not made.lots:
        return _none_made(made, loose, unit) | {"left": told(made.left)}
    lots = "1 lot" if len(made.lots) == 1 else f"{len(made.lots)} lots"
    says = f"{lots} of {weight_text(Decimal(made.size_g), unit)}"
    if short:
        says += f", {short} of them short"
    else:
        given = 100 * made.over_share
        says += f", {given:.1f} % given away" if given else ", nothing given away"
    return {
        "says": says,
        "trays": [
            {
                "pieces": told(lot.pieces),
                "weight": weight_text(Decimal(lot.grams), unit),
                "over": over_words(lot.over_g, unit),
                "short": lot.over_g < 0,
            }
            for lot in made.lots
        ],
        "left": told(made.left),
        "left_out": _left_out(loose),
        "keeps": not short,
    }


def _none_made(made: Lots, loose: LoosePieces, unit: str) -> dict:
    """No lot: what all pieces weigh together, beside the wish."""
    total_g = sum((one.net_g for one in loose.pieces), Decimal(0))
    size, total = (weight_text(grams, unit) for grams in (Decimal(made.size_g), total_g))
    pieces = counted(len(loose.pieces), "piece")
    says = f"no lot of {size}: {pieces} of {total} in all; ask for a lighter lot"
    return {"says": says, "trays": [], "left_out": _left_out(loose), "keeps": False}


def _left_out(loose: LoosePieces) -> list[str]:
    return [f"{code}: {why}" for code, why in loose.left_out.items()]


def _by_code(tray: Tray) -> Mapping[str, TableStone]:
    return {stone.code: stone for stone in tray.stones if stone.code}


def _piece(piece: stock.Piece, stones: Mapping[str, TableStone], unit: str) -> dict:
    stone = stones.get(piece.code)
    return {
        "code": piece.code,
        "weight": None if piece.net_g is None else weight_text(piece.net_g, unit),
        "picture": stone and stone.picture and f"/pictures/{stone.picture}",
    }


def made_before(haul: str, tray: Tray) -> dict:
    """Return what is there of a haul: its lots that are not sold, as trays, and how many loose pieces each grade has.

    Raises
    ------
    LedgerError
        No such haul: one line.
    """
    ledger, unit, stones = tray.ledger, tray.session.settings.unit, _by_code(tray)
    uid = stock.haul(ledger, haul).uid
    pieces = stock.pieces(ledger, haul=uid)
    grades = known_grades(tray.session, haul)
    loose = [one for one in pieces.values() if not one.fate and not one.lot]
    counts = {grade: 0 for grade in reversed(tray.session.profile.grades)}
    for one in loose:
        grade = grades[one.uid].grade if one.uid in grades else None
        if grade in counts and one.net_g is not None:
            counts[grade] += 1
    return {
        "grades": [{"grade": grade, "weighed": n} for grade, n in counts.items()],
        "lots": [
            {
                "code": lot.code,
                "grade": lot.grade,
                "weight": _lot_words(lot, pieces, unit),
                "pieces": [_piece(pieces[u], stones, unit) for u in lot.pieces if u in pieces],
            }
            for lot in stock.lots(ledger, haul=uid).values()
            if not lot.sold
        ],
        "pieces": [one.code for one in loose],
    }


def _lot_words(lot: stock.StockLot, pieces: Mapping[str, stock.Piece], unit: str) -> str:
    if lot.net_g is not None:
        return f"{weight_text(lot.net_g, unit)} weighed"
    grams = sum((pieces[u].net_g or Decimal(0) for u in lot.pieces if u in pieces), Decimal(0))
    return f"about {weight_text(grams, unit)}, weigh it"
