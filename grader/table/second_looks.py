"""Second looks at the table: called stones again, shuffled and without names, each answer kept at once."""

from pathlib import Path
from threading import RLock

import numpy as np

from grader.called import GradedStone, graded_on
from grader.errors import CallsError, GraderError
from grader.grading.calls.calls import known_grade
from grader.grading.learning.second_look import draw_sample
from grader.ledger import views
from grader.report.overlay import LARGE_PX
from grader.report.second_look import COLUMNS, second_look_figures, second_look_words
from grader.resorting import Judged, Sitting, answer, begin, finish, sit_at, undo, unfinished
from grader.table.agreement import kept_picture
from grader.table.pictures import Pictures
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: Where the stones lie, in messages.
_HERE = Path("the table")


class SecondLooks:
    """Second looks under way, by uid. Read from several threads."""

    def __init__(self, tray: Tray) -> None:
        self._tray, self._pictures = tray, Pictures(tray)
        self._sittings: dict[str, Sitting] = {}
        self._lock = RLock()

    def people(self) -> list[dict]:
        """Return who called stones that lie here, and how many."""
        counts: dict[str, int] = {}
        for stone in self._tray.stones:
            for call in stone.people:
                if call["by"] and call["grade"]:
                    counts[call["by"]] = counts.get(call["by"], 0) + 1
        return [{"name": name, "stones": count} for name, count in sorted(counts.items())]

    def sit(self, by: str, of: str | None, count: int, anew: bool) -> dict:
        """Return the unfinished second look of a person, else one begun now.

        Raises
        ------
        CallsError
            Nothing is called, or the ladder has changed since: one line.
        """
        with self._lock:
            tray, profile = self._tray, self._tray.session.profile
            laid = {stone.sha256 for stone in tray.stones}
            begun = None if anew else unfinished(tray.ledger, by, of, laid)
            if begun is None:
                drawn = self._drawn(of, count)
                begun = begin(_HERE, drawn, tray.ledger, by, of)
            stones = self._graded({place.sha256 for place in begun.stones}, of)
            return self._told(sit_at(_HERE, begun, stones, profile))

    def _drawn(self, of: str | None, count: int) -> list[GradedStone]:
        """Called stones, drawn; only the photos of these are read."""
        grades = self._tray.session.profile.grades
        called = [stone for stone in self._tray.stones if _grade(stone, of) in grades]
        names = [stone.of_piece or stone.id for stone in called]
        rows = draw_sample(names, count, np.random.default_rng())
        drawn = [(called[row].sha256, called[row].piece) for row in rows]
        graded = self._graded({sha256 for sha256, _ in drawn}, of)
        by_place = {(one.look.ask.sha256, one.piece["id"]): one for one in graded}
        found = [by_place[place] for place in drawn if place in by_place]
        return [one for one in found if one.call and one.call.grade in grades]

    def _graded(self, photos: set[str], of: str | None) -> list[GradedStone]:
        session = self._tray.session
        names = {one.sha256: one.photo for one in self._tray.stones if one.sha256 in photos}
        decider = session.settings.decider
        ledger, model = self._tray.ledger, session.model()
        return graded_on(names, session.profile, model, ledger, by=of, decider=decider) or []

    def _told(self, sitting: Sitting) -> dict:
        """Keep a sitting, and return what may be known of it while it lasts."""
        while (n := sitting.resort.next) is not None and sitting.stones[n] is None:
            sitting = sitting.without_next()
        uid, resort = sitting.begun.uid, sitting.resort
        self._sittings[uid] = sitting
        return {
            "sitting": uid,
            "number": resort.next,
            "answered": len(resort.answers),
            "stones": len(sitting.stones) - len(resort.left_out),
            "picture": None if resort.next is None else f"/again/{uid}/{resort.next}.jpg",
        }

    def _sitting(self, uid: str, by: str) -> Sitting:
        """A sitting of that person, also one begun before the table was opened."""
        if uid not in self._sittings:
            begun = next((r for r in views.resorts(self._tray.ledger) if r.uid == uid), None)
            if begun is None or begun.done:
                raise CallsError("this second look is ended; begin another")
            stones = self._graded({place.sha256 for place in begun.stones}, begun.of)
            self._told(sit_at(_HERE, begun, stones, self._tray.session.profile))
        sitting = self._sittings[uid]
        if sitting.begun.author != by:
            raise CallsError("this second look is another person's; begin your own")
        return sitting

    def answer(self, uid: str, by: str, number: int, grade: str) -> dict:
        """Keep the grade of a stone and return the next; one that was answered already is not answered twice.

        Raises
        ------
        CallsError
            It is no grade of the ladder, or no such look is under way: one line.
        """
        with self._lock:
            sitting = self._sitting(uid, by)
            if sitting.resort.next != number:
                return self._told(sitting)
            try:
                grade = known_grade(grade, self._tray.session.profile.grades)
            except ValueError as err:
                raise CallsError(str(err)) from err
            return self._told(answer(sitting, grade, self._tray.ledger))

    def back(self, uid: str, by: str) -> dict:
        """Take the last answer back and return its stone.

        Raises
        ------
        CallsError
            There is none: one line.
        """
        with self._lock:
            return self._told(undo(self._sitting(uid, by), self._tray.ledger)[0])

    def done(self, uid: str, by: str) -> dict:
        """End a second look and return how well both sortings agree, and the stones farthest apart.

        Raises
        ------
        CallsError
            Nothing was answered: one line.
        """
        with self._lock:
            profile = self._tray.session.profile
            found = finish(self._sitting(uid, by), profile, self._tray.ledger)
            del self._sittings[uid]
        first, *rest = second_look_words(found.looked, found.judged, profile.grades)
        table = {"head": COLUMNS, "rows": second_look_figures(found.judged)}
        return {
            "first": first,
            "table": table,
            "lines": rest,
            "worst": _worst(found, profile.grades),
        }

    def picture(self, uid: str, number: int) -> bytes:
        """Return the picture of a stone of a look under way: the photo, else the small picture kept of it.

        Raises
        ------
        CallsError
            There is none: one line.
        """
        sitting = self._sittings.get(uid)
        stone = sitting.stones[number] if sitting and number < len(sitting.stones) else None
        if stone is None:
            raise CallsError("no such picture")
        look, piece = stone.look, stone.piece["id"]
        try:
            return self._pictures.cut(look.uid, piece, LARGE_PX)
        except GraderError:
            kept = look.stone_pictures(piece)
            return kept.get("photo") or kept["sheet"]


def _grade(stone: TableStone, of: str | None) -> str | None:
    word = stone.word if of is None else stone.own(of)
    return word and word["grade"]


def _worst(found: Judged, grades: tuple[str, ...]) -> list[dict]:
    """The stones on which both sortings lie farthest apart; now that all is said, with their names."""
    rows = []
    for row in found.judged.worst:
        photo, piece, picture = found.pictures[row]
        first, second, model = (
            int(one[row]) for one in (found.looked.first, found.looked.second, found.looked.model)
        )
        says = [
            {"who": "first", "says": grades[first]},
            {"who": "second", "says": grades[second]},
            {"who": "model", "says": grades[model] if model >= 0 else "nothing"},
        ]
        rows.append(
            {"name": f"{photo}, stone {piece}", "picture": kept_picture(picture), "says": says}
        )
    return rows
