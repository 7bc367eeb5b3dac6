"""What the seller says of parts of one stone: of its lines and of patches of its face."""

from dataclasses import dataclass

#: How a line may be found when it is looked at in the hand.
FOUND = ("open", "tight", "healed", "unknown")


@dataclass(frozen=True)
class LineWord:
    """What the seller says of one line.

    line : its number at that time.   points : x, y of each in px of the upright full-size photo.
    says : "crack", "pattern", or "withdrawn", which takes an earlier word back.
    found : "open", "tight", "healed" or "unknown", ``None`` where nothing is said.   how : it was checked.
    """

    line: int
    points: tuple[tuple[int, int], ...]
    says: str
    found: str | None = None
    how: str | None = None


@dataclass(frozen=True)
class PatchWord:
    """What the seller says of one patch.

    x, y, w, h : its box in px of the upright full-size photo.
    says : name of a colour class, "glare", or "withdrawn", which takes an earlier word on it back.
    """

    x: int
    y: int
    w: int
    h: int
    says: str


@dataclass(frozen=True)
class StoneWords:
    """All that is said of parts of one stone, each kind in the order of saying."""

    lines: tuple[LineWord, ...] = ()
    patches: tuple[PatchWord, ...] = ()


#: Of a stone of which nobody said anything.
NOTHING_SAID = StoneWords()
