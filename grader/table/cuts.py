"""The cut plan of a stone on the table, made when it is asked for."""

from functools import lru_cache

from grader.cutting import CutPiece, cut_piece, oval_mm_of
from grader.errors import CallsError, GraderError
from grader.looking import stone_again
from grader.report.cautions import SAW_LINE
from grader.report.cutsheet import PLANS, depth_words, placed_templates, stone_facts
from grader.table.saying import MEASURING
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: Kept for the saw, mm, as the command does where nothing is said.
MARGIN_MM = 1.5
#: So many plans are kept at hand.
AT_HAND = 8


class Cuts:
    """Cut plans of stones."""

    def __init__(self, tray: Tray) -> None:
        self._tray = tray
        self._planned = lru_cache(maxsize=AT_HAND)(self._plan_now)

    def plans(self, stone: TableStone, template: str) -> dict:
        """Return both plans of a stone: what is told of them, and their templates by the name of the plan.

        template : its sides in mm, as "30x22".

        Raises
        ------
        GraderError
            It is no size, or what was kept of the stone is gone: one line.
        """
        try:
            oval_mm = oval_mm_of(template)
        except ValueError as err:
            raise CallsError(str(err)) from err
        cut = self._planned(stone.measured, stone.piece, oval_mm)
        # What was asked for stands first; it scrolls on a phone.
        facts = sorted(stone_facts(cut), key=lambda fact: fact[0] not in PLANS.values())
        told = [f"{name}: {words}" for name, words in facts]
        return {
            "lines": [*told, depth_words(cut), SAW_LINE],
            "plans": [
                {"name": name, "words": words, "templates": placed_templates(cut, name)}
                for name, words in PLANS.items()
            ],
        }

    def _plan_now(self, measured: str, piece: int, oval_mm: tuple[float, float]) -> CutPiece:
        graded = self._tray.look(measured)
        if graded is None or piece not in graded[0].pictures:
            raise GraderError("no such stone on the table; reload the page", "no_stone")
        profile = self._tray.session.profile
        with MEASURING:
            again = stone_again(graded[0], piece, profile, self._tray.ledger)
            return cut_piece(again, oval_mm, MARGIN_MM, profile)
