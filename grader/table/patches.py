"""What a sorter says of a place on a stone at the table: which colour it is, or that it is glare."""

from dataclasses import dataclass

from grader.face.regions.patch_words import PatchWord
from grader.grading.proposal import Call
from grader.ledger.store import now
from grader.looking import look_at
from grader.looks import Look, asks_again, shown
from grader.patching import patch_on_look, patches_on, point_box, said_there, save_patch_word
from grader.report.calls import enough_patches, place_words, saved_patch_words
from grader.table.saying import MEASURING, tell_tray
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: What makes a profile of such words at the table.
_WAY = "Teach, Colours, with 'count what was said of places too',"


@dataclass(frozen=True)
class PatchSaid:
    """What a place is, as the page sends it. x, y : px of the photo; w, h : of a box, ``None`` for a point."""

    stone: TableStone
    measured: str
    by: str
    x: int
    y: int
    says: str
    w: int | None = None
    h: int | None = None


@dataclass(frozen=True)
class PatchKept:
    """What was kept. before : what held there until then, so that saying it again takes the word back.

    words, offer : what it changed, and that a profile can be made of the words by now, ``None`` before.
    """

    patch: PatchWord
    before: str
    words: str
    offer: str | None


def say_of_patch(said: PatchSaid, tray: Tray) -> PatchKept:
    """Keep what a place is, measure its stone with it, and return what that changed.

    Raises
    ------
    GraderError
        The place is not on that stone, or is nothing that a place can be: one line.
    """
    look, _ = tray.look_shown(said.stone, said.measured)
    box = point_box(said.x, said.y) if said.w is None else (said.x, said.y, said.w, said.h or 1)
    call = Call(
        look.ask.file, look.ask.sha256, said.stone.piece, None, None, None, said.by, now(), None,
        patch=PatchWord(*box, said.says),
    )  # fmt: skip
    placed = patch_on_look(look, call, tray.session.profile)
    with MEASURING:
        before = said_there(look, said.stone.piece, placed.patch, tray.ledger)
        done = save_patch_word(look, placed, tray.session)
        again = look_at(asks_again([look], tray.ledger)[0], tray.session.profile, tray.ledger)
        shown([again], tray.ledger)
    tell_tray(said.stone, tray)
    where = place_words(placed.patch, done.before)
    words = saved_patch_words(placed, where, done.before, done.now)
    return PatchKept(placed.patch, before, words, enough_patches(done.patches, done.photos, _WAY))


def patch_rows(look: Look, piece: int, tray: Tray) -> list[dict]:
    """Return the words on places of a stone that hold, as the page shows them."""
    return [
        {
            "x": said.word.x, "y": said.word.y, "w": said.word.w, "h": said.word.h,
            "says": said.word.says, "by": said.by,
        }
        for said in patches_on(look, tray.ledger).get(piece, ())
    ]  # fmt: skip
