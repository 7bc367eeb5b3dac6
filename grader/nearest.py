"""The called stones that look most like one that the model does not know: something to hold it against."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.grading.features.facts import facts_from
from grader.grading.models.familiarity import FamiliarityModel
from grader.ledger import views
from grader.ledger.store import Ledger
from grader.looks import Look

#: So many are told.
MOST_TOLD = 3


@dataclass(frozen=True)
class CalledFace:
    """A called stone as its photo was shown last.

    file : the photo, as it was called.   piece : its number there.   appearance : what it looks like.
    """

    file: str
    sha256: str
    piece: int
    appearance: Mapping[str, float]


class CalledFaces:
    """The called stones of a ledger, read once, and only where a stone is unlike those that the model knows."""

    def __init__(self, ledger: Ledger | None) -> None:
        self.ledger = ledger

    def with_nearest(self, record: dict, look: Look, familiarity: FamiliarityModel | None) -> dict:
        """Return a photo's record in which each stone unlike those known has its ``nearest`` called ones.

        record : with proposals, graded from ``look``: its stones are in the same order.
        """
        pieces = []
        for piece, facts in zip(record["pieces"], look.stones, strict=True):
            if familiarity and piece["proposal"] and piece["proposal"]["unfamiliar"]:
                itself = (look.ask.sha256, piece["id"])
                others = [one for one in self._called if (one.sha256, one.piece) != itself]
                rows = familiarity.nearest(facts.appearance, [one.appearance for one in others])
                piece = {**piece, "nearest": [_told(others[row]) for row in rows[:MOST_TOLD]]}
            pieces.append(piece)
        return {**record, "pieces": pieces}

    @cached_property
    def _called(self) -> tuple[CalledFace, ...]:
        if self.ledger is None:
            return ()
        files: dict[str, str] = {}
        boxes: dict[str, list[views.Box]] = {}
        for call in views.calls(self.ledger):
            files[call.sha256] = call.photo
            boxes.setdefault(call.sha256, []).append(call.box)
        return tuple(
            CalledFace(
                files[stone.sha256],
                stone.sha256,
                stone.piece_id,
                facts_from(stone.facts).appearance,
            )
            for stone in views.stones(self.ledger, list(files))
            if stone.box
            and any(box_overlap(stone.box, box) >= SAME_STONE for box in boxes[stone.sha256])
        )


def _told(face: CalledFace) -> dict:
    return {"file": face.file, "sha256": face.sha256, "piece": face.piece}
