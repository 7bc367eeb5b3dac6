"""The stones on the table, a short row each: what they are sorted and chosen by."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import PurePosixPath
from typing import Any

from grader.grading.calls.joining import StoneFinder
from grader.grading.calls.left import left_by
from grader.grading.proposal import Call
from grader.looks import Look
from grader.report.headline import label_words, proposal_of, rules_words
from grader.report.words import state_words

#: So many letters of a photo's hash name it on the page.
SHORT = 16


@dataclass(frozen=True)
class TableStone:
    """A stone on the table.

    id : the same as long as its photo is: "0123456789abcdef-2".   measured : uid of the measurement that is shown.
    label : words of the proposal, as short as they go.   likely : the grades that it names.
    sure : chance of the likeliest grade, 0 to 1; ``None`` where none is told.
    stranger, retake, against : unlike the stones that the model knows; to be taken again; the written rules say another
    grade than the model.
    people : one word of each person, as records hold them, who spoke last is last.   word : whose counts.
    heard : uids of all calls that hold on it.   left : who left it for the decider.
    of_piece : uid of the piece of which it is a face.   code, haul, net_g : number, haul and weight of that, where it
    bears one.   picture : name of its small picture.
    proposed : the likeliest grade.   size : largest oval that the face takes, ``None`` without a scale.
    state : wet or dry, in words.   lot : number of the lot in which its piece lies.
    asks : what the price table asks of it.
    scene : 0 to 100.   rung : of the ladder, on average by the chances of grades.
    """

    id: str
    sha256: str
    piece: int
    measured: str
    photo: str
    label: str
    likely: tuple[str, ...]
    sure: float | None
    stranger: bool
    retake: bool
    against: bool
    area_cm2: float | None
    picture: str | None
    people: tuple[Mapping[str, Any], ...] = ()
    word: Mapping[str, Any] | None = None
    heard: tuple[str, ...] = ()
    left: str | None = None
    of_piece: str | None = None
    code: str | None = None
    haul: str | None = None
    net_g: Decimal | None = None
    proposed: str | None = None
    size: str | None = None
    state: str = "wet or dry not known"
    lot: str | None = None
    asks: Decimal | None = None
    scene: float | None = None
    rung: float | None = None

    @property
    def name(self) -> str:
        """What it is called: its number in the haul, else its photo and its number there."""
        return self.code or f"{self.photo}, stone {self.piece}"

    @property
    def grade(self) -> str | None:
        """The grade that counts, of those who called it."""
        return self.word["grade"] if self.word else None

    @property
    def differ(self) -> bool:
        """Whether people call other grades."""
        return len({call["grade"] for call in self.people if call["grade"]}) > 1

    def own(self, by: str) -> Mapping[str, Any] | None:
        """Return what that person says of it."""
        return next((call for call in self.people if call["by"] == by), None)


def stone_id(sha256: str, piece: int) -> str:
    """Return the name of a stone on the page."""
    return f"{sha256[:SHORT]}-{piece}"


def table_stones(look: Look, record: Mapping[str, Any], decider: str | None) -> list[TableStone]:
    """Return the stones of a photo.

    record : graded, with all calls that hold.
    """
    return [_stone(look, piece, decider) for piece in record["pieces"]]


def _stone(look: Look, piece: Mapping[str, Any], decider: str | None) -> TableStone:
    proposal = proposal_of(piece)
    stranger = bool(proposal and proposal.get("unfamiliar"))
    told = proposal is not None and not stranger
    kept = look.pictures[piece["id"]]
    picture = kept.get("photo") or kept.get("sheet")
    return TableStone(
        id=stone_id(look.ask.sha256, piece["id"]),
        sha256=look.ask.sha256,
        piece=piece["id"],
        measured=look.uid or "",
        photo=PurePosixPath(look.ask.file.replace("\\", "/")).name,
        label=label_words(proposal),
        likely=tuple(proposal["likely"]) if told else (),
        sure=max(proposal["probabilities"].values()) if told else None,
        stranger=stranger,
        retake=piece["verdict"] == "retake",
        against=bool(told and rules_words(proposal)),
        area_cm2=piece["area_cm2"],
        picture=None if picture is None or isinstance(picture, bytes) else picture.name,
        people=tuple(piece["calls"]),
        word=piece["call"],
        left=left_by(piece["calls"], decider),
        proposed=proposal["grade"] if told else None,
        size=piece["size_class"],
        state=state_words(piece["state"]),
        scene=piece["scene"]["score"],
        rung=proposal and _rung(proposal),
    )


def _rung(proposal: Mapping[str, Any]) -> float:
    """The grade on average, 0 for the lowest; chances stand in the ladder's order."""
    return sum(n * chance for n, chance in enumerate(proposal["probabilities"].values()))


def heard_on(look: Look, calls: Sequence[Call]) -> dict[int, tuple[str, ...]]:
    """Return the uids of the calls that mean each stone of a photo, in the order of saying."""
    photo = look.on_photo
    finder, heard = StoneFinder([photo]), dict.fromkeys(photo.boxes, ())
    for call in calls:
        if call.sha256 != look.ask.sha256 or call.uid is None:
            continue
        try:
            piece = finder.piece(call, photo)
        except ValueError:
            continue
        heard[piece] = (*heard[piece], call.uid)
    return heard
