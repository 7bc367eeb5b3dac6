"""What facts hold, checked: from plain data to typed values, and records whose fields are checked when they are made.

A check gives ``ValueError`` with what is wrong; the record tells it in one line with its own name.
"""

import json
import math
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields
from datetime import date
from decimal import Decimal
from functools import cache
from itertools import chain
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated, Any, Self, dataclass_transform, get_args

from grader.errors import LedgerError
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


# ---- checks: from plain data to what a fact holds, ``ValueError`` with what is wrong


def text(most: int) -> Check:
    def check(value: Any) -> str:
        if not isinstance(value, str) or not 0 < len(value) <= most:
            raise ValueError(f"must be text of 1 to {most} characters")
        # Letters of ASCII, as nearly all are, need no second look.
        if "\0" in value or (not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value)):
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


def or_none(check: Check) -> Check:
    return lambda value: None if value is None else check(value)


def one_of(*words: str) -> Check:
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
    path = text(MOST_PATH)(value)
    if not (PurePosixPath(path).is_absolute() or PureWindowsPath(path).is_absolute()):
        raise ValueError("must be a whole path, from the root on")
    return path


def _date(value: Any) -> str:
    try:
        return date.fromisoformat(value).isoformat()
    except (TypeError, ValueError) as err:
        raise ValueError("must be a date as 2025-03-01") from err


def object_checked(value: Any) -> dict[str, Any]:
    """A JSON object, bounded in depth, of finite numbers and of plain types only.

    Raises
    ------
    ValueError
        It is something else, or nested too deep.
    """
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


def by_piece(check: Check) -> Check:
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


def names_checked(value: Any) -> dict[str, str]:
    """Names of pictures by what they show, ten at most.

    Raises
    ------
    ValueError
        It is something else.
    """
    if not isinstance(value, dict) or len(value) > 10:
        raise ValueError("must be names of pictures")
    return {text(20)(key): text(100)(name) for key, name in value.items()}


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
        or_none(text(MOST_NAME))(value["grade"]),
        or_none(_whole(0, 100))(value["scene"]),
        or_none(text(MOST_NAME))(value["model"]),
        or_none(one_of(*STATES))(value["state"]),
    )


# ---- what fields hold: a type, and the check that brings plain data into it

Sha256 = Annotated[str, _hex(64)]
Uid = Annotated[str, _hex(32)]
Name = Annotated[str, text(MOST_NAME)]
Note = Annotated[str, text(MOST_NOTE)]
WholePath = Annotated[str, _absolute]
Day = Annotated[str, _date]
Number = Annotated[int, _whole(1, MOST_PX)]
Px = Annotated[int, _whole(0, MOST_PX)]
Scene = Annotated[int, _whole(0, 100)]
Place = Annotated[int, _whole(0, MOST_LIST)]
Box = Annotated[tuple[int, int, int, int], _box]
Polyline = Annotated[tuple[tuple[int, int], ...], _points(2)]
Outline = Annotated[tuple[tuple[int, int], ...], _points(3)]
JsonObject = Annotated[dict[str, Any], object_checked]
ShownThen = Annotated[Shown, _shown]


@dataclass_transform(frozen_default=True)
def record(cls: type) -> type:
    """Make a class below :class:`Checked` a frozen dataclass that is compared and shown as that one says: to write this
    anew for each of fifty kinds took a twentieth of every command's start."""
    return dataclass(frozen=True, eq=False, repr=False)(cls)


class Checked:
    """A frozen record whose fields are checked, and brought into their types, when it is made.

    Raises
    ------
    LedgerError
        A field is not what it must be.
    """

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and vars(self) == vars(other)

    def __hash__(self) -> int:
        return hash(tuple(vars(self).values()))

    def __repr__(self) -> str:
        shown = (f"{name}={value!r}" for name, value in vars(self).items())
        return f"{type(self).__qualname__}({', '.join(shown)})"

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
    if isinstance(hint, type) and issubclass(hint, Checked):
        return lambda value: value if isinstance(value, hint) else hint._from_plain(value)
    of, *_ = parts = get_args(hint)
    if type(None) in parts:
        return or_none(_check_of(of))
    # The others are tuples of one kind.
    return _many(_check_of(of))


def plain(record: Checked | Shown) -> dict[str, Any]:
    """Return the fields of a record by name, without the uid of a fact."""
    return {one.name: getattr(record, one.name) for one in fields(record) if one.name != "uid"}


def to_text(value: Any, *, sort_keys: bool = False) -> str:
    """Return strict JSON; with ``sort_keys`` the same text for the same data whatever the order of its keys.

    Raises
    ------
    ValueError
        It holds a number that is not finite.
    """
    return json.dumps(
        value, allow_nan=False, sort_keys=sort_keys, separators=(",", ":"), default=_plain_value
    )


def _plain_value(value: Any) -> Any:
    # Money and grams as text: a binary number would lose digits.
    return f"{value:f}" if isinstance(value, Decimal) else plain(value)
