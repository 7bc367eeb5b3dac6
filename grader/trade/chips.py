"""Chips: a bucket less its tare makes bags of a set net weight, and a rest; and whether bags hold what they say."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True)
class Bags:
    """Bags filled from a bucket. Weights in g, exact as typed."""

    net_g: Decimal
    bag_g: Decimal
    count: int
    rest_g: Decimal


def bags_of(gross_g: Decimal, tare_g: Decimal, bag_g: Decimal) -> Bags:
    """Return how many bags of ``bag_g`` net a bucket fills that weighs ``gross_g`` with and ``tare_g`` without chips.

    Raises
    ------
    ValueError
        A bag of nothing, or a bucket that weighs more empty than full: one line.
    """
    if bag_g <= 0:
        raise ValueError("a bag must hold more than nothing")
    if tare_g < 0 or gross_g < tare_g:
        raise ValueError(
            f"full {gross_g} g, empty {tare_g} g: the bucket must weigh more full than empty"
        )
    net = gross_g - tare_g
    count = int(net // bag_g)
    return Bags(net, bag_g, count, net - count * bag_g)


@dataclass(frozen=True)
class ShortWeightRow:
    """From ``from_g`` on (to the next row) a bag may be short by a share of its label, or by grams."""

    from_g: int
    share: Decimal | None = None
    grams: Decimal | None = None


#: What an equal-sized pack may fall short by, up to 10 kg: Directive 76/211/EEC of 1976, Annex I; its last row, and the
#: one pack in forty, as another source quotes them. Rough sold each by its own weight does not fall under it.
EU_SHORT = (
    ShortWeightRow(5, share=Decimal("0.09")),
    ShortWeightRow(50, grams=Decimal("4.5")),
    ShortWeightRow(100, share=Decimal("0.045")),
    ShortWeightRow(200, grams=Decimal(9)),
    ShortWeightRow(300, share=Decimal("0.03")),
    ShortWeightRow(500, grams=Decimal(15)),
    ShortWeightRow(1000, share=Decimal("0.015")),
)
EU_LAST_G = 10_000
#: Of the packs so many may be short by more than that, none by more than twice as much.
EU_SHORT_SHARE = Fraction(1, 40)


def may_be_short_g(label_g: Decimal) -> Decimal | None:
    """Return by how much one pack with that label may be short, g; ``None`` where the table says nothing."""
    if not EU_SHORT[0].from_g <= label_g <= EU_LAST_G:
        return None
    row = [row for row in EU_SHORT if row.from_g <= label_g][-1]
    return row.grams if row.grams is not None else label_g * row.share


@dataclass(frozen=True)
class NetContents:
    """How weighed packs stand to their label.

    mean_g : of the packs.   may_be_short_g : by the table.
    short, far_short : packs short by more than that, by more than twice that.
    """

    label_g: Decimal
    mean_g: Decimal
    may_be_short_g: Decimal
    short: int
    far_short: int
    packs: int

    @property
    def holds(self) -> bool:
        """Whether the mean is no less than the label, few packs are short and none is far short."""
        few = Fraction(self.short, self.packs) <= EU_SHORT_SHARE
        return self.mean_g >= self.label_g and few and not self.far_short


def net_contents(label_g: Decimal, packs_g: Sequence[Decimal]) -> NetContents | None:
    """Return how packs stand to their label; ``None`` without packs, or where the table holds no such label."""
    least = may_be_short_g(label_g)
    if least is None or not packs_g:
        return None
    short = [label_g - grams for grams in packs_g]
    return NetContents(
        label_g,
        sum(packs_g, Decimal(0)) / len(packs_g),
        least,
        sum(by > least for by in short),
        sum(by > 2 * least for by in short),
        len(packs_g),
    )
