"""What the tool proposes for one piece, and what the seller says."""

from dataclasses import dataclass


@dataclass(frozen=True)
class SceneEstimate:
    """The scene head's number for a face, 0 to 100 in whole points, with its 95 % range."""

    score: int
    low: int
    high: int


@dataclass(frozen=True)
class Proposal:
    """A proposed grade and scene score. Never overwritten by the seller's call: both are kept.

    grade : a name of the profile's ladder.   scene : 0 to 100, whole points.
    probabilities : by grade, sum 1.   sell_as : single / by weight / chips / waste, ``None`` without scale.
    reasons : up to three plain lines.   model : name and short hash of the model folder.
    """

    grade: str
    scene: int
    probabilities: dict[str, float]
    sell_as: str | None
    reasons: tuple[str, ...]
    model: str


@dataclass(frozen=True)
class Call:
    """The seller's word on one stone: photo hash and box say which; ``time`` is ISO 8601 with offset."""

    photo: str
    sha256: str
    piece: int
    box: tuple[int, int, int, int]
    grade: str | None
    scene: int | None
    by: str | None
    time: str
    note: str | None
