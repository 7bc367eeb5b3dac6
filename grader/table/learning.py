"""A new model learned at the table: judged behind the page and told of in words; then somebody takes it or keeps the
old one."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from threading import RLock, Thread

from fastapi import FastAPI

from grader.called import CalledStones
from grader.errors import CallsError, GraderError
from grader.grading.learning.retrain import Retrained
from grader.ledger.facts import new_uid
from grader.report.retrain_report import report_lines
from grader.retraining import called_by, check_called, learned, save_learned, whose_words
from grader.table.asked import BySent, Name, Sent, Uid
from grader.table.here import said_here
from grader.table.tray import Tray

LOOKING, LEARNING, JUDGED, TAKEN, LEFT, REFUSED = (
    "looking", "learning", "judged", "taken", "left", "refused"
)  # fmt: skip


@dataclass(frozen=True)
class Lesson:
    """One learning. state : one of the six above.   step, steps : how far that is.

    asked_by, decided_by : who began it, and who took or left the new model.   made_from : its calls, in words.
    lines : the report, the verdict first.   error : why there is none.
    """

    uid: str
    asked_by: str
    whose: str | None = None
    agreed: bool = False
    state: str = LOOKING
    step: int = 0
    steps: int = 0
    made_from: str | None = None
    lines: tuple[str, ...] = ()
    error: str | None = None
    decided_by: str | None = None


class Learning:
    """The last learning at a table; it goes on while nobody looks, and is forgotten when the program ends."""

    def __init__(self, tray: Tray) -> None:
        self._tray, self._lock = tray, RLock()
        self._made: tuple[Retrained, CalledStones] | None = None
        self.lesson: Lesson | None = None

    def begin(self, by: str, whose: str | None = None, agreed: bool = False) -> Thread:
        """Begin to learn from one person's calls, else from the house's; or from what two or more ``agreed`` on.

        Raises
        ------
        CallsError
            One is going on: one line.
        """
        with self._lock:
            if self.lesson and self.lesson.state in (LOOKING, LEARNING):
                raise CallsError(f"{self.lesson.asked_by} began one already; wait for its report")
            self.lesson, self._made = Lesson(new_uid(), by, whose, agreed), None
        thread = Thread(target=self._learn, name="table-learning", daemon=True)
        thread.start()
        return thread

    def _learn(self) -> None:
        session, lesson = self._tray.session, self.lesson
        day = date.today().isoformat()
        try:
            called = called_by(session, lesson.whose, lesson.agreed, self._tells(LOOKING))
            check_called(called, lesson.whose, lesson.agreed)
            done = learned(
                called,
                session.profile,
                session.model(),
                named=(self._place(day).name, day),
                whose=whose_words(lesson.whose, lesson.agreed),
                on_step=self._tells(LEARNING),
            )
        except GraderError as err:
            self.lesson = replace(self.lesson, state=REFUSED, error=said_here(str(err)))
            return
        except Exception as err:  # Behind the page nobody would see it.
            told = (
                f"it could not be learned ({type(err).__name__}: {err}); grader retrain tells more"
            )
            self.lesson = replace(self.lesson, state=REFUSED, error=" ".join(told.split()))
            return
        self._made = done, called
        made_from = f"made from {done.model.provenance.data}"
        lines = tuple(report_lines(done.report))
        self.lesson = replace(self.lesson, state=JUDGED, made_from=made_from, lines=lines)

    def _tells(self, state: str) -> Callable[[int, int], None]:
        def tell(done: int, total: int) -> None:
            self.lesson = replace(self.lesson, state=state, step=done, steps=total)

        return tell

    def _place(self, day: str) -> Path:
        """A folder that is free, among the models beside the ledger."""
        ledger = Path(self._tray.ledger.path)
        models = ledger.with_name(f"{ledger.stem}.models").absolute()
        names = (day if n == 1 else f"{day} {n}" for n in range(1, 10_000))
        return next(models / name for name in names if not (models / name).exists())

    def decide(self, uid: str, take: bool, by: str) -> Lesson:
        """Take the new model into use from now on, or leave it and keep the old one.

        Raises
        ------
        GraderError
            It was decided already, another one was learned since, or the disk or the ledger cannot be written to.
        """
        with self._lock:
            lesson = self.lesson
            if lesson is None or lesson.uid != uid or self._made is None:
                raise CallsError("another model was learned since; look at its report first")
            if lesson.state != JUDGED:
                took = "took the new model" if lesson.state == TAKEN else "kept the old one"
                raise CallsError(f"{lesson.decided_by} {took} already")
            done, called = self._made
            if take:
                session = self._tray.session
                place = self._place(date.today().isoformat())
                save_learned(done, called, place, session.profile)
                session.note_use(place, done.model)
            self._made = None if not take else self._made
            self.lesson = replace(lesson, state=TAKEN if take else LEFT, decided_by=by)
        self._tray.keep_up()
        return self.lesson


class LearnSent(Sent):
    """From whose calls to learn: one person's, those that several agree on, else the house's."""

    by: Name
    whose: Name | None = None
    agreed: bool = False


class DecidedSent(Sent):
    """What becomes of a new model."""

    uid: Uid
    take: bool
    by: Name


def add_learning(app: FastAPI, tray: Tray) -> None:
    """Let the application learn."""
    learning = Learning(tray)

    def told(lesson: Lesson | None) -> dict:
        in_use = tray.session.model().label
        before = tray.session.model_use_before()
        return {
            "in_use": in_use,
            "before": before and before.label,
            "lesson": lesson and asdict(lesson),
        }

    @app.get("/api/lesson")
    def lesson() -> dict:
        return told(learning.lesson)

    @app.post("/api/lesson")
    def begin(sent: LearnSent) -> dict:
        learning.begin(sent.by, None if sent.agreed else sent.whose, sent.agreed)
        return told(learning.lesson)

    @app.post("/api/lesson/decided")
    def decided(sent: DecidedSent) -> dict:
        return told(learning.decide(sent.uid, sent.take, sent.by))

    @app.post("/api/lesson/back")
    def back(sent: BySent) -> dict:
        tray.session.use_model_before()
        tray.keep_up()
        return told(learning.lesson)
