"""What a stone weighs: as the seller typed it, and in grams."""

import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from grader.errors import GraderError, quoted
from grader.files import read_number, read_table

#: Grams in one of each unit, exact by definition: the international yard and pound agreement of 1959, and the metric
#: carat of 1907 (from memory). ``oz`` is a sixteenth of a pound; a troy ounce is none of the trade's.
GRAMS_IN = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "lb": Decimal("453.59237"),
    "oz": Decimal("453.59237") / 16,
    "ct": Decimal("0.2"),
}
_WRITTEN = re.compile(r"(.*?)\s*([a-z]+)\.?", re.IGNORECASE | re.DOTALL)
_SAME_UNIT = {
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "ounces": "oz",
    "grams": "g",
    "kilos": "kg",
}


@dataclass(frozen=True)
class Weight:
    """A weight, kept as it was typed beside what it comes to.

    typed : the seller's own words, "412" or "1.35 lb"; with the unit that was meant where that is not g.
    grams : decimal, above 0.
    """

    typed: str
    grams: Decimal

    def __float__(self) -> float:
        return float(self.grams)


def grams_of(text: str, unit: str = "g") -> Weight:
    """Return the weight that a person wrote, decimals behind a point or a comma, with a unit or without.

    unit : meant where none is written, one of :data:`GRAMS_IN`.

    Raises
    ------
    ValueError
        No number, one that can be read in two ways, or an unknown unit: one line.
    """
    typed = text.strip()
    number = typed
    # "nan" and "inf" are no units: they are left to the number.
    if (match := _WRITTEN.fullmatch(typed)) and any(letter.isdigit() for letter in match[1]):
        number, unit = match[1], _SAME_UNIT.get(match[2].lower(), match[2].lower())
        if unit not in GRAMS_IN:
            raise ValueError(f"{typed!r}: {match[2]} is no unit here; write g, kg, lb, oz or ct")
    elif unit != "g":
        typed = f"{typed} {unit}"
    read_number(number)
    return Weight(typed, Decimal(number.replace(",", ".")) * GRAMS_IN[unit])


@dataclass(frozen=True)
class PieceWeight:
    """A piece by the name that the seller gave it, and what it weighs."""

    piece: str
    weight: Weight


def read_weights(path: str | Path, unit: str = "g") -> list[PieceWeight]:
    """Return the rows of a table with the columns ``piece`` and ``weight``, in its order.

    unit : meant where none is written.

    Raises
    ------
    GraderError
        No such table, a row without piece or weight, a weight of nothing, or a piece that stands there twice: one line
        that names file and line.
    """
    found: dict[str, PieceWeight] = {}
    for line, cells in read_table(path, ("piece", "weight"), GraderError):
        name = cells["piece"]
        try:
            weight = grams_of(cells["weight"], unit)
        except ValueError as err:
            raise GraderError(f"{path}: line {line}: {err}") from err
        if not name:
            raise GraderError(f"{path}: line {line}: no piece is named; write its number or name")
        if weight.grams <= 0:
            raise GraderError(
                f"{path}: line {line}: {quoted(name)} weighs nothing; write what the scale shows"
            )
        if name in found:
            raise GraderError(
                f"{path}: line {line}: {quoted(name)} stands there twice; keep one row"
            )
        found[name] = PieceWeight(name, weight)
    return list(found.values())
