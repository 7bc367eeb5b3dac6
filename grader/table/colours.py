"""Colours taught at the table: a profile fitted to spots, tried on stones without one before it is saved."""

from base64 import b64encode
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from grader.colours import (
    SeenFace,
    fit_profile,
    marked_photos,
    marked_spots,
    save_profile,
    seen_face,
    shares_elsewhere,
    with_regions,
)
from grader.errors import PhotoError
from grader.grade import MeasuredPhoto
from grader.looks import path_of
from grader.photo.terms import PhotoTerms
from grader.report.fitted import elsewhere_words, fitted_lines, mean_shares, written_words
from grader.report.stone_pictures import region_map
from grader.report.words import percent
from grader.spots import FittedProfile, Spot
from grader.table.here import said_here
from grader.table.saying import MEASURING
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: On so many stones without a spot the change is shown.
ELSEWHERE = 8
#: So many measured photos are kept at hand; each is large.
AT_HAND = 6
#: Name of a profile that is tried and not yet saved.
_TRIED = "tried"


@dataclass(frozen=True)
class Marked:
    """A spot on a stone of the table; x, y : px of its photo."""

    stone: TableStone
    x: int
    y: int
    says: str


class Colours:
    """Profiles fitted to spots. Measured photos are kept from one try to the next."""

    def __init__(self, tray: Tray) -> None:
        self._tray = tray
        self._measured: OrderedDict[tuple[str, str], MeasuredPhoto] = OrderedDict()
        self._seen = lru_cache(maxsize=2 * ELSEWHERE)(self._seen_now)

    def tried(
        self, marked: Sequence[Marked], words: bool, shown: TableStone | None, haul: bool
    ) -> dict:
        """Return what a profile fitted to these spots would change: on stones with one, and the regions of the stone
        that is shown; for the ``haul`` also on stones without a spot, which takes longer.

        words : count what was said of places too.

        Raises
        ------
        GraderError
            Spots that cannot be used, or too few kinds of them, or photos that are gone: a line each.
        """
        with MEASURING:
            fitted, photos = self._fitted(marked, words, _TRIED)
            if haul:
                return self._over_haul(fitted, photos)
            after = self._regions(shown, fitted, photos)
        return {
            "verdict": fitted.judgement.verdict,
            "lines": fitted_lines(fitted),
            "after": after,
        }

    def _over_haul(self, fitted: FittedProfile, photos: dict[str, MeasuredPhoto]) -> dict:
        others = self._others(photos)
        moved = shares_elsewhere(
            [self._seen(one.measured, one.piece) for one in others], fitted.profile
        )
        return {
            "elsewhere": elsewhere_words(moved, [stone.name for stone in others]),
            "shares": [
                {"name": name, "before": percent(old), "after": percent(new)}
                for name, old, new in mean_shares(moved)
            ],
        }

    def _seen_now(self, measured: str, piece: int) -> SeenFace:
        look, _ = self._tray.look(measured)
        return seen_face(look, piece, self._tray.session.profile)

    def save(self, marked: Sequence[Marked], words: bool, name: str) -> str:
        """Save the profile fitted to these spots in the folder of the table, and return how it is used.

        Raises
        ------
        GraderError
            As :meth:`tried`, or there is such a file: one line.
        """
        with MEASURING:
            fitted, _ = self._fitted(marked, words, name)
        return said_here(written_words(save_profile(fitted, Path()), fitted))

    def _fitted(
        self, marked: Sequence[Marked], words: bool, name: str
    ) -> tuple[FittedProfile, dict[str, MeasuredPhoto]]:
        tray = self._tray
        spots = [self._spot(one) for one in marked]
        if words or not spots:
            spots += marked_spots(tray.ledger)
        photos = {}
        for path in dict.fromkeys(spot.photo for spot in spots):
            photos |= self._photo(path, [spot for spot in spots if spot.photo == path])
        return fit_profile(spots, photos, tray.session.profile_name, name=name), photos

    def _spot(self, one: Marked) -> Spot:
        path = path_of(one.stone.sha256, self._tray.ledger)
        if path is None:
            raise PhotoError(f"{one.stone.photo}: the photo is gone; put it back", "missing")
        where = f"{one.stone.name}, {one.x},{one.y}"
        return Spot(str(path), one.x, one.y, None, None, one.says, where)

    def _photo(self, path: str, spots: list[Spot]) -> dict[str, MeasuredPhoto]:
        """A photo as it is measured, kept as long as it is the same to be looked at."""
        session = self._tray.session
        stones = [one for one in self._tray.stones if one.sha256 and path.endswith(one.photo)]
        key = path, ",".join(sorted({one.measured for one in stones}))
        if key not in self._measured:
            terms = session.with_usual_scale(PhotoTerms())
            found = marked_photos(spots, (), terms, session.profile, self._tray.ledger)
            self._measured[key] = found[path]
        self._measured.move_to_end(key)
        while len(self._measured) > AT_HAND:
            self._measured.popitem(last=False)
        return {path: self._measured[key]}

    def _others(self, photos: dict[str, MeasuredPhoto]) -> list[TableStone]:
        """Stones on photos without a spot, of the hauls of those with one where these are known; evenly drawn."""
        marked = {one.photo.sha256 for one in photos.values()}
        stones = self._tray.stones
        hauls = {one.haul for one in stones if one.sha256 in marked and one.haul}
        others = [
            one
            for one in stones
            if one.sha256 not in marked and not one.retake and (not hauls or one.haul in hauls)
        ]
        step = max(1, len(others) // ELSEWHERE)
        drawn = others[::step][:ELSEWHERE]
        return [one for one in drawn if self._kept(one)]

    def _kept(self, stone: TableStone) -> bool:
        graded = self._tray.look(stone.measured)
        return graded is not None and "working" in graded[0].pictures.get(stone.piece, {})

    @staticmethod
    def _regions(
        shown: TableStone | None, fitted: FittedProfile, photos: dict[str, MeasuredPhoto]
    ) -> str | None:
        """The regions of the shown stone by the fitted profile, as a picture; ``None`` where it holds no spot."""
        for photo in photos.values():
            if shown is None or photo.photo.sha256 != shown.sha256:
                continue
            for piece in photo.pieces:
                if piece.piece.id == shown.piece:
                    again = with_regions(piece, fitted.profile)
                    png = region_map(again, photo.photo.width, photo.photo.height)
                    return f"data:image/png;base64,{b64encode(png).decode()}"
        return None
