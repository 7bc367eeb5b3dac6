"""Pieces and lots weighed: one, a table, or one after the other."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from grader.deals.hauls import typed
from grader.errors import GraderError, LedgerError
from grader.ledger import stock
from grader.ledger.deeds import Numbered, Weighed
from grader.ledger.facts import Fact, NamedPiece, new_uid
from grader.ledger.store import Ledger
from grader.trade.weighing import Parts, WeighedIn
from grader.weight import Weight, grams_of, read_weights

#: Of so many at most each is looked up by itself; of more, whole hauls are read.
FEW = 8


@dataclass(frozen=True)
class Weighing:
    """What the scale said of a piece or lot, by its whole code. tare : of the container.   scale : the seller's name
    for it."""

    code: str
    weight: Weight
    tare: Weight | None = None
    wet: bool = False
    guessed: bool = False
    scale: str | None = None


def whole_code(code: str, haul: str | None) -> str:
    """Return a code as it is written: "07-5" is 07-005, and with a haul "5" too.

    Raises
    ------
    LedgerError
        It is none: one line.
    """
    code = code.strip()
    if haul is not None and "-" not in code:
        code = f"{haul}-{code}"
    haul, kind, number = stock.read_code(code)
    return stock.code_of(haul, number, kind)


def read_weighings(path: Path, haul: str | None, unit: str, **marks) -> list[Weighing]:
    """Return the rows of a table of weights; ``marks`` are the same for all.

    Raises
    ------
    GraderError
        No such table, or a row that cannot be: one line that names file and line.
    """
    rows = [
        Weighing(whole_code(one.piece, haul), one.weight, **marks)
        for one in read_weights(path, unit)
    ]
    seen: set[str] = set()
    for row in rows:
        if row.code in seen:
            raise GraderError(f"{path}: {row.code} stands there twice; keep one row")
        seen.add(row.code)
    return rows


def read_typed(line: str, haul: str | None, unit: str, **marks) -> Weighing:
    """Return the weighing of a typed line: number, blank, weight.

    Raises
    ------
    GraderError
        It is none: one line.
    """
    code, _, weight = line.strip().partition(" ")
    try:
        grams = grams_of(weight, unit)
    except ValueError as err:
        raise GraderError(str(err)) from err
    if grams.grams <= 0:
        raise GraderError(f"{line.strip()!r}: write number, blank, weight, as 113 612g")
    return Weighing(whole_code(code, haul), grams, **marks)


def weigh(
    ledger: Ledger, rows: Sequence[Weighing], author: str | None, *, number_new: bool = False
) -> list[WeighedIn]:
    """Keep weights, all or none, and return them.

    number_new : a number that no piece bears yet is given to a new piece.

    Raises
    ------
    LedgerError
        A piece is unknown, broken or gone, or its container weighs as much as all: one line that names it.
    """
    told: list[WeighedIn] = []

    def decide(reads):
        told.clear()
        act, facts = new_uid(), []
        known = _things(reads, [row.code for row in rows])
        for row in rows:
            thing, made = known.get(row.code), []
            if thing is None:
                thing, made = _new_piece(reads, row.code, number_new, act)
            if isinstance(thing, stock.Rest):
                raise LedgerError(
                    f"{row.code}: is a bin; grader undo and haul add note it anew, sales are taken off by themselves"
                )
            if isinstance(thing, stock.Piece) and thing.fate:
                raise LedgerError(f"{row.code}: is {thing.fate}; its weight stays as it was")
            if row.tare and row.tare.grams >= row.weight.grams:
                raise LedgerError(
                    f"{row.code}: the container ({row.tare.typed}) weighs as much as all of it ({row.weight.typed}), "
                    "or more; --tare is the empty container, the weight is with it"
                )
            try:
                weighed = Weighed(
                    thing.uid, typed(row.weight), row.tare and typed(row.tare), row.wet, row.guessed,
                    row.scale, act=act,
                )  # fmt: skip
            except LedgerError as err:
                raise LedgerError(f"{row.code}: {err}") from err
            facts += [*made, weighed]
            told.append(
                WeighedIn(
                    row.code,
                    weighed.net_g,
                    thing.net_g,
                    bool(made),
                    wet=row.wet,
                    guessed=row.guessed,
                )
            )
        return facts

    ledger.act(decide, author=author)
    return [_with_parts(ledger, one) for one in told] if len(told) <= FEW else told


def _things(reads: stock.Reads, codes: Iterable[str]) -> dict[str, stock.Piece | stock.StockLot]:
    """Pieces and lots by code; those that are not there are left out."""
    codes = list(codes)
    hauls = {stock.read_code(code)[0] for code in codes}
    if len(codes) <= FEW:
        found = {}
        for code in codes:
            try:
                found[code] = stock.thing(reads, code)
            except LedgerError:
                continue
        return found
    uids = [stock.haul(reads, code).uid for code in hauls]
    every = [one for uid in uids for one in stock.pieces(reads, haul=uid).values()]
    every += [one for uid in uids for one in stock.lots(reads, haul=uid).values()]
    by_code = {one.code: one for one in every}
    return {code: by_code[code] for code in codes if code in by_code}


def _new_piece(
    reads: stock.Reads, code: str, number_new: bool, act: str
) -> tuple[stock.Piece, list[Fact]]:
    haul_code, kind, number = stock.read_code(code)
    haul = stock.haul(reads, haul_code)
    if kind or not number_new:
        hint = "" if kind else "; --new numbers a piece that has no photo yet"
        raise LedgerError(
            f"{code}: nothing has that number; see grader haul list {haul_code}{hint}"
        )
    if stock.was_given(reads, haul_code, number):
        raise LedgerError(f"{code}: that number was given and taken back; give another")
    piece = NamedPiece()
    numbered = Numbered(piece.uid, haul.uid, number, act=act)
    return stock.Piece(piece.uid, code, haul.uid, number, None), [piece, numbered]


def _with_parts(ledger: Ledger, one: WeighedIn) -> WeighedIn:
    """With how the parts of a broken piece stand to it, once the last of them is weighed."""
    thing = stock.thing(ledger, one.code)
    if not isinstance(thing, stock.Piece) or thing.parent is None:
        return one
    parent = stock.pieces(ledger, uids=[thing.parent]).get(thing.parent)
    parts = [p for p in stock.pieces(ledger, haul=thing.haul).values() if p.parent == thing.parent]
    if parent is None or parent.net_g is None or any(p.net_g is None for p in parts):
        return one
    loss = stock.losses(ledger, [parent.uid]).get(parent.uid, Decimal(0))
    total = sum((p.net_g for p in parts), Decimal(0))
    return replace(one, parts=Parts(parent.code, parent.net_g, total, loss))
