"""How a retrained model does beside the old one, as numbers: what the report and the card are written from."""

from dataclasses import dataclass

from grader.grading.learning.agreement import Agreement
from grader.grading.learning.candidates import Candidate
from grader.measures import Interval


@dataclass(frozen=True)
class Moved:
    """What the new model says otherwise than the old one of the stones called or compared.

    otherwise : how many of them get another grade.   points : by how many a scene score moves, in the mean.
    old, new : least and greatest scene score.
    """

    stones: int
    otherwise: int
    points: float
    old: tuple[float, float]
    new: tuple[float, float]


@dataclass(frozen=True)
class LearnedFrom:
    """What a model was retrained on.

    stones : how many called ones.   comparisons : how many side by side.   base : label of the model it began with.
    """

    stones: int
    comparisons: int
    base: str


@dataclass(frozen=True)
class RetrainReport:
    """Old and new on the same held-out calls; agreements are ``None`` with too few stones.

    grades, scenes : how many stones have a called grade, a called scene score.
    gain : kappa of the new less kappa of the old, on the same stones.
    scene_old, scene_new : mean distance in points from the called scene score.
    learned_before : stones that the old model was already trained on; on these it looks too good.
    comparisons : how many side by side; comparisons_old, comparisons_new : share of held-out ones that the scene score
    agrees with, half a one where it is alike; comparison_gain : new less old.
    kinds : the parts of the grade head, on held-out calls.   moved : by how much what is proposed changes.
    """

    grades: int
    scenes: int
    by_grade: dict[str, int]
    old: Agreement | None
    new: Agreement | None
    gain: Interval | None
    scene_old: Interval | None
    scene_new: Interval | None
    learned_before: int
    comparisons: int = 0
    moved: Moved | None = None
    comparisons_old: Interval | None = None
    comparisons_new: Interval | None = None
    comparison_gain: Interval | None = None
    kinds: tuple[Candidate, ...] = ()
