"""Spots of colour classes that a seller marks on photos, and what a profile fitted to them changes, as records."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.errors import SpotsError
from grader.files import read_number, read_table
from grader.profile import Profile

COLUMNS = ("photo", "x", "y", "w", "h", "class")
#: A spot of it is of no colour class: what a lamp hides.
GLARE = "glare"
#: The longer side of a photo has so many cells of the grid.
GRID_CELLS = 32
#: Fewer spots, or spots on fewer stones, are too few to tell whether a profile gains: chosen, no source. Twelve are two
#: or three of a class on four or five stones.
ENOUGH_SPOTS, ENOUGH_STONES = 12, 3
#: One photo's spots by cells of its grid, as ``C4=white``.
_CELL = re.compile(r"([A-Z]{1,2})([0-9]{1,2})", re.IGNORECASE)


@dataclass(frozen=True)
class Spot:
    """One marked place: a box in px of the upright full-size photo, a point where w and h are ``None``.

    name : of a colour class, or :data:`GLARE`.   where : the row or option it was given in, for messages.
    cell : column and row of the photo's grid, from 0, where the place is told so; x and y are its middle once the
    photo's size is known (:func:`at_cell`).
    """

    photo: str
    x: float
    y: float
    w: float | None
    h: float | None
    name: str
    where: str
    cell: tuple[int, int] | None = None


@dataclass(frozen=True)
class FaceShares:
    """Shares of each class, 0 to 1, of one stone before and after."""

    photo: str
    piece: int
    before: dict[str, float]
    after: dict[str, float]


@dataclass(frozen=True)
class HeldOut:
    """One stone judged by a profile that learned from the spots on the other stones alone.

    spots : how many lie on it.   before, after : share of their px named as marked, 0 to 1, each spot counting alike,
    by the profile as it was and by that one.
    """

    photo: str
    piece: int
    spots: int
    before: float
    after: float


@dataclass(frozen=True)
class Judgement:
    """Whether the new profile gains on stones that it has not seen; each stone was held out in turn.

    stones : those that could be held out.   before, after : share of px named as marked, over all their spots.
    better, worse : how many of those spots are named better, and worse, than before.
    verdict : "gain", "no gain" or "too few" to tell.
    """

    stones: tuple[HeldOut, ...]
    before: float
    after: float
    better: int
    worse: int
    verdict: str

    @property
    def spots(self) -> int:
        return sum(stone.spots for stone in self.stones)


@dataclass(frozen=True)
class FittedProfile:
    """The fitted profile, its TOML text, and what it changes.

    spots : how many of each class.   judgement : on stones held out in turn.
    wrong : the spots on a stone of which most is not named as marked by the new profile, though it learned from them.
    off_stone : the spots on no stone that was found.   shares : of the stones that hold a spot.
    """

    profile: Profile
    text: str
    spots: dict[str, int]
    judgement: Judgement
    wrong: tuple[Spot, ...]
    off_stone: tuple[Spot, ...]
    shares: tuple[FaceShares, ...]


def read_spots_csv(path: Path) -> list[Spot]:
    """Return the spots of a table ``photo,x,y,w,h,class``; comma or semicolon, UTF-8, columns by name.

    In the place of x a cell of the photo's grid may stand, as C4.

    Raises
    ------
    SpotsError
        No such file, a column missing, no row, or rows that hold no spot: a line for each.
    """
    rows = [
        ([row[name] for name in COLUMNS], f"{path}, line {line}")
        for line, row in read_table(path, COLUMNS, SpotsError)
    ]
    if not rows:
        raise SpotsError(f"{path}: no spot in it; a line for each, as photo,x,y,w,h,class")
    return _spots(rows)


def spots_of(texts: Sequence[str]) -> list[Spot]:
    """Return the spots written as ``photo,x,y,w,h,class`` each, or as ``photo,C4=class,D2=class`` by the photo's grid.

    Raises
    ------
    SpotsError
        A line for each that holds no spot.
    """
    rows = []
    for text in texts:
        photo, *parts = text.split(",")
        if parts and all("=" in part for part in parts):
            cells = [part.partition("=") for part in parts]
            rows += [([photo, cell, "", "", "", name], f"spot {text!r}") for cell, _, name in cells]
        else:
            rows.append((text.split(","), f"spot {text!r}"))
    return _spots(rows)


def _spots(rows: list[tuple[list[str], str]]) -> list[Spot]:
    spots, refused = [], []
    for cells, where in rows:
        try:
            photo, x, y, w, h, name = (cell.strip() for cell in cells)
            if not photo or not name:
                raise ValueError
            if cell := cell_of(x):
                if y or w or h:
                    raise ValueError
                spots.append(Spot(photo, 0.0, 0.0, None, None, name, f"{where}, {x}", cell))
                continue
            size = (read_number(w), read_number(h)) if w or h else (None, None)
            if w and min(size) <= 0:
                raise ValueError
            spots.append(Spot(photo, read_number(x), read_number(y), *size, name, where))
        except ValueError:
            refused.append(
                f"{where}: give photo,x,y,w,h,class in px, w and h empty for a point; "
                "or photo,C4=class by the grid"
            )
    if refused:
        raise SpotsError("\n".join(refused))
    return spots


def cell_of(text: str) -> tuple[int, int] | None:
    """Return column and row, from 0, of a cell written as C4; ``None`` where it is none. After Z come AA, AB ..."""
    match = _CELL.fullmatch(text.strip())
    if match is None or int(match[2]) == 0:
        return None
    column = 0
    for letter in match[1].upper():
        column = 26 * column + ord(letter) - ord("A") + 1
    return column - 1, int(match[2]) - 1


def cell_name(column: int, row: int) -> str:
    """Return how a cell is written, for column and row from 0."""
    letters = chr(ord("A") + column % 26)
    return f"{chr(ord('A') + column // 26 - 1) if column >= 26 else ''}{letters}{row + 1}"


def cell_px(width: int, height: int) -> float:
    """Return the side of a cell of the grid of a photo of that size, in px of the photo."""
    return max(width, height) / GRID_CELLS


def at_cell(spot: Spot, width: int, height: int) -> Spot:
    """Return a spot told by a cell with x and y of the cell's middle, in a photo of that size; any other as it is."""
    if spot.cell is None:
        return spot
    x, y = ((n + 0.5) * cell_px(width, height) for n in spot.cell)
    return replace(spot, x=x, y=y)
