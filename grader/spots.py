"""Spots of colour classes that a seller marks on photos, and what a profile fitted to them changes, as records."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from grader.errors import SpotsError
from grader.files import read_number, read_table
from grader.profile import Profile

COLUMNS = ("photo", "x", "y", "w", "h", "class")


@dataclass(frozen=True)
class Spot:
    """One marked place: a box in px of the upright full-size photo, a point where w and h are ``None``.

    where : the row or option it was given in, for messages.
    """

    photo: str
    x: float
    y: float
    w: float | None
    h: float | None
    name: str
    where: str


@dataclass(frozen=True)
class FaceShares:
    """Shares of each class, 0 to 1, of one stone before and after."""

    photo: str
    piece: int
    before: dict[str, float]
    after: dict[str, float]


@dataclass(frozen=True)
class FittedProfile:
    """The fitted profile, its TOML text, and what it changes.

    spots : how many of each class.   wrong_before, wrong : the spots on a stone whose class the tool does not name as
    marked, by the old and by the new profile.   off_stone : the spots on no stone that was found.
    """

    profile: Profile
    text: str
    spots: dict[str, int]
    wrong_before: tuple[Spot, ...]
    wrong: tuple[Spot, ...]
    off_stone: tuple[Spot, ...]
    shares: tuple[FaceShares, ...]

    @property
    def better(self) -> bool:
        """Whether fewer of the marked spots are named otherwise than marked, or none is."""
        return not self.wrong or len(self.wrong) < len(self.wrong_before)


def read_spots_csv(path: Path) -> list[Spot]:
    """Return the spots of a table ``photo,x,y,w,h,class``; comma or semicolon, UTF-8, columns by name.

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
    """Return the spots written as ``photo,x,y,w,h,class`` each.

    Raises
    ------
    SpotsError
        A line for each that holds no spot.
    """
    return _spots([(text.split(","), f"spot {text!r}") for text in texts])


def _spots(rows: list[tuple[list[str], str]]) -> list[Spot]:
    spots, refused = [], []
    for cells, where in rows:
        try:
            photo, x, y, w, h, name = (cell.strip() for cell in cells)
            size = (read_number(w), read_number(h)) if w or h else (None, None)
            if not photo or not name or (w and min(size) <= 0):
                raise ValueError
            spots.append(Spot(photo, read_number(x), read_number(y), *size, name, where))
        except ValueError:
            refused.append(
                f"{where}: give photo,x,y,w,h,class in px; leave w and h empty for a point"
            )
    if refused:
        raise SpotsError("\n".join(refused))
    return spots
