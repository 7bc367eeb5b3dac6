"""What the seller says of parts of one stone: of its lines and of patches of its face."""

from dataclasses import dataclass

from grader.face.lines.line_words import LineWord
from grader.face.regions.patch_words import PatchWord


@dataclass(frozen=True)
class StoneWords:
    """All that is said of parts of one stone, each kind in the order of saying."""

    lines: tuple[LineWord, ...] = ()
    patches: tuple[PatchWord, ...] = ()


#: Of a stone of which nobody said anything.
NOTHING_SAID = StoneWords()
