"""The weigh-in at the table: number, blank, weight, one after the other; the last one can be taken back."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.deals.acts import undo
from grader.deals.hauls import new_haul
from grader.deals.weighing import read_typed, weigh
from grader.errors import LedgerError
from grader.ledger import history, stock
from grader.report.cautions import lift_lines
from grader.report.stock import weighed_lines, weight_text
from grader.table.stones import TableStone
from grader.table.tray import Tray
from grader.weight import grams_of

#: A piece that weighs so many times what its like do is asked about.
ODD_TIMES = 4


@dataclass(frozen=True)
class Weighing:
    """A weighing that was kept. lines : in words.   code : of the piece.   hint : what is odd about it."""

    code: str
    lines: tuple[str, ...]
    hint: str | None = None


def weigh_in(typed: str, haul: str | None, by: str, new: bool, tray: Tray) -> Weighing:
    """Keep a weighing as it was typed.

    Raises
    ------
    GraderError
        It is none, or its piece is unknown, broken or gone: one line.
    """
    unit = tray.session.settings.unit
    row = read_typed(typed, haul, unit)
    (told,) = weigh(tray.ledger, [row], by, number_new=new)
    tray.keep_up()
    lines = [*weighed_lines([told], unit), *lift_lines(told.net_g)]
    return Weighing(told.code, tuple(lines), odd_weight(told.code, told.net_g, tray.stones, unit))


def odd_weight(
    code: str, net_g: Decimal, stones: Sequence[TableStone], unit: str = "g"
) -> str | None:
    """Return that a weight does not go with the size of its face, beside those of like size; ``None`` where it does, or
    where that cannot be told."""
    own = next((stone for stone in stones if stone.code == code), None)
    if own is None or not own.area_cm2:
        return None
    # Weight grows with size as the area does to the power of one and a half.
    others = sorted(
        float(stone.net_g) / stone.area_cm2**1.5
        for stone in stones
        if stone.code != code and stone.net_g and stone.area_cm2
    )
    if len(others) < 5:
        return None
    usual = others[len(others) // 2] * own.area_cm2**1.5
    if usual / ODD_TIMES <= float(net_g) <= usual * ODD_TIMES:
        return None
    like = weight_text(Decimal(f"{usual:.0f}"), unit)
    much = "much more" if net_g > usual else "much less"
    return f"{much} than stones with a face of this size weigh here, about {like}: is it the right number?"


def begin_haul(code: str, raw: str, by: str, tray: Tray) -> str:
    """Keep a haul with its weight as it came out of the ground, and return it in words.

    Raises
    ------
    LedgerError
        There is a haul of that number, or its weight is none: one line.
    """
    unit = tray.session.settings.unit
    try:
        weight = grams_of(raw, unit)
    except ValueError as err:
        raise LedgerError(f"weight of a haul: {err}") from err
    if weight.grams <= 0:
        raise LedgerError("weight of a haul: is nothing; write it as 54kg or 120lb")
    new_haul(tray.ledger, code, weight, None, by)
    return f"haul {code}: {weight_text(weight.grams, unit)} as dug"


def take_weight_back(by: str, tray: Tray) -> tuple[str, ...]:
    """Take one's last weighing back and return the numbers of the pieces.

    Raises
    ------
    LedgerError
        The last that this person did is no weighing, or there is none, or somebody built on it: one line.
    """
    last = history.last_act(tray.ledger, by)
    if last and not {entry.fact.kind for entry in last} <= {"weighed", "numbered"}:
        raise LedgerError(
            f"the last that {by} did is no weighing ({last[-1].fact.kind}); grader undo --by takes it back"
        )
    taken, codes = undo(tray.ledger, by)
    tray.keep_up()
    return tuple(dict.fromkeys(codes[e.fact.thing] for e in taken if e.fact.kind == "weighed"))


def hauls(tray: Tray) -> list[dict]:
    """Return the hauls, and how many of the pieces that are there are weighed."""
    rows = []
    for haul in stock.hauls(tray.ledger):
        pieces = [one for one in stock.pieces(tray.ledger, haul=haul.uid).values() if not one.fate]
        weighed = [one for one in pieces if one.net_g is not None]
        grams = sum((one.net_g for one in weighed), Decimal(0))
        rows.append(
            {
                "code": haul.code,
                "pieces": len(pieces),
                "weighed": len(weighed),
                "grams": grams,
                "next": [one.code for one in pieces if one.net_g is None][:12],
            }
        )
    return rows
