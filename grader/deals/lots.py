"""Lots made up from weighed pieces of a haul, and kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import ceil

from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.deeds import LotMade
from grader.ledger.facts import new_uid
from grader.ledger.sales import holds
from grader.ledger.store import Ledger
from grader.trade.lots import Lots, lots_by_hand, make_lots
from grader.weight import PieceWeight, Weight


@dataclass(frozen=True)
class LotRules:
    """What lots are to be: weight asked for in g, pieces in one at least and at most, and the seed of the search."""

    size_g: Decimal
    fewest: int = 1
    most: int | None = None
    seed: int = 0


@dataclass(frozen=True)
class KeptLots:
    """Lots with their codes in the ledger, and the pieces that they were made of.

    left_out : codes of pieces of that grade that could not go in, with why: "held", "not weighed", "guessed" or "wet".
    """

    made: Lots
    codes: tuple[str, ...]
    pieces: tuple[PieceWeight, ...]
    left_out: dict[str, str]


def lots_of(pieces: Sequence[PieceWeight], rules: LotRules) -> Lots:
    """Return lots made up from weighed pieces."""
    # A part of a gram is left away, and a lot asked for in parts of one is rounded up: so none is short.
    grams = [max(1, int(piece.weight.grams)) for piece in pieces]
    return make_lots(
        grams, ceil(rules.size_g), fewest=rules.fewest, most=rules.most, seed=rules.seed
    )


@dataclass(frozen=True)
class LoosePieces:
    """The pieces of one grade of a haul that can go into lots. left_out : as in :class:`KeptLots`."""

    haul: str
    grade: str
    pieces: tuple[stock.Piece, ...]
    left_out: dict[str, str]

    @property
    def weights(self) -> tuple[PieceWeight, ...]:
        """What they weigh, in their order."""
        return tuple(PieceWeight(one.code, Weight(one.typed, one.net_g)) for one in self.pieces)


def loose_pieces(
    ledger: Ledger, haul_code: str, grade: str, of_grade: Sequence[str]
) -> LoosePieces:
    """Return the pieces of a grade that are there, dry and weighed.

    of_grade : uids of the haul's pieces of that grade.

    Raises
    ------
    LedgerError
        No such haul, or no piece of it can go into a lot: one line.
    """
    there = [one for one in stock.pieces(ledger, uids=of_grade).values() if _is_loose(one)]
    held = holds(ledger, date.today().isoformat(), [piece.uid for piece in there])
    left_out = {piece.code: why for piece in there if (why := _why_not(piece, piece.uid in held))}
    fit = tuple(piece for piece in there if piece.code not in left_out)
    if not fit:
        stock.haul(ledger, haul_code)
        why = f"; left out: {', '.join(left_out)}, held or not weighed dry" if left_out else ""
        raise LedgerError(f"haul {haul_code}: no loose piece of grade {grade} is weighed{why}")
    return LoosePieces(haul_code, grade, fit, left_out)


def put_together(loose: LoosePieces, size_g: Decimal, trays: Sequence[Sequence[str]]) -> Lots:
    """Return lots as a person put them together, the pieces by their codes; a tray that holds none is none.

    Raises
    ------
    LedgerError
        A piece is none of these, or lies in two lots: one line.
    """
    place = {piece.code: n for n, piece in enumerate(loose.pieces)}
    codes = [code for tray in trays for code in tray]
    for code in codes:
        if code not in place:
            why = loose.left_out.get(code, "is no loose piece of this grade any more")
            raise LedgerError(f"{code}: {why}; make the lots again")
        if codes.count(code) > 1:
            raise LedgerError(f"{code}: lies in two lots; take it out of one")
    filled = [[place[code] for code in tray] for tray in trays if tray]
    grams = [max(1, int(piece.net_g)) for piece in loose.pieces]
    return lots_by_hand(grams, ceil(size_g), filled)


def keep_lots(
    ledger: Ledger,
    haul_code: str,
    grade: str,
    of_grade: Sequence[str],
    rules: LotRules,
    author: str | None,
) -> KeptLots:
    """Make up lots from the pieces of a grade that are there, dry and weighed, and keep them.

    of_grade : uids of the haul's pieces of that grade.

    Raises
    ------
    LedgerError
        No such haul, no piece of it can go into a lot, or somebody sold or weighed one meanwhile: one line.
    """
    # The search may take seconds, and other programs wait while something is written: so it comes before.
    loose = loose_pieces(ledger, haul_code, grade, of_grade)
    return keep_made(ledger, loose, lots_of(loose.weights, rules), rules.size_g, author)


def keep_made(
    ledger: Ledger, loose: LoosePieces, made: Lots, size_g: Decimal, author: str | None
) -> KeptLots:
    """Keep lots that were made from loose pieces, by a search or by hand.

    Raises
    ------
    LedgerError
        A lot is short, or somebody sold or weighed a piece meanwhile: one line.
    """
    fit = loose.pieces
    for number, lot in enumerate(made.lots, start=1):
        if lot.over_g < 0:
            raise LedgerError(
                f"lot {number}: {-lot.over_g} g short of {made.size_g} g; put another piece in"
            )
    codes: list[str] = []

    def decide(reads):
        haul, act = stock.haul(reads, loose.haul), new_uid()
        now = stock.pieces(reads, uids=[piece.uid for piece in fit])
        if changed := [piece.code for piece in fit if now.get(piece.uid) != piece]:
            raise LedgerError(f"{changed[0]}: was dealt with just now; make the lots again")
        first = stock.last_lot(reads, loose.haul) + 1
        numbers = range(first, first + len(made.lots))
        codes[:] = [stock.code_of(loose.haul, n, "L") for n in numbers]
        return [
            LotMade(
                haul.uid, n, size_g, tuple(fit[i].uid for i in lot.pieces), loose.grade, act=act
            )
            for n, lot in zip(numbers, made.lots, strict=True)
        ]

    ledger.act(decide, author=author)
    return KeptLots(made, tuple(codes), loose.weights, loose.left_out)


def _is_loose(piece: stock.Piece) -> bool:
    return piece.fate is None and piece.lot is None


def _why_not(piece: stock.Piece, held: bool) -> str | None:
    if held:
        return "held"
    if piece.net_g is None:
        return "not weighed"
    # A buyer pays for dry stone.
    return "guessed" if piece.guessed else "wet" if piece.wet else None
