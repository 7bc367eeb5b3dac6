"""What is done with stone once it is dug: trips, hauls, numbers, weights, lots, prices, sales. One record a kind.

All deeds of one command bear one act, which is taken back as a whole. A deed is never changed: what is wrong is taken
back and done anew.
"""

import re
from dataclasses import field
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any, ClassVar

from grader.errors import LedgerError
from grader.ledger.checked import (
    Checked,
    Day,
    JsonObject,
    Name,
    Note,
    Number,
    Sha256,
    Uid,
    one_of,
    plain,
    record,
    text,
)
from grader.ledger.facts import Fact, new_uid

#: What a haul holds beside its numbered pieces; "sorted" is stone of one grade that was weighed together.
REST = (
    "sorted", "chips", "waste", "trimming loss", "gifts", "kept", "lost", "unsorted", "mud and water",
)  # fmt: skip
#: Tables of the seller's own that are kept by their day and never changed.
SELLERS_TABLES = ("prices", "boxes")
#: Of these a bin is sold by weight, by the bag or whole; each gets a number.
BINS = ("sorted", "chips", "unsorted")
#: What a limit that the seller typed counts for.
SPANS = ("day", "trip", "year", "parcel")
#: What the seller says of a piece, a lot or a whole haul that no photo shows.
TOLD = (
    "treatment", "polish", "depth", "hardness", "size", "thickness", "looked", "shown", "place", "returns",
)  # fmt: skip
MOST_DIGITS, MOST_TABLE = 40, 200_000
_CODE = re.compile(r"[A-Za-z0-9]{1,12}")


def _decimal(least: Decimal | None, above: bool = False):
    def check(value: Any) -> Decimal:
        # Text in JSON, so that no digit is lost.
        if not isinstance(value, str | Decimal) or len(str(value)) > MOST_DIGITS:
            raise ValueError(f"must be a decimal number of {MOST_DIGITS} digits at most, as text")
        try:
            number = Decimal(value)
        except InvalidOperation as err:
            raise ValueError("must be a decimal number") from err
        if not number.is_finite() or (
            least is not None and (number < least or (above and number == least))
        ):
            raise ValueError(f"must be a number {'above' if above else 'of at least'} {least}")
        return number

    return check


def _code(value: Any) -> str:
    if not isinstance(value, str) or not _CODE.fullmatch(value):
        raise ValueError("must be 1 to 12 letters or digits, as 07")
    return value


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError("must be true or false")
    return value


Grams = Annotated[Decimal, _decimal(Decimal(0), above=True)]
Money = Annotated[Decimal, _decimal(Decimal(0))]
Hours = Annotated[Decimal, _decimal(Decimal(0), above=True)]
Code = Annotated[str, _code]
YesNo = Annotated[bool, _yes_or_no]
TableText = Annotated[str, text(MOST_TABLE)]


@record
class TypedWeight(Checked):
    """A weight as it was typed, and in g."""

    typed: Name
    grams: Grams


@record
class Deed(Fact):
    """Base of all deeds. ``act`` is the command that it was done with; ``about`` names the fields that hold what it
    was done with."""

    about: ClassVar[tuple[str, ...]] = ()
    act: Uid = field(default_factory=new_uid, kw_only=True)

    @property
    def things(self) -> tuple[str, ...]:
        """Uids of what it speaks of: itself, for what it makes is known by it, and what it was done with."""
        named = [getattr(self, name) for name in self.about]
        flat = [uid for one in named for uid in (one if isinstance(one, tuple) else (one,)) if uid]
        return tuple(dict.fromkeys([self.uid, *flat]))

    def _written(self) -> dict[str, Any]:
        # What is not said is not written.
        return {name: value for name, value in plain(self).items() if value is not None}


@record
class TripBegun(Deed):
    """A trip to dig. ``place`` is the exact one, for the seller alone; ``right`` is his note on his right to dig."""

    kind = "trip"
    number: Number
    name: Name
    begins: Day
    spot: Name | None = None
    seam: Name | None = None
    hours: Hours | None = None
    hands: Number | None = None
    target: TypedWeight | None = None
    right: Note | None = None
    place: Note | None = None


@record
class HaulBrought(Deed):
    """What a trip brought home, weighed as it came out of the ground. ``guess`` is what the seller thought it worth."""

    kind = "haul"
    about = ("trip",)
    code: Code
    raw: TypedWeight
    trip: Uid | None = None
    guess: Money | None = None


@record
class Numbered(Deed):
    """A piece got its number in a haul, which no other piece ever gets."""

    kind = "numbered"
    about = ("piece", "haul")
    piece: Uid
    haul: Uid
    number: Number


@record
class TagsPrinted(Deed):
    """Tags were printed before there were pieces: these numbers, first to last, go to the stones that bear them and to
    no other. It names a haul by its code, for that may be brought home later."""

    kind = "tags"
    code: Code
    first: Number
    last: Number

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.last < self.first:
            raise LedgerError(f"{self._what()}: ends before it begins")


@record
class Weighed(Deed):
    """A piece or a lot was weighed. ``tare`` is the container's part of it; ``wet`` and ``guessed`` say what it is
    worth."""

    kind = "weighed"
    about = ("thing",)
    thing: Uid
    weight: TypedWeight
    tare: TypedWeight | None = None
    wet: YesNo = False
    guessed: YesNo = False
    scale: Name | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.net_g <= 0:
            raise LedgerError(f"{self._what()}: the container weighs as much as all of it")

    @property
    def net_g(self) -> Decimal:
        """What the stone itself weighs."""
        return self.weight.grams - (self.tare.grams if self.tare else Decimal(0))


@record
class RestNoted(Deed):
    """Part of a haul that is no numbered piece, or, with ``piece``, one that was given away, kept or lost.

    A bin to sell from has a ``number``; ``sample`` names photos of pieces drawn from it at random.
    """

    kind = "rest"
    about = ("haul", "piece")
    haul: Uid
    what: Annotated[str, one_of(*REST)]
    weight: TypedWeight
    grade: Name | None = None
    guessed: YesNo = False
    piece: Uid | None = None
    note: Note | None = None
    number: Number | None = None
    sample: tuple[Sha256, ...] | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if (self.what == "sorted") != (self.grade is not None):
            raise LedgerError(f"{self._what()}: sorted stone has a grade, and nothing else has one")


@record
class TableSet(Deed):
    """A table of the seller's that holds from a day on, as he wrote it."""

    kind = "table"
    what: Annotated[str, one_of(*SELLERS_TABLES)]
    begins: Day
    text: TableText


@record
class LotMade(Deed):
    """Pieces that are sold together. What the finished lot weighs is a :class:`Weighed` of it, and decides."""

    kind = "lot"
    about = ("haul", "pieces")
    haul: Uid
    number: Number
    size_g: Grams
    pieces: tuple[Uid, ...]
    grade: Name | None = None


@record
class FromBin(Checked):
    """What was sold out of a bin, g net, in so many bags."""

    bin: Uid
    grams: Grams
    bags: Number = 1


@record
class Sold(Deed):
    """Pieces, lots or parts of bins were sold together: an order. ``snapshot`` is what was told of each then: code,
    weight, grade, price.

    ``buyer`` is an id; the name that goes with it is no fact, so that it can be erased.
    """

    kind = "sold"
    about = ("things_sold", "table")
    things_sold: tuple[Uid, ...]
    price: Money
    currency: Name
    snapshot: JsonObject
    table: Uid | None = None
    note: Note | None = None
    from_bins: tuple[FromBin, ...] | None = None
    buyer: Uid | None = None


@record
class CameBack(Deed):
    """What was sold came back: ``things`` of that sale, else all of it; or the buyer kept it, and only money went back
    (``stays``)."""

    kind = "returned"
    about = ("sale", "things_back")
    sale: Uid
    refund: Money
    why: Note | None = None
    things_back: tuple[Uid, ...] | None = None
    stays: YesNo | None = None


@record
class Reserved(Deed):
    """Pieces, lots or bins are held for somebody until a day, which counts; without a day they are free again.

    ``buyer`` is that person's id: the name stands apart, as that of a sale. ``whom`` is the name itself, which only a
    ledger of version 0003 kept here.
    """

    kind = "reserved"
    about = ("things_held",)
    things_held: tuple[Uid, ...]
    until: Day | None = None
    whom: Name | None = None
    buyer: Uid | None = None


@record
class CostNoted(Deed):
    """Money spent on a trip. Own labour is none."""

    kind = "cost"
    about = ("trip",)
    trip: Uid
    money: Money
    currency: Name
    note: Note | None = None


@record
class LimitNoted(Deed):
    """A limit that the seller typed, from a day on: no more than ``most`` in a day, trip, year or parcel."""

    kind = "limit"
    name: Name
    most: TypedWeight
    each: Annotated[str, one_of(*SPANS)]
    begins: Day
    note: Note | None = None


@record
class Broken(Deed):
    """A piece was broken into new ones, which have it as their parent."""

    kind = "broken"
    about = ("piece", "parts")
    piece: Uid
    parts: tuple[Uid, ...]
    loss: TypedWeight | None = None


@record
class Described(Deed):
    """The seller said something of a piece, a lot or all of a haul that no photo shows; ``None`` takes it back."""

    kind = "described"
    about = ("thing",)
    thing: Uid
    what: Annotated[str, one_of(*TOLD)]
    says: Note | None = None


@record
class SeenFace(Checked):
    """A stone of a measurement: uid of that, and its number on the photo."""

    measured: Uid
    stone: Number


@record
class Listed(Deed):
    """A piece or lot was offered. ``snapshot`` is all that was told of it then, ``faces`` and ``cuts`` what its
    pictures are made of."""

    kind = "listing"
    about = ("thing", "table")
    thing: Uid
    snapshot: JsonObject
    price: Money | None = None
    currency: Name | None = None
    table: Uid | None = None
    faces: tuple[SeenFace, ...] = ()
    cuts: JsonObject | None = None


@record
class Withdrawn(Deed):
    """A listing was taken down."""

    kind = "withdrawn"
    about = ("listing", "thing")
    listing: Uid
    thing: Uid


@record
class BuyerErased(Fact):
    """The name of a buyer was erased; his sales stay, by his id alone. No deed, for no undo brings a name back."""

    kind = "buyer erased"
    buyer: Uid


@record
class Undone(Fact):
    """An act is taken back; its deeds stay where they are."""

    kind = "undone"
    of: Uid


DEEDS: tuple[type[Deed], ...] = (
    TripBegun, HaulBrought, Numbered, TagsPrinted, Weighed, RestNoted, TableSet, LotMade, Sold, CameBack, Broken,
    Reserved, CostNoted, LimitNoted, Described, Listed, Withdrawn,
)  # fmt: skip
