"""What the tool proposes for one piece, as data, and what the seller says."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from grader.face.words import LineWord, PatchWord

if TYPE_CHECKING:
    # The core, which a weight or a sale need not wait for.
    from grader.grading.features.facts import LineFacts
    from grader.grading.features.rules import Condition, Features

#: Grades whose chances lie so near to the greatest are as likely, to an eye.
AS_LIKELY = 0.10


@dataclass(frozen=True)
class SceneEstimate:
    """The scene head's number for a face, 0 to 100 in whole points, with its 95 % range."""

    score: int
    low: int
    high: int


@dataclass(frozen=True)
class RulesWord:
    """What the written rules say straight of the measured values: a second proposal, and which condition decided it."""

    grade: str
    because: "Condition | None"


@dataclass(frozen=True)
class Reason:
    """One subject that moved a proposal away from that of the seller's average stone.

    subject : a key of :data:`~grader.grading.reasons.SUBJECTS`.
    moves : by how many grades it moves the expected grade, up above 0.
    values : the subject's features as the grade head sees them, by name.   usual : those of the average stone.
    called : whether that is the average of stones that the seller has called, not of drawn ones.
    cracks : the face's, the longest first, where the subject is its lines.
    """

    subject: str
    moves: float
    values: "Features"
    cracks: "tuple[LineFacts, ...]" = ()
    usual: "Features" = field(default_factory=dict)
    called: bool = False


@dataclass(frozen=True)
class LinesLeftOut:
    """The change of a stone to one without some of its lines.

    numbers : of the lines left out, as the record counts them from 1.
    line : the one line, ``None`` where several are left out.
    weight_g : of the piece, where the seller says it.
    """

    numbers: tuple[int, ...]
    line: "LineFacts | None"
    weight_g: float | None


@dataclass(frozen=True)
class MoreOf:
    """The change of one measure from its value to a higher one."""

    measure: str
    value: float
    needed: float


@dataclass(frozen=True)
class WhatIf:
    """A small change of a stone, and the better grade that it would lead to."""

    change: LinesLeftOut | MoreOf
    grade: str


@dataclass(frozen=True)
class Proposal:
    """A proposed grade and scene score. Never overwritten by the seller's call: both are kept.

    grade : a name of the profile's ladder, the likeliest.   scene : 0 to 100, whole points.
    probabilities : by grade, lowest first, sum 1.   sell_as : single / by weight / chips / waste,
    ``None`` without scale.
    reasons : up to three, the strongest first.   model : name and short hash of the model folder.
    grade_set : neighbouring grades, lowest first, of which nine times in ten one is the seller's; ``grade`` among them.
    rules : the written rules' own word.   what_if : the smallest change that lifts the grade.
    unfamiliar : a code for why the face is unlike the stones that the model knows, ``None`` where it is not; then the
    set is the whole ladder.
    """

    grade: str
    scene: int
    probabilities: dict[str, float]
    sell_as: str | None
    reasons: tuple[Reason, ...]
    model: str
    grade_set: tuple[str, ...] = ()
    rules: RulesWord | None = None
    what_if: WhatIf | None = None
    unfamiliar: str | None = None

    @property
    def likely(self) -> tuple[str, ...]:
        """The likeliest grades, lowest first."""
        return likely_grades(self.probabilities)

    @property
    def ask_first(self) -> bool:
        """Whether the seller is to be asked before others: two grades are as likely, or the stone is not known."""
        return self.unfamiliar is not None or len(self.likely) > 1


def likely_grades(probabilities: Mapping[str, float]) -> tuple[str, ...]:
    """Return the likeliest grade with those within ``AS_LIKELY`` of it, lowest first, and what lies between them."""
    grades, most = list(probabilities), max(probabilities.values())
    near = [k for k, p in enumerate(probabilities.values()) if p > most - AS_LIKELY]
    return tuple(grades[near[0] : near[-1] + 1])


@dataclass(frozen=True)
class Shown:
    """What the tool said of a stone when the seller called it; ``None`` where it said nothing.

    grade, scene : proposed.   model : its label.   state : "wet", "dry", "patchy" or "unknown".
    """

    grade: str | None
    scene: int | None
    model: str | None
    state: str | None


@dataclass(frozen=True)
class Call:
    """The seller's word on one stone.

    photo : path of the photo as the seller's file has it.   sha256 : hash of the photo's bytes.
    piece : id at the time of the call.   box : x, y, w, h in px of the upright full-size photo; the
    call follows it.
    grade, scene : ``None`` where nothing is said.   time : ISO 8601 with offset.
    line, patch : a word on one of its lines, or on a patch of its face; such a call says nothing else.
    shown : what the tool said at that time.   stone : the seller's own name for the piece, the same on all its photos.
    outline : x, y of the stone's points in px of that photo.   measured : uid of the measurement that was shown.
    uid : of the fact in the ledger.   scene_by : who said the scene, in a word put together from several people's.
    ``sha256``, ``piece`` and ``box`` are ``None`` only in a call read from a file that does not
    tell them.
    """

    photo: str
    sha256: str | None
    piece: int | None
    box: tuple[int, int, int, int] | None
    grade: str | None
    scene: int | None
    by: str | None
    time: str
    note: str | None
    line: LineWord | None = None
    shown: Shown | None = None
    stone: str | None = None
    uid: str | None = None
    outline: tuple[tuple[int, int], ...] | None = None
    measured: str | None = None
    scene_by: str | None = None
    patch: PatchWord | None = None

    @property
    def on_part(self) -> bool:
        """Whether it is a word on a part of the stone, not on the stone."""
        return self.line is not None or self.patch is not None

    @property
    def summary(self) -> str:
        """What it says, in a few words: "select", "scene 70" or "line 3: crack"."""
        if self.line is not None:
            return f"line {self.line.line}: {self.line.says}"
        if self.patch is not None:
            return f"patch at {self.patch.x}, {self.patch.y}: {self.patch.says}"
        if self.grade is None and self.scene is None:
            return "a note" if self.note else f"the name {self.stone}"
        return self.grade or f"scene {self.scene}"
