"""What became of a haul: its raw weight against all its parts, and what the parts are worth."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.trade.prices import CENT, cents
from grader.weight import GRAMS_IN

#: The rows of a balance, in its order; raw = their sum and the gap.
ROWS = (
    "singles", "lots", "sorted", "chips", "waste", "trimming loss", "gifts", "kept", "lost", "unsorted",
    "mud and water",
)  # fmt: skip
#: Of these rows something is sold.
SALEABLE = ("singles", "lots", "sorted", "chips")


@dataclass(frozen=True)
class Part:
    """A part of a haul. size : size class, of a piece.

    row : one of :data:`ROWS`.   grams : ``None`` where it was not weighed.   money : what is asked, or was got where
    ``sold``; ``None`` where it has no price.
    """

    row: str
    grams: Decimal | None
    guessed: bool = False
    grade: str | None = None
    money: Decimal | None = None
    sold: bool = False
    size: str | None = None


@dataclass(frozen=True)
class BalanceRow:
    """Parts of one kind: how many, g, and how much of that is guessed."""

    row: str
    parts: int
    grams: Decimal
    guessed_g: Decimal
    unweighed: int


@dataclass(frozen=True)
class Balance:
    """Raw weight against its parts. gap_g : what is not accounted for; below 0 where the parts weigh more than raw."""

    raw_g: Decimal
    rows: tuple[BalanceRow, ...]
    gap_g: Decimal

    @property
    def saleable_g(self) -> Decimal:
        return sum((row.grams for row in self.rows if row.row in SALEABLE), Decimal(0))


def balance(raw_g: Decimal, parts: Sequence[Part]) -> Balance:
    """Return the balance of a haul; a row of each kind that it has parts of."""
    rows = []
    for name in ROWS:
        of = [part for part in parts if part.row == name]
        if of:
            weighed = [part for part in of if part.grams is not None]
            rows.append(
                BalanceRow(
                    name,
                    len(of),
                    sum((part.grams for part in weighed), Decimal(0)),
                    sum((part.grams for part in weighed if part.guessed), Decimal(0)),
                    len(of) - len(weighed),
                )
            )
    return Balance(raw_g, tuple(rows), raw_g - sum((row.grams for row in rows), Decimal(0)))


@dataclass(frozen=True)
class Worth:
    """Weight and money of parts: what was got for those sold, what is asked for the others.

    unpriced : parts for sale without a price.   guessed_g : of the weight.
    """

    parts: int
    grams: Decimal
    got: Decimal
    asked: Decimal
    unpriced: int
    guessed_g: Decimal = Decimal(0)

    @property
    def total(self) -> Decimal:
        return self.got + self.asked


def worth(parts: Iterable[Part]) -> Worth:
    """Return what those of the parts that are for sale, or were sold, come to."""
    of = [part for part in parts if part.row in SALEABLE]
    priced = [part for part in of if part.money is not None]
    return Worth(
        len(of),
        sum((part.grams for part in of if part.grams is not None), Decimal(0)),
        sum((part.money for part in priced if part.sold), Decimal(0)),
        sum((part.money for part in priced if not part.sold), Decimal(0)),
        len(of) - len(priced),
        sum((part.grams for part in of if part.guessed and part.grams is not None), Decimal(0)),
    )


def money_per(total: Decimal, grams: Decimal, unit: str = "lb") -> Decimal | None:
    """Return money for each unit of weight, to the cent; ``None`` without weight."""
    return cents(total * GRAMS_IN[unit] / grams) if grams > 0 else None


def shares_of(total: Decimal, weights: Sequence[Decimal]) -> list[Decimal]:
    """Return a price divided by weights, to the cent each, so that the shares add up to it exactly.

    What rounding leaves goes, a cent each, to those whose share was cut most.
    """
    whole = sum(weights, Decimal(0))
    exact = [total * weight / whole if whole else total / len(weights) for weight in weights]
    cut = [one.quantize(CENT, "ROUND_DOWN") for one in exact]
    left = int((total - sum(cut, Decimal(0))) / CENT)
    order = sorted(range(len(exact)), key=lambda i: (cut[i] - exact[i], i))
    for i in order[:left]:
        cut[i] += CENT
    return cut
