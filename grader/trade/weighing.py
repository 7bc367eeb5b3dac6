"""A weigh-in, and how the parts of a broken piece stand to it."""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Parts:
    """The parts of a broken piece against itself, g: what it weighed, they weigh, and what was noted as lost."""

    parent: str
    parent_g: Decimal
    sum_g: Decimal
    loss_g: Decimal

    @property
    def gap_g(self) -> Decimal:
        """What is not accounted for; below 0 where the parts weigh too much."""
        return self.parent_g - self.sum_g - self.loss_g


@dataclass(frozen=True)
class WeighedIn:
    """A weight of a piece or lot that was kept. before_g : what stood there.   new : its number was given with it.
    parts : of the broken piece that it is of, once all are weighed."""

    code: str
    net_g: Decimal
    before_g: Decimal | None
    new: bool
    parts: Parts | None = None
    wet: bool = False
    guessed: bool = False


@dataclass(frozen=True)
class OverHaul:
    """A piece or lot that weighs more than its whole haul as it was dug, g."""

    code: str
    net_g: Decimal
    haul: str
    raw_g: Decimal
