"""Chips: a bucket less its tare makes bags of a set net weight, and a rest; and whether bags hold what they say."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from statistics import stdev


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
    """From ``from_g`` to ``to_g`` a bag may be short by a share of its label, or by grams."""

    from_g: Decimal
    to_g: Decimal
    share: Decimal | None = None
    grams: Decimal | None = None


@dataclass(frozen=True)
class ShortWeightRule:
    """Whose table says what a bag may be short by, and what of a sample.

    few_share : of the packs so many may be short by more.   far : none by more than so many times as much.
    sampled : whether the mean of a sample has to hold beyond its own doubt.
    """

    source: str
    rows: tuple[ShortWeightRow, ...]
    few_share: Fraction
    far: int
    sampled: bool


def _rows(rows: Sequence[tuple]) -> tuple[ShortWeightRow, ...]:
    return tuple(
        ShortWeightRow(Decimal(low), Decimal(high), Decimal(by) if is_share else None,
                       None if is_share else Decimal(by))
        for low, high, by, is_share in rows
    )  # fmt: skip


#: By the name that a seller types. The EU rows: equal-sized packs up to 10 kg, Directive 76/211/EEC of 1976, Annex I;
#: its last row and the one pack in forty as another source quotes them. The US rows: NIST Handbook 133, Table 2-5,
#: from memory, to be checked against the handbook, so they count for nobody who has not typed "US"; between its rows
#: nothing is said. Rough sold each by its own weight falls under neither.
RULES = {
    "EU": ShortWeightRule(
        "Directive 76/211/EEC",
        _rows(
            (
                (5, 50, "0.09", True), (50, 100, "4.5", False), (100, 200, "0.045", True),
                (200, 300, "9", False), (300, 500, "0.03", True), (500, 1000, "15", False),
                (1000, 10_000, "0.015", True),
            )
        ),
        Fraction(1, 40),
        2,
        sampled=False,
    ),
    "US": ShortWeightRule(
        "NIST Handbook 133, from memory: check against the handbook",
        _rows(
            (
                (0, 36, "0.10", True), (81, 117, "7.2", False), (208, 263, "12.7", False),
                (426, 489, "19.9", False), (852, 970, "31.7", False), (2130, 2630, "63.5", False),
                (4260, 5300, "99.7", False),
            )
        ),
        Fraction(0),
        1,
        sampled=True,
    ),
}  # fmt: skip


def may_be_short_g(label_g: Decimal, rule: str = "EU") -> Decimal | None:
    """Return by how much one pack with that label may be short, g; ``None`` where the table says nothing."""
    fit = [row for row in RULES[rule].rows if row.from_g <= label_g <= row.to_g]
    if not fit:
        return None
    # Where one row ends and the next begins, the next.
    row = fit[-1]
    return row.grams if row.grams is not None else label_g * row.share


@dataclass(frozen=True)
class NetContents:
    """How weighed packs stand to their label.

    mean_g : of the packs.   doubt_g : of that mean, where the rule asks for a sample; else 0.
    may_be_short_g : by the table.   short, far_short : packs short by more than that, by more than none may be.
    """

    label_g: Decimal
    mean_g: Decimal
    may_be_short_g: Decimal
    short: int
    far_short: int
    packs: int
    rule: str = "EU"
    doubt_g: Decimal = Decimal(0)

    @property
    def holds(self) -> bool:
        """Whether the mean is no less than the label, few packs are short and none is far short."""
        few = Fraction(self.short, self.packs) <= RULES[self.rule].few_share
        return self.mean_g + self.doubt_g >= self.label_g and few and not self.far_short


def net_contents(
    label_g: Decimal, packs_g: Sequence[Decimal], rule: str = "EU"
) -> NetContents | None:
    """Return how packs stand to their label; ``None`` without packs, or where the table holds no such label."""
    least = may_be_short_g(label_g, rule)
    if least is None or not packs_g:
        return None
    short = [label_g - grams for grams in packs_g]
    far = RULES[rule].far * least
    return NetContents(
        label_g,
        sum(packs_g, Decimal(0)) / len(packs_g),
        least,
        sum(by > least for by in short),
        sum(by > far for by in short),
        len(packs_g),
        rule,
        sample_doubt_g(packs_g) if RULES[rule].sampled else Decimal(0),
    )


def sample_factor(packs: int) -> float:
    """Return by how many standard deviations of the packs the mean of so many may be off, two and more packs.

    t(0.975, n - 1) / sqrt(n): the sample correction factor of NIST Handbook 133, ch. 2.
    """
    # Loads scipy, which costs a second.
    from scipy.stats import t

    return float(t.ppf(0.975, packs - 1)) / packs**0.5


def sample_doubt_g(packs_g: Sequence[Decimal]) -> Decimal:
    """Return by how much the mean of a sample of packs may be off, g; 0 for a single pack."""
    if len(packs_g) < 2:
        return Decimal(0)
    return Decimal(f"{sample_factor(len(packs_g)) * float(stdev(packs_g)):.6f}")
