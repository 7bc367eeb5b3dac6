"""What a sorter says at the table: kept once however often it is sent, and told beside what others said meanwhile."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from threading import Lock

from grader.calling import place_on, save_calls, save_line_word, with_shown
from grader.errors import CallsError
from grader.grading.calls.calls import known_grade
from grader.grading.calls.left import LEFT
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.facts import TakenBack, checked_author, checked_time
from grader.ledger.joint import calls_on_faces
from grader.ledger.store import now
from grader.looking import look_at
from grader.looks import asks_again, shown
from grader.report.calls import saved_line_words
from grader.table.stones import TableStone, heard_on
from grader.table.tray import Tray


@dataclass(frozen=True)
class Said:
    """A word on a stone as the page sends it.

    uid : made by the page, so that the same word sent twice is kept once.   measured : the look that was shown.
    grade, scene, note : ``None`` where nothing is said.   left : for the decider.
    made : when it was said, ISO 8601 with offset; the page may have been out of reach since.
    heard : uids of the calls on the stone that the page knew.
    """

    uid: str
    stone: TableStone
    measured: str
    by: str
    grade: str | None = None
    scene: int | None = None
    note: str | None = None
    left: bool = False
    made: str | None = None
    heard: Collection[str] = ()


def say(said: Said, tray: Tray) -> list[Call]:
    """Keep a word on a stone, and return what was said of it meanwhile that the sorter had not seen, the oldest first.

    Raises
    ------
    GraderError
        The grade is none of the ladder, or the photo lies on the table no more: one line.
    """
    look, record = tray.look_shown(said.stone, said.measured)
    grade = None
    if said.grade is not None:
        try:
            grade = known_grade(said.grade, tray.session.profile.grades)
        except ValueError as err:
            raise CallsError(str(err)) from err
    note = LEFT if said.left else said.note
    call = Call(
        look.ask.file, look.ask.sha256, said.stone.piece, None, grade, said.scene,
        checked_author(said.by), checked_time(said.made or now()), note, uid=said.uid,
    )  # fmt: skip
    placed = with_shown(place_on(look, call), tray.called(look, record))
    save_calls([placed], tray.ledger)
    tell_tray(said.stone, tray)
    return _unheard(said, tray)


def tell_tray(stone: TableStone, tray: Tray) -> None:
    """See that the table shows what was said, also while it is still being laid."""
    if tray.progress.done:
        tray.keep_up()
    else:
        tray.lay_again([stone.sha256])


def _unheard(said: Said, tray: Tray) -> list[Call]:
    """The calls on a stone that hold and that the sorter had not seen; one's own word of this moment is none."""
    stone = said.stone
    calls = calls_on_faces(tray.ledger, {stone.sha256})
    graded = tray.look(stone.measured)
    here = heard_on(graded[0], calls).get(stone.piece, ()) if graded else ()
    unheard = {uid for uid in here if uid != said.uid and uid not in said.heard}
    return [call for call in calls if call.uid in unheard and not call.on_part]


def take_back(uid: str, call: str, stone: TableStone, by: str, tray: Tray) -> None:
    """Take back one's own call; taken back twice it is so once.

    Raises
    ------
    CallsError
        It is another person's, or none.
    """
    calls = views.calls(tray.ledger, sha256=stone.sha256, also_taken_back=True)
    own = next((one for one in calls if one.uid == call), None)
    if own is None:
        raise CallsError(
            f"{stone.name}: that call was never kept, so there is nothing to take back"
        )
    if own.by != by:
        raise CallsError(
            f"{stone.name}: that call is {own.by or 'unnamed'}'s; only they take it back"
        )
    if call not in views.taken_back(tray.ledger):
        tray.ledger.add(TakenBack(call=call, uid=uid), author=by)
    tell_tray(stone, tray)


#: Faces are measured one at a time: two at once would only be slower.
MEASURING = Lock()


@dataclass(frozen=True)
class LineSaid:
    """What a line is, as the page sends it. line : its number in the look that was shown."""

    stone: TableStone
    measured: str
    by: str
    line: int
    says: str
    found: str | None = None


def say_of_line(said: LineSaid, tray: Tray) -> str:
    """Keep what a line is, measure its stone with it, and return what that changed, in words.

    Raises
    ------
    GraderError
        There is no such line, or the stone cannot be measured: one line.
    """
    look, _ = tray.look_shown(said.stone, said.measured)
    call = Call(
        look.ask.file, look.ask.sha256, said.stone.piece, None, None, None, said.by, now(), None
    )
    placed = place_on(look, call)
    with MEASURING:
        done = save_line_word(look, placed, said.line, said.says, said.found, None, tray.session)
        again = look_at(asks_again([look], tray.ledger)[0], tray.session.profile, tray.ledger)
        shown([again], tray.ledger)
    tell_tray(said.stone, tray)
    return saved_line_words(
        placed, (done.line, done.facts), said.says, said.found, (done.before, done.now)
    )


def call_lines(calls: Sequence[Call]) -> list[dict]:
    """Return calls as the page tells them."""
    return [
        {"by": call.by, "says": call.note if call.note == LEFT else call.summary, "time": call.time}
        for call in calls
    ]
