"""What the page may send and ask for: each field with its bounds, so that nothing else gets further than the door."""

from decimal import Decimal
from typing import Annotated, Literal

from fastapi import HTTPException, Path, Query
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from grader.ledger.checked import MOST_NAME, MOST_NOTE
from grader.table.stones import TableStone
from grader.table.tray import Tray

Uid = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
StoneId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{16}-[0-9]{1,5}$")]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MOST_NAME)]
Note = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MOST_NOTE)]
Short = Annotated[str, StringConstraints(max_length=MOST_NAME)]
Money = Annotated[Decimal, Field(ge=0, le=10_000_000, max_digits=12)]
Haul = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9]{1,12}$")]
Time = Annotated[str, StringConstraints(max_length=40)]

PathStone = Annotated[str, Path(pattern=r"^[0-9a-f]{16}-[0-9]{1,5}$")]
PathUid = Annotated[str, Path(pattern=r"^[0-9a-f]{32}$")]
PathPiece = Annotated[int, Path(ge=1, le=99999)]
#: Pictures alone: the measured faces beside them are none of the page's business.
PathPicture = Annotated[str, Path(pattern=r"^[0-9a-f]{64}\.(jpg|png)$")]
By = Annotated[str, Query(max_length=MOST_NAME)]


class Sent(BaseModel):
    """What a page sends: nothing beside its fields, and each of its own type."""

    model_config = ConfigDict(extra="forbid", strict=True)


class CallSent(Sent):
    """A word on a stone."""

    uid: Uid
    stone: StoneId
    measured: Uid
    by: Name
    grade: Name | None = None
    scene: Annotated[int, Field(ge=0, le=100)] | None = None
    note: Note | None = None
    left: bool = False
    made: Time | None = None
    heard: Annotated[list[Uid], Field(max_length=500)] = []


class BackSent(Sent):
    """A call taken back."""

    uid: Uid
    call: Uid
    stone: StoneId
    by: Name


class LineSent(Sent):
    """A word on a line."""

    stone: StoneId
    measured: Uid
    by: Name
    line: Annotated[int, Field(ge=1, le=100000)]
    says: Literal["crack", "pattern", "withdrawn"]
    found: Literal["open", "tight", "healed", "unknown"] | None = None


class WeightSent(Sent):
    """A weighing as it was typed."""

    typed: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60)]
    haul: Haul | None = None
    by: Name
    new: bool = False


class HaulSent(Sent):
    """A haul to begin, its weight as it was typed."""

    code: Haul
    raw: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=20)]
    by: Name


class WishAsked(BaseModel):
    """Which stones are wanted, as :class:`~grader.table.order.Wish` has them, and by what they are put together."""

    model_config = ConfigDict(extra="forbid")
    by: Annotated[str, StringConstraints(max_length=MOST_NAME)] = ""
    pile: Short = "open"
    first: Short = "laid"
    group: Short = "none"
    grade: Short | None = None
    proposed: Short | None = None
    haul: Short | None = None
    text: Short | None = None
    sorter: Short | None = None
    size: Short | None = None
    state: Short | None = None
    lot: Short | None = None
    price_from: Money | None = None
    price_to: Money | None = None


class BySent(Sent):
    """Who asks."""

    by: Name


def found(tray: Tray, id: str) -> TableStone:
    """Return a stone on the table; 404 where there is none, 503 where it may just not be laid out yet: a word that
    waited through a restart is then sent again, and not given up."""
    laid = tray.progress.done
    stone = tray.stone(id)
    if stone is None and not laid:
        raise HTTPException(503, "the table is still being laid out; wait a moment")
    if stone is None:
        raise HTTPException(404, "no such stone on the table")
    return stone
