"""What pieces may weigh by the size of their faces, and which typed weight does not fit."""

from collections.abc import Mapping, Sequence

from grader.ledger import stock
from grader.ledger.face_sizes import face_sizes
from grader.ledger.store import Ledger
from grader.settings import Settings
from grader.trade.estimate import (
    CHUNK,
    DENSITY,
    OddWeight,
    Range,
    chunk_g,
    own_g,
    own_heft,
    plausible_g,
    slab_g,
)
from grader.trade.weighing import OverHaul, WeighedIn

#: So many own weighed pieces, the last ones, tell how heavy the others may be: more take long to read.
OWN_ENOUGH = 500


def estimates(
    ledger: Ledger,
    pieces: Mapping[str, stock.Piece],
    settings: Settings,
    thick_mm: Range | None = None,
) -> dict[str, Range]:
    """Return what pieces that were not weighed may weigh, g, by uid: as evenly thick slabs, else as one's own weighed
    pieces do, else as chunks.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    wanted = [uid for uid, piece in pieces.items() if piece.net_g is None and piece.fate is None]
    if not wanted:
        return {}
    sure = [uid for uid, p in pieces.items() if p.net_g is not None and not (p.guessed or p.wet)]
    sure = sure[-OWN_ENOUGH:]
    sizes = face_sizes(ledger, [*wanted, *(() if thick_mm else sure)])
    heft = own_heft(
        [(sizes[uid].area_cm2, float(pieces[uid].net_g)) for uid in sure if uid in sizes]
    )
    return {
        uid: _estimate(sizes[uid].area_cm2, heft, settings, thick_mm)
        for uid in wanted
        if uid in sizes
    }


def _estimate(
    area_cm2: float,
    heft: Range | None,
    settings: Settings,
    thick_mm: Range | None,
) -> Range:
    density, chunk = settings.density or DENSITY, settings.chunk or CHUNK
    if thick_mm is not None:
        return slab_g(area_cm2, thick_mm, density)
    return own_g(area_cm2, heft) if heft else chunk_g(area_cm2, density, chunk)


def heavier_than_haul(ledger: Ledger, weighed: Sequence[WeighedIn]) -> list[OverHaul]:
    """Return the weights of these that are more than all that their haul brought.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    raw = {one.code: one.raw_g for one in stock.hauls(ledger)}
    hauls = [(one, stock.read_code(one.code)[0]) for one in weighed]
    return [
        OverHaul(one.code, one.net_g, haul, raw[haul])
        for one, haul in hauls
        if haul in raw and one.net_g > raw[haul]
    ]


def odd_weights(
    ledger: Ledger, weighed: Sequence[WeighedIn], settings: Settings
) -> list[OddWeight]:
    """Return the weights of these that do not fit the size of the piece.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    codes = {one.code: float(one.net_g) for one in weighed}
    if len(codes) == 1:
        thing = stock.thing(ledger, *codes)
        pieces = {thing.uid: thing} if isinstance(thing, stock.Piece) else {}
    else:
        pieces = {uid: p for uid, p in stock.pieces(ledger).items() if p.code in codes}
    odd = []
    for uid, size in face_sizes(ledger, pieces).items() if pieces else ():
        code, fits = pieces[uid].code, plausible_g(size.area_cm2, settings.density or DENSITY)
        if not fits[0] <= codes[code] <= fits[1]:
            odd.append(OddWeight(code, codes[code], size.area_cm2, fits))
    return odd
