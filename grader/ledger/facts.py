"""The facts of the ledger, one record per kind: what was photographed, measured, shown and said.

A fact is checked when it is made, wherever it comes from; so what lies in the ledger is what may lie in it. ``body``
is its plain data, without ``uid``, by which the same fact is known again in any ledger.
"""

import json
import math
from collections.abc import Callable
from dataclasses import MISSING, dataclass, field, fields
from datetime import date, datetime
from functools import cache
from itertools import chain
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated, Any, ClassVar, Generic, Self, TypeVar, get_args
from uuid import uuid4

from grader.errors import LedgerError
from grader.face.lines.line_words import FOUND, LineWord
from grader.grading.proposal import Shown

#: Bounds of what a fact holds: far above what a photo gives, low enough that a damaged or foreign file ends in a line.
MOST_PX = 1_000_000
MOST_NAME, MOST_PATH, MOST_NOTE = 1_000, 4_096, 10_000
MOST_POINTS, MOST_LIST = 20_000, 20_000
MOST_DEPTH, MOST_BODY = 24, 32_000_000
SAYS = ("crack", "pattern", "withdrawn")
#: Types of JSON.
_SINGLE, _HOLDERS = {str, int, bool, float, type(None)}, {dict, list, tuple}
STATES = ("wet", "dry", "patchy", "unknown")

Check = Callable[[Any], Any]


def new_uid() -> str:
    """Return a name for a fact that no other fact has."""
    return uuid4().hex


# ---- checks: from plain data to what a fact holds, ``ValueError`` with what is wrong


def _text(most: int) -> Check:
    def check(value: Any) -> str:
        if not isinstance(value, str) or not 0 < len(value) <= most:
            raise ValueError(f"must be text of 1 to {most} characters")
        if "\0" in value or any("\ud800" <= c <= "\udfff" for c in value):
            raise ValueError("holds characters that cannot be kept")
        return value

    return check


def _hex(length: int) -> Check:
    def check(value: Any) -> str:
        if (
            not isinstance(value, str)
            or len(value) != length
            or set(value) - set("0123456789abcdef")
        ):
            raise ValueError(f"must be {length} hexadecimal digits in lower case")
        return value

    return check


def _whole(low: int, high: int) -> Check:
    def check(value: Any) -> int:
        if type(value) is not int or not low <= value <= high:
            raise ValueError(f"must be a whole number from {low} to {high}")
        return value

    return check


def _or_none(check: Check) -> Check:
    return lambda value: None if value is None else check(value)


def _one_of(*words: str) -> Check:
    def check(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            raise ValueError(f"must be one of {', '.join(words)}")
        return value

    return check


def _many(check: Check) -> Check:
    def checked(value: Any) -> tuple:
        if not isinstance(value, list | tuple) or len(value) > MOST_LIST:
            raise ValueError(f"must be a list of {MOST_LIST} at most")
        return tuple(check(one) for one in value)

    return checked


def _box(value: Any) -> tuple[int, int, int, int]:
    if not isinstance(value, list | tuple) or len(value) != 4:
        raise ValueError("must be x, y, width and height")
    x, y, w, h = value
    return (*map(_whole(0, MOST_PX), (x, y)), *map(_whole(1, MOST_PX), (w, h)))


def _points(least: int) -> Check:
    def check(value: Any) -> tuple[tuple[int, int], ...]:
        if not isinstance(value, list | tuple) or not least <= len(value) <= MOST_POINTS:
            raise ValueError(f"must be {least} to {MOST_POINTS} points")
        points = tuple(map(tuple, value))
        # A stone at the border of its photo may have an outline that runs just outside.
        if any(
            len(p) != 2 or not all(type(v) is int and abs(v) <= MOST_PX for v in p) for p in points
        ):
            raise ValueError(f"must be points x, y in whole px, at most {MOST_PX}")
        return points

    return check


def _absolute(value: Any) -> str:
    path = _text(MOST_PATH)(value)
    if not (PurePosixPath(path).is_absolute() or PureWindowsPath(path).is_absolute()):
        raise ValueError("must be a whole path, from the root on")
    return path


def _date(value: Any) -> str:
    try:
        return date.fromisoformat(value).isoformat()
    except (TypeError, ValueError) as err:
        raise ValueError("must be a date as 2025-03-01") from err


def _object(value: Any) -> dict[str, Any]:
    """A JSON object, bounded in depth, of finite numbers and of plain types only."""
    if not isinstance(value, dict):
        raise ValueError("must be a JSON object")
    _check_plain(value)
    return value


def _check_plain(value: dict[str, Any]) -> None:
    """See to what an object holds, level by level: a record has a hundred thousand values."""
    level: list = [value]
    for _ in range(MOST_DEPTH):
        if not set(map(type, chain.from_iterable(h for h in level if type(h) is dict))) <= {str}:
            raise ValueError("holds a key that is no text")
        held = list(chain.from_iterable(h.values() if type(h) is dict else h for h in level))
        kinds = set(map(type, held))
        if strange := sorted(kind.__name__ for kind in kinds - _SINGLE - _HOLDERS):
            raise ValueError(f"holds a {strange[0]}, which is no JSON")
        if float in kinds and not all(math.isfinite(one) for one in held if type(one) is float):
            raise ValueError("holds a number that is not finite")
        if not kinds & _HOLDERS:
            return
        level = [one for one in held if type(one) in _HOLDERS]
    raise ValueError(f"is nested deeper than {MOST_DEPTH}")


def _by_piece(check: Check) -> Check:
    """An object by piece number; numbers are text in JSON and whole in the fact."""

    def checked(value: Any) -> dict[int, Any]:
        if not isinstance(value, dict) or len(value) > MOST_LIST:
            raise ValueError("must be an object by piece number")
        return {_piece_number(key): check(one) for key, one in value.items()}

    return checked


def _piece_number(key: Any) -> int:
    if isinstance(key, str) and key.isascii() and key.isdecimal() and len(key) < 8:
        key = int(key)
    return _whole(1, MOST_PX)(key)


def _names(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or len(value) > 10:
        raise ValueError("must be names of pictures")
    return {_text(20)(key): _text(100)(name) for key, name in value.items()}


def _shown(value: Any) -> Shown:
    if isinstance(value, Shown):
        value = {
            "grade": value.grade,
            "scene": value.scene,
            "model": value.model,
            "state": value.state,
        }
    if not isinstance(value, dict) or set(value) != {"grade", "scene", "model", "state"}:
        raise ValueError("must hold grade, scene, model and state")
    return Shown(
        _or_none(_text(MOST_NAME))(value["grade"]),
        _or_none(_whole(0, 100))(value["scene"]),
        _or_none(_text(MOST_NAME))(value["model"]),
        _or_none(_one_of(*STATES))(value["state"]),
    )


# ---- what fields hold: a type, and the check that brings plain data into it

Sha256 = Annotated[str, _hex(64)]
Uid = Annotated[str, _hex(32)]
Name = Annotated[str, _text(MOST_NAME)]
Note = Annotated[str, _text(MOST_NOTE)]
WholePath = Annotated[str, _absolute]
Day = Annotated[str, _date]
Number = Annotated[int, _whole(1, MOST_PX)]
Px = Annotated[int, _whole(0, MOST_PX)]
Scene = Annotated[int, _whole(0, 100)]
Place = Annotated[int, _whole(0, MOST_LIST)]
Box = Annotated[tuple[int, int, int, int], _box]
Polyline = Annotated[tuple[tuple[int, int], ...], _points(2)]
Outline = Annotated[tuple[tuple[int, int], ...], _points(3)]
JsonObject = Annotated[dict[str, Any], _object]
ShownThen = Annotated[Shown, _shown]


class _Checked:
    """A frozen record whose fields are checked, and brought into their types, when it is made."""

    def __post_init__(self) -> None:
        for name, check in _checks(type(self)):
            try:
                value = check(getattr(self, name))
            except (ValueError, TypeError) as err:
                raise LedgerError(f"{self._what()}: {name} {err}") from err
            object.__setattr__(self, name, value)

    @classmethod
    def _what(cls) -> str:
        return cls.__name__

    @classmethod
    def _from_plain(cls, data: Any, **more: Any) -> Self:
        own = [one for one in fields(cls) if one.name != "uid"]
        if not isinstance(data, dict):
            raise LedgerError(f"{cls._what()}: must be a JSON object")
        if unknown := sorted(set(data) - {one.name for one in own}):
            raise LedgerError(
                f"{cls._what()}: {unknown[0]!r} is unknown; a newer version may know it"
            )
        for one in own:
            if one.default is MISSING and one.name not in data:
                raise LedgerError(f"{cls._what()}: {one.name} is missing")
        return cls(**data, **more)


@cache
def _checks(cls: type) -> tuple[tuple[str, Check], ...]:
    return tuple((one.name, _check_of(one.type)) for one in fields(cls))


def _check_of(hint: Any) -> Check:
    """The check of a field by its type."""
    if hasattr(hint, "__metadata__"):
        return hint.__metadata__[0]
    if isinstance(hint, type) and issubclass(hint, _Checked):
        return lambda value: value if isinstance(value, hint) else hint._from_plain(value)
    of, *_ = parts = get_args(hint)
    if type(None) in parts:
        return _or_none(_check_of(of))
    # The others are tuples of one kind.
    return _many(_check_of(of))


def plain(record: _Checked | Shown) -> dict[str, Any]:
    """Return the fields of a record by name, without the uid of a fact."""
    return {one.name: getattr(record, one.name) for one in fields(record) if one.name != "uid"}


def to_text(value: Any, *, sort_keys: bool = False) -> str:
    """Return strict JSON; with ``sort_keys`` the same text for the same data whatever the order of its keys."""
    return json.dumps(
        value, allow_nan=False, sort_keys=sort_keys, separators=(",", ":"), default=plain
    )


# ---- the facts


@dataclass(frozen=True)
class Fact(_Checked):
    """Base of all facts. ``uid`` names this one in every ledger; it is made with the fact."""

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
        body = to_text(plain(self))
        if len(body) > MOST_BODY:
            raise LedgerError(f"{self._what()}: {len(body)} characters are too many to keep")
        return body

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


@dataclass(frozen=True)
class FacePlace(_Checked):
    """Where a face was seen: its photo, its number there then, and its box and outline in px of the photo."""

    sha256: Sha256
    piece_id: Number
    box: Box
    outline: Outline | None = None


@dataclass(frozen=True)
class PhotoFile(Fact):
    """A photo was seen under this path, which is for the seller alone; width and height in px, upright."""

    kind = "photo"
    sha256: Sha256
    name: Name
    path: WholePath
    width: Number
    height: Number


@dataclass(frozen=True)
class Measured(Fact):
    """A photo was measured on these terms.

    terms : how it was to be looked at.   line_words : uids of the words on lines that held.
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
    stones: Annotated[dict[int, dict[str, Any]], _by_piece(_object)]
    pictures: Annotated[dict[int, dict[str, str]], _by_piece(_names)]


@dataclass(frozen=True)
class Look(Fact):
    """That measurement of the photo was shown last."""

    kind = "look"
    sha256: Sha256
    measured: Uid


@dataclass(frozen=True)
class NamedPiece(Fact):
    """A piece of stone in the hand; its uid is the piece's. ``name`` is the seller's own, ``parent`` what it was cut
    from."""

    kind = "piece"
    name: Name | None = None
    number: Number | None = None
    parent: Uid | None = None


@dataclass(frozen=True)
class FaceOfPiece(Fact):
    """A face on a photo is one of that piece."""

    kind = "face"
    piece: Uid
    sha256: Sha256
    box: Box
    outline: Outline | None = None


@dataclass(frozen=True)
class _Said(Fact):
    """What is said of a stone on a photo: where it was seen, and the measurement that was shown then, if any."""

    sha256: Sha256
    photo: Name
    piece_id: Number
    box: Box


@dataclass(frozen=True)
class CallSaid(_Said):
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


@dataclass(frozen=True)
class LineSaid(_Said):
    """The seller's word on a line, by its points in px of the photo; "withdrawn" takes back what was said of it."""

    kind = "line_word"
    line: Number
    points: Polyline
    says: Annotated[str, _one_of(*SAYS)]
    outline: Outline | None = None
    measured: Uid | None = None
    found: Annotated[str, _one_of(*FOUND)] | None = None
    how: Note | None = None
    note: Note | None = None

    @property
    def word(self) -> LineWord:
        """The word alone, as lines of a face take it."""
        return LineWord(self.line, self.points, self.says, self.found, self.how)


@dataclass(frozen=True)
class RegionSaid(_Said):
    """The seller's word on what colour class a rectangle of the photo shows, or that it is glare."""

    kind = "region_word"
    x: Px
    y: Px
    w: Number
    h: Number
    says: Name
    outline: Outline | None = None


@dataclass(frozen=True)
class TakenBack(Fact):
    """A call is taken back; both stay."""

    kind = "taken_back"
    call: Uid


@dataclass(frozen=True)
class Compared(Fact):
    """One face is the better of two."""

    kind = "comparison"
    better: FacePlace
    other: FacePlace


@dataclass(frozen=True)
class ModelUse(Fact):
    """A model was taken into use: its whole path, ``None`` for the starter, and its label, ``None`` if unread."""

    kind = "model_use"
    folder: WholePath | None
    label: Name | None


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class ResortAnswer(Fact):
    """The grade that a stone got this time; ``stone`` is its place in the list, from 0."""

    kind = "resort_answer"
    resort: Uid
    stone: Place
    grade: Name


@dataclass(frozen=True)
class ResortUndone(Fact):
    """The answer on that stone is taken back."""

    kind = "resort_undone"
    resort: Uid
    stone: Place


@dataclass(frozen=True)
class ResortDone(Fact):
    """All stones of it are answered, or the seller has ended it."""

    kind = "resort_done"
    resort: Uid


@dataclass(frozen=True)
class SeasonBegun(Fact):
    """A season of calls begins with that day."""

    kind = "season"
    name: Name
    begins: Day


KINDS: dict[str, type[Fact]] = {
    cls.kind: cls
    for cls in (
        PhotoFile, Measured, Look, NamedPiece, FaceOfPiece, CallSaid, LineSaid, RegionSaid, TakenBack, Compared,
        ModelUse, ResortBegun, ResortAnswer, ResortUndone, ResortDone, SeasonBegun,
    )
}  # fmt: skip


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


def read_fact(kind: str, body: str, uid: str) -> Fact:
    """Return the fact of that kind and JSON text; ``LedgerError`` where it is none."""
    if kind not in KINDS:
        raise LedgerError(f"fact {kind!r} is unknown; a newer version of this tool may know it")
    return KINDS[kind].from_body(body, uid)


def checked_author(author: str | None) -> str | None:
    """Return the name; ``LedgerError`` where it cannot be kept."""
    try:
        return _or_none(_text(MOST_NAME))(author)
    except ValueError as err:
        raise LedgerError(f"name of who says it: {err}") from err


def checked_time(time: str) -> str:
    """Return a time as ISO 8601 with offset; ``LedgerError`` where it is none."""
    try:
        moment = datetime.fromisoformat(time)
    except (TypeError, ValueError) as err:
        raise LedgerError(f"time {time!r}: must be as 2025-03-01T09:30:00+01:00") from err
    if moment.tzinfo is None:
        raise LedgerError(f"time {time!r}: says no offset; write it as 2025-03-01T09:30:00+01:00")
    return moment.isoformat()
