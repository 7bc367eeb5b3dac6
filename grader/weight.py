"""What a stone weighs: as the seller typed it, and in grams."""

from dataclasses import dataclass
from decimal import Decimal

from grader.files import read_number


@dataclass(frozen=True)
class Weight:
    """A weight, kept as it was typed beside what it comes to.

    typed : the seller's own words, "412" or "1,35".   grams : decimal, above 0.
    """

    typed: str
    grams: Decimal

    def __float__(self) -> float:
        return float(self.grams)


def grams_of(text: str) -> Weight:
    """Return the weight that a person wrote in grams, decimals behind a point or a comma.

    Raises
    ------
    ValueError
        No number, or one that can be read in two ways: one line.
    """
    read_number(text)
    return Weight(text.strip(), Decimal(text.strip().replace(",", ".")))
