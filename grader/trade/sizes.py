"""Sizes of a piece as people write them: 92x61x34 mm, 3.6x2.4 in."""

import re
from decimal import Decimal, InvalidOperation

#: By definition: international yard and pound agreement of 1959, 1 in is 25.4 mm.
MM_IN = {"mm": Decimal(1), "cm": Decimal(10), "in": Decimal("25.4")}
#: No piece that is sold is larger.
MOST_MM = 3_000


def sides_mm_of(text: str, least: int = 1, most: int = 3) -> tuple[Decimal, ...]:
    """Return the sides of "92x61x34", in mm; also in cm or in, a comma for a point.

    least, most : how many sides there may be.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    words = re.fullmatch(r"(.*?)\s*(mm|cm|in)?", text.strip().lower())
    try:
        sides = [Decimal(side.replace(",", ".")) for side in re.split(r"\s*[x×]\s*", words[1])]
    except InvalidOperation:
        sides = []
    sides_mm = tuple(side * MM_IN[words[2] or "mm"] for side in sides if side.is_finite())
    if not least <= len(sides_mm) == len(sides) <= most or not all(
        0 < side <= MOST_MM for side in sides_mm
    ):
        told = "34mm" if most == 1 else "92x61 or 92x61x34 mm"
        raise ValueError(f"{text!r}: give it in mm, cm or in, as {told}")
    return sides_mm
