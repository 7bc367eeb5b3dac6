"""Pictures of the stones on the table: those that the ledger keeps, by the name of their content, and larger ones cut
from the photo, found by its content."""

from functools import lru_cache

from grader.errors import GraderError, PhotoError
from grader.looks import path_of
from grader.photo.read import read_photo
from grader.report.overlay import LARGE_PX, cut_picture
from grader.table.tray import Tray

#: Longest side of the close-up.
WHOLE_PX = 4000
#: Quality of the picture that is sorted by, and of the close-up.
_QUALITY = {LARGE_PX: 85, WHOLE_PX: 90}
#: So many pictures are kept at hand, a few hundred kB each.
AT_HAND = 64


class Pictures:
    """Larger pictures of stones, cut when asked for."""

    def __init__(self, tray: Tray) -> None:
        self._tray = tray
        self._cut = lru_cache(maxsize=AT_HAND)(self._cut_now)

    def kept(self, name: str) -> bytes:
        """Return a picture that the ledger keeps, by its name.

        Raises
        ------
        LedgerError
            There is none of that name, or it is not what it was.
        """
        return self._tray.ledger.pictures.get(name)

    def cut(self, measured: str, piece: int, longest_px: int) -> bytes:
        """Return a stone as a JPEG cut from its photo, the part that its small picture shows.

        Raises
        ------
        GraderError
            There is no such stone, or its photo is gone or cannot be read: one line.
        """
        return self._cut(measured, piece, longest_px)

    def _cut_now(self, measured: str, piece: int, longest_px: int) -> bytes:
        graded = self._tray.look(measured)
        stones = {} if graded is None else graded[0].on_photo.boxes
        if piece not in stones:
            raise GraderError("no such stone on the table; reload the page", "no_stone")
        look = graded[0]
        path = path_of(look.ask.sha256, self._tray.ledger)
        if path is None:
            raise PhotoError(
                f"{look.ask.file}: the photo is gone; the small picture is kept", "missing"
            )
        return cut_picture(read_photo(path), stones[piece], longest_px, _QUALITY[longest_px])
