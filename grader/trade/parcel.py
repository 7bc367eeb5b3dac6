"""Which box takes a parcel, by weight and by volume, how it is shared out over several, and whether lifting wants care.

Boxes are the seller's dated table. Nothing here says that a parcel is allowed: what the post takes is what he typed.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from grader.checks import check_keys, check_line, check_rows, parse_toml
from grader.errors import SettingsError, quoted
from grader.weight import grams_of

CM3_PER_IN3 = Decimal("16.387064")
#: Share of a box that stone fills, packed loosely and closely: our estimate, no source; a setting of the table.
FILL = (Decimal("0.4"), Decimal("0.6"))
#: Density where nothing else is said, g/cm3: quartz-type stone, from memory.
DENSITY = Decimal("2.6")
#: Lifting wants care from here when bent, far out or twisted, and is never done alone from there: NIOSH 94-110, rev.
#: 2021; the first worked out from its equation.
CARE_G, TWO_G = Decimal(9_000), Decimal(23_000)
_BOX = ("name", "inside", "most", "to", "price")
#: Nothing that is sent is larger, and no stone lighter or heavier than these: else it is a slip of the pen.
_MOST_CM3, _DENSITIES = Decimal("1e9"), (Decimal("0.1"), Decimal(25))


@dataclass(frozen=True)
class Box:
    """A box. inside_cm3 : its room.   most_g : that may be sent in it.   to : where to, in the seller's words."""

    name: str
    inside_cm3: Decimal
    most_g: Decimal
    to: str = "domestic"


@dataclass(frozen=True)
class Boxes:
    """The seller's boxes from a day on. fill : share of the room that stone takes, loosely and closely packed."""

    begins: date
    boxes: tuple[Box, ...]
    fill: tuple[Decimal, Decimal] = FILL
    density: Decimal = DENSITY
    packing_g: Decimal = Decimal(0)


@dataclass(frozen=True)
class Fit:
    """How stone fits a box: by weight, and by volume "yes", "if packed closely" or "no"."""

    box: Box
    by_weight: bool
    by_volume: str

    @property
    def takes(self) -> bool:
        return self.by_weight and self.by_volume != "no"


@dataclass(frozen=True)
class Parcel:
    """Things that go together, and how they fit.

    codes : of the things; of several bags out of a bin one for each.   net_g : of the stone.
    parts : where no box takes all, the parcels that it goes in, all of one box.
    fewest : no way needs fewer parcels of that box than this.
    """

    codes: tuple[str, ...]
    net_g: Decimal
    boxes: Boxes
    fits: tuple[Fit, ...]
    to: str
    parts: tuple["Parcel", ...] = ()
    fewest: int = 1

    @property
    def gross_g(self) -> Decimal:
        """With the packing."""
        return self.net_g + self.boxes.packing_g


def read_boxes(text: str, where: str) -> Boxes:
    """Return the boxes of a TOML text.

    Raises
    ------
    SettingsError
        No TOML, an unknown key, or a value that cannot be: one line.
    """
    data = parse_toml(text, where, Decimal)
    keys = ("begins", "boxes", "fill", "density", "packing")
    check_keys(where, "the file", data, keys, ("begins", "boxes"))
    if type(data["begins"]) is not date:
        raise SettingsError(
            f"{where}: begins is {quoted(data['begins'])}; give a day as 2025-03-01"
        )
    fill = data.get("fill", FILL)
    two = isinstance(fill, list | tuple) and [_is_number(share) for share in fill]
    if two != [True, True] or not 0 < fill[0] <= fill[1] <= 1:
        raise SettingsError(f"{where}: fill is {quoted(fill)}; give two shares, as [0.4, 0.6]")
    return Boxes(
        data["begins"],
        tuple(_box(where, row) for row in check_rows(where, "boxes", data["boxes"])),
        (Decimal(fill[0]), Decimal(fill[1])),
        _density(where, data.get("density", DENSITY)),
        _grams(where, "packing", data["packing"]) if "packing" in data else Decimal(0),
    )


def _box(where: str, row: dict) -> Box:
    check_keys(where, "boxes", row, _BOX, ("name", "inside", "most"))
    most_g = _grams(where, "boxes.most", row["most"])
    if most_g == 0:
        raise SettingsError(f"{where}: boxes.most is 0; write the most that may be sent in it")
    return Box(
        check_line(where, "boxes.name", row["name"]),
        _room(where, row["inside"]),
        most_g,
        check_line(where, "boxes.to", row.get("to", "domestic")),
    )


def _room(where: str, text: object) -> Decimal:
    """cm3 of "514 in3", "9000 cm3" or "30x20x15 cm"."""
    words = str(text).split()
    try:
        number, unit = words
        sides = [Decimal(side) for side in number.replace(",", ".").split("x")]
        factor = {"in3": CM3_PER_IN3, "cm3": Decimal(1), "cm": Decimal(1), "in": CM3_PER_IN3}[unit]
        cm3 = math.prod(sides) * factor
        if len(sides) != (3 if unit in ("cm", "in") else 1) or min(sides) <= 0 or cm3 > _MOST_CM3:
            raise ValueError
    except (ValueError, KeyError, ArithmeticError, IndexError):
        raise SettingsError(
            f"{where}: boxes.inside is {quoted(text)}; write it as 514 in3, 9000 cm3 or 30x20x15 cm"
        ) from None
    return cm3


def _grams(where: str, key: str, text: object) -> Decimal:
    try:
        grams = grams_of(str(text)).grams
    except ValueError as err:
        raise SettingsError(f"{where}: {key}: {err}") from err
    if grams < 0:
        raise SettingsError(f"{where}: {key} is {quoted(text)}; no weight is below 0")
    return grams


def _density(where: str, value: object) -> Decimal:
    least, most = _DENSITIES
    if not _is_number(value) or not least <= value <= most:
        raise SettingsError(
            f"{where}: density is {quoted(value)}; give g/cm3, from {least} to {most}"
        )
    return Decimal(value)


def _is_number(value: object) -> bool:
    # TOML has "nan" and "inf" too.
    return type(value) is int or (type(value) is Decimal and value.is_finite())


def fits(boxes: Boxes, net_g: Decimal, to: str) -> list[Fit]:
    """Return how so much stone fits each box to a place, boxes in the order of the table."""
    return [_fit(box, boxes, net_g) for box in boxes.boxes if box.to == to]


def share_out(things: Sequence[tuple[str, Decimal]], boxes: Boxes, to: str) -> Parcel:
    """Return how things fit the boxes to a place; where no box takes all, shared out over as few parcels of one box as
    are found, and among such boxes the smallest.

    things : code and net weight, g, above 0, of each that stays whole.
    """
    # Lifting is told by this module too, and who weighs needs no numpy.
    from grader.trade.packing import pack

    whole = _parcel(things, boxes, to, fits(boxes, _net_g(things), to))
    if any(fit.takes for fit in whole.fits):
        return whole
    # Of each thing and each box whole grams on the safe side.
    grams = [max(1, math.ceil(net_g)) for _, net_g in things]
    best = None
    for box in sorted((fit.box for fit in whole.fits), key=lambda box: -_room_g(box, boxes)):
        room_g = _room_g(box, boxes)
        if max(grams) > room_g or (best and sum(grams) > room_g * len(best[1].parcels)):
            continue
        packing = pack(grams, room_g)
        if best is None or len(packing.parcels) <= len(best[1].parcels):
            best = box, packing
    if best is None:
        return whole
    box, packing = best
    shares = [[things[i] for i in parcel] for parcel in packing.parcels]
    parts = (_parcel(some, boxes, to, [_fit(box, boxes, _net_g(some))]) for some in shares)
    return replace(whole, parts=tuple(parts), fewest=packing.fewest)


def _parcel(
    things: Sequence[tuple[str, Decimal]], boxes: Boxes, to: str, of_fits: Sequence[Fit]
) -> Parcel:
    return Parcel(tuple(code for code, _ in things), _net_g(things), boxes, tuple(of_fits), to)


def _net_g(things: Iterable[tuple[str, Decimal]]) -> Decimal:
    return sum((net_g for _, net_g in things), Decimal(0))


def _room_g(box: Box, boxes: Boxes) -> int:
    """How much stone goes into a box, by its limit and by its room closely packed."""
    by_volume = boxes.fill[1] * box.inside_cm3 * boxes.density
    return max(0, math.floor(min(box.most_g - boxes.packing_g, by_volume)))


def _fit(box: Box, boxes: Boxes, net_g: Decimal) -> Fit:
    stone_cm3 = net_g / boxes.density
    loose, close = (share * box.inside_cm3 for share in boxes.fill)
    by_volume = "yes" if stone_cm3 <= loose else "if packed closely" if stone_cm3 <= close else "no"
    return Fit(box, net_g + boxes.packing_g <= box.most_g, by_volume)


def lift(grams: Decimal) -> str | None:
    """Return "care" where lifting so much wants it, "two" where it is never lifted alone, ``None`` below."""
    return "two" if grams >= TWO_G else "care" if grams >= CARE_G else None
