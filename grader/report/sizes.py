"""Estimated weights, and weights that do not fit, in words."""

from collections.abc import Sequence
from decimal import Decimal
from functools import cache

from grader.report.weights import weight_text
from grader.trade.estimate import OddWeight, Range

#: So many odd weights are told; of more, the first ones and how many.
_TOLD = 5


def range_text(grams: Range, unit: str) -> str:
    """Return a range of weights, two digits of each: "120 to 760 g"."""
    low, high = (_shown(f"{one:.2g}", unit) for one in grams)
    return f"{low.removesuffix(f' {unit}')} to {high}"


@cache
def _shown(digits: str, unit: str) -> str:
    """Two digits as a weight: there are few of them, and lists have thousands."""
    return weight_text(Decimal(f"{float(digits):g}"), unit)


def odd_lines(odd: Sequence[OddWeight], unit: str) -> list[str]:
    """Return a line for each weight that does not fit its piece: kept as typed, look again."""
    lines = [
        f"{one.code}: {weight_text(Decimal(f'{one.grams:g}'), unit)} looks {_way(one)} for a face of "
        f"{one.area_cm2:.0f} cm² ({range_text(one.fits_g, unit)} would fit); kept as you typed it: look at unit, "
        "number and scale once more"
        for one in odd[:_TOLD]
    ]
    more = len(odd) - _TOLD
    return [*lines, f"and {more} more that do not fit"] if more > 0 else lines


def _way(one: OddWeight) -> str:
    return "little" if one.grams < one.fits_g[0] else "much"
