"""The facts of the ledger, one record per kind: what was photographed, measured, shown and said.

A fact is checked when it is made, wherever it comes from; so what lies in the ledger is what may lie in it. ``body``
is its plain data, without ``uid``, by which the same fact is known again in any ledger.
"""

import json
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Any, ClassVar, Generic, TypeVar
from uuid import uuid4

from grader.errors import LedgerError
from grader.face.words import FOUND, LineWord, PatchWord
from grader.ledger.checked import (
    MOST_BODY,
    MOST_NAME,
    SAYS,
    Box,
    Checked,
    Day,
    JsonObject,
    Name,
    Note,
    Number,
    Outline,
    Place,
    Polyline,
    Px,
    Scene,
    Sha256,
    ShownThen,
    Uid,
    WholePath,
    by_piece,
    names_checked,
    object_checked,
    one_of,
    or_none,
    plain,
    record,
    text,
    to_text,
)

#: By what two faces are held against each other.
COMPARED = ("scene", "grade")


def new_uid() -> str:
    """Return a name for a fact that no other fact has."""
    return uuid4().hex


@record
class Fact(Checked):
    """Base of all facts. ``uid`` names this one in every ledger; it is made with the fact.

    Raises
    ------
    LedgerError
        A field is not what it must be; every kind is checked when it is made.
    """

    kind: ClassVar[str]
    uid: Uid = field(default_factory=new_uid, kw_only=True)

    @classmethod
    def _what(cls) -> str:
        return f"fact {cls.kind!r}"

    def to_body(self) -> str:
        """Return the fact as JSON text, without its uid.

        Raises
        ------
        LedgerError
            It would be longer than :data:`MOST_BODY` characters.
        """
        body = to_text(self._written())
        if len(body) > MOST_BODY:
            raise LedgerError(f"{self._what()}: {len(body)} characters are too many to keep")
        return body

    def _written(self) -> dict[str, Any]:
        """The fields of its text."""
        return plain(self)

    @classmethod
    def from_body(cls, body: str, uid: str) -> "Fact":
        """Return the fact of that JSON text.

        Raises
        ------
        LedgerError
            No JSON, or not what this kind of fact holds.
        """
        if len(body) > MOST_BODY:
            raise LedgerError(f"{cls._what()}: {len(body)} characters are too many to read")
        try:
            data = json.loads(body)
        except (ValueError, RecursionError) as err:
            raise LedgerError(f"{cls._what()}: its text is no JSON") from err
        return cls._from_plain(data, uid=uid)


@record
class FacePlace(Checked):
    """Where a face was seen: its photo, its number there then, and its box and outline in px of the photo."""

    sha256: Sha256
    piece_id: Number
    box: Box
    outline: Outline | None = None


@record
class PhotoFile(Fact):
    """A photo was seen under this path, which is for the seller alone; width and height in px, upright."""

    kind = "photo"
    sha256: Sha256
    name: Name
    path: WholePath
    width: Number
    height: Number


@record
class Measured(Fact):
    """A photo was measured on these terms.

    terms : how it was to be looked at.
    line_words, region_words : uids of the words on its lines and on its patches that held.
    measurement_version : of the measuring code.   profile, profile_sha256 : its name and the hash of its settings.
    record : JSON object of the photo with its pieces, without proposal and call.
    stones : by piece, what a proposal is made of, as JSON.   pictures : by piece, names in the store of pictures.
    """

    kind = "measured"
    sha256: Sha256
    terms: JsonObject
    line_words: tuple[Uid, ...]
    measurement_version: Px
    profile: Name
    profile_sha256: Sha256
    record: JsonObject
    stones: Annotated[dict[int, dict[str, Any]], by_piece(object_checked)]
    pictures: Annotated[dict[int, dict[str, str]], by_piece(names_checked)]
    region_words: tuple[Uid, ...] = ()

    def _written(self) -> dict[str, Any]:
        # What is not said is not written: the text of such a fact stays what it always was.
        return {k: v for k, v in plain(self).items() if k != "region_words" or v}


@record
class Look(Fact):
    """That measurement of the photo was shown last."""

    kind = "look"
    sha256: Sha256
    measured: Uid


@record
class NamedPiece(Fact):
    """A piece of stone in the hand; its uid is the piece's. ``name`` is the seller's own, ``parent`` what it was cut
    from."""

    kind = "piece"
    name: Name | None = None
    number: Number | None = None
    parent: Uid | None = None


@record
class FaceOfPiece(Fact):
    """A face on a photo is one of that piece. ``again_of`` is the content of a photo whose face it shows once more, as
    the seller said: no other side of the piece."""

    kind = "face"
    piece: Uid
    sha256: Sha256
    box: Box
    outline: Outline | None = None
    again_of: Sha256 | None = None

    def of(self, piece: str) -> "FaceOfPiece":
        """Return a new fact that the same face is of another piece."""
        return FaceOfPiece(piece, self.sha256, self.box, self.outline, self.again_of)

    def _written(self) -> dict[str, Any]:
        # What is not said is not written: the text of such a fact stays what it always was.
        return {k: v for k, v in plain(self).items() if (k, v) != ("again_of", None)}


@record
class _OnStone(Fact):
    """What is said of a stone on a photo: where it was seen, and the measurement that was shown then, if any."""

    sha256: Sha256
    photo: Name
    piece_id: Number
    box: Box


@record
class SavedCall(_OnStone):
    """The seller's grade, scene score, note or name of a stone; ``None`` where nothing is said. ``shown`` is what the
    tool had said."""

    kind = "call"
    outline: Outline | None = None
    measured: Uid | None = None
    grade: Name | None = None
    scene: Scene | None = None
    note: Note | None = None
    stone: Name | None = None
    shown: ShownThen | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.grade is None and self.scene is None and self.note is None and self.stone is None:
            raise LedgerError(f"{self._what()}: says nothing; give a grade, scene, note or name")


@record
class SavedLineWord(_OnStone):
    """The seller's word on a line, by its points in px of the photo; "withdrawn" takes back what was said of it."""

    kind = "line_word"
    line: Number
    points: Polyline
    says: Annotated[str, one_of(*SAYS)]
    outline: Outline | None = None
    measured: Uid | None = None
    found: Annotated[str, one_of(*FOUND)] | None = None
    how: Note | None = None
    note: Note | None = None

    @property
    def word(self) -> LineWord:
        """The word alone, as lines of a face take it."""
        return LineWord(self.line, self.points, self.says, self.found, self.how)


@record
class SavedRegionWord(_OnStone):
    """The seller's word on what colour class a rectangle of the photo shows, or that it is glare; "withdrawn" takes
    back what was said of it."""

    kind = "region_word"
    x: Px
    y: Px
    w: Number
    h: Number
    says: Name
    outline: Outline | None = None

    @property
    def word(self) -> PatchWord:
        """The word alone, as the regions of a face take it."""
        return PatchWord(self.x, self.y, self.w, self.h, self.says)


@record
class TakenBack(Fact):
    """A call is taken back; both stay."""

    kind = "taken_back"
    call: Uid


@record
class Compared(Fact):
    """One face is the better of two: its scene, or as a stone, by its grade."""

    kind = "comparison"
    better: FacePlace
    other: FacePlace
    of: Annotated[str, one_of(*COMPARED)] = "scene"

    def _written(self) -> dict[str, Any]:
        # Of scenes it is not written: the text of such a fact stays what it always was.
        return {k: v for k, v in plain(self).items() if (k, v) != ("of", "scene")}


@record
class ComparisonBack(Fact):
    """A comparison is taken back; both stay."""

    kind = "comparison_back"
    comparison: Uid


@record
class ModelUse(Fact):
    """A model was taken into use: its whole path, ``None`` for the starter, and its label, ``None`` if unread."""

    kind = "model_use"
    folder: WholePath | None
    label: Name | None


@record
class ResortBegun(Fact):
    """Stones are sorted again, blind: which, in the order of showing, and the grade that each had; ``of`` is whose
    calls those are, ``None`` for all."""

    kind = "resort_begun"
    stones: tuple[FacePlace, ...]
    first: tuple[Name, ...]
    of: Name | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if not self.stones:
            raise LedgerError(f"{self._what()}: holds no stone")
        if len(self.first) != len(self.stones):
            raise LedgerError(
                f"{self._what()}: {len(self.stones)} stones, {len(self.first)} grades"
            )


@record
class ResortAnswer(Fact):
    """The grade that a stone got this time; ``stone`` is its place in the list, from 0."""

    kind = "resort_answer"
    resort: Uid
    stone: Place
    grade: Name


@record
class ResortUndone(Fact):
    """The answer on that stone is taken back."""

    kind = "resort_undone"
    resort: Uid
    stone: Place


@record
class ResortDone(Fact):
    """All stones of it are answered, or the seller has ended it."""

    kind = "resort_done"
    resort: Uid


@record
class SeasonBegun(Fact):
    """A season of calls begins with that day."""

    kind = "season"
    name: Name
    begins: Day


AFact = TypeVar("AFact", bound=Fact)


@dataclass(frozen=True)
class Entry(Generic[AFact]):
    """A fact as it stands in a ledger.

    sequence : its place there, which is the order of all that counts.   author : who said it, name as typed.
    time : ISO 8601 with offset; told, never sorted by.
    """

    sequence: int
    author: str | None
    time: str
    fact: AFact


def checked_author(author: str | None) -> str | None:
    """Return the name.

    Raises
    ------
    LedgerError
        It cannot be kept.
    """
    try:
        return or_none(text(MOST_NAME))(author)
    except ValueError as err:
        raise LedgerError(f"name of who says it: {err}") from err


def checked_time(time: str) -> str:
    """Return a time as ISO 8601 with offset.

    Raises
    ------
    LedgerError
        It is none, or has no offset.
    """
    try:
        moment = datetime.fromisoformat(time)
    except (TypeError, ValueError) as err:
        raise LedgerError(f"time {time!r}: must be as 2025-03-01T09:30:00+01:00") from err
    if moment.tzinfo is None:
        raise LedgerError(f"time {time!r}: says no offset; write it as 2025-03-01T09:30:00+01:00")
    return moment.isoformat()
