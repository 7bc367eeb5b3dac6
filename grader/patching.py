"""The seller's word on a patch of a stone: kept, and the stone measured with it."""

from dataclasses import dataclass, replace
from pathlib import Path

from grader.calling import fields_of_stone, look_shown, place_on
from grader.checks import nearest
from grader.errors import CallsError, quoted
from grader.face.regions.patch_words import WITHDRAWN, PatchWord, same_patch, standing
from grader.grading.calls.joining import stone_at, stone_words
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.facts import SavedRegionWord
from grader.ledger.store import Ledger
from grader.looking import look_at
from grader.looks import Look, asks_again, patch_calls
from grader.photo.terms import PhotoTerms
from grader.profile import Profile
from grader.session import Session
from grader.spots import GLARE

#: A point stands for a square of so many px of the photo.
POINT_PX = 4


@dataclass(frozen=True)
class SaidPatch:
    """A word on a patch that holds, and whose it is."""

    word: PatchWord
    by: str | None


@dataclass(frozen=True)
class PatchCalled:
    """What a word on a patch changed.

    call : on its stone.   before, now : the stone's graded record; ``now`` is ``None`` where it is not found again.
    patches, photos : of how many patches a word holds by now, and on how many photos.
    """

    call: Call
    before: dict
    now: dict | None
    patches: int
    photos: int


def known_class(text: str, profile: Profile) -> str:
    """Return what may be said of a patch, as the profile spells it.

    Raises
    ------
    CallsError
        It is no class of the profile, nor glare or withdrawn: one line with the nearest name.
    """
    names = [*(colour.name for colour in profile.colours), GLARE, WITHDRAWN]
    spelled = {name.casefold(): name for name in names}
    if (known := spelled.get(text.strip().casefold())) is None:
        raise CallsError(
            f"no class {quoted(text)}{nearest(text, names)}; one of {', '.join(names)}"
        )
    return known


def patch_on(photo: Path, call: Call, terms: PhotoTerms, session: Session) -> tuple[Look, Call]:
    """Return the look at a photo that was shown last, and the word on the stone of it on which its patch lies.

    call : with its patch; a stone that it names must be that one.

    Raises
    ------
    GraderError
        The photo cannot be read, the patch lies off it or off the stone, or holds no class of the profile: one line.
    """
    known_class(call.patch.says, session.profile)
    look = look_shown(photo, terms, session.profile, session.need_ledger("a call"))
    return look, patch_on_look(look, call, session.profile)


def patch_on_look(look: Look, call: Call, profile: Profile) -> Call:
    """Return the word on the stone of a look on which its patch lies.

    call : with its patch; a stone that it names must be that one.

    Raises
    ------
    CallsError
        The patch lies off the photo or off the stone, or holds no class of the profile: one line.
    """
    patch = replace(call.patch, says=known_class(call.patch.says, profile))
    size = look.record["photo"]["width"], look.record["photo"]["height"]
    if patch.x + patch.w > size[0] or patch.y + patch.h > size[1]:
        raise CallsError(f"{call.photo}: that patch lies off the photo of {size[0]} x {size[1]} px")
    piece = stone_at(look.on_photo, patch.x + patch.w / 2, patch.y + patch.h / 2)
    if piece is None or call.piece not in (None, piece):
        stone = "a stone" if call.piece is None else f"stone {call.piece}"
        raise CallsError(
            f"{call.photo}: the middle of that patch is not on {stone}; give x and y in px of the photo, "
            "from its upper left corner"
        )
    return place_on(look, replace(call, patch=patch, piece=piece, sha256=look.ask.sha256))


def point_box(x: int, y: int) -> tuple[int, int, int, int]:
    """Return the patch that a point of the photo stands for: x, y, w and h in px."""
    return max(0, x - POINT_PX // 2), max(0, y - POINT_PX // 2), POINT_PX, POINT_PX


def patches_on(look: Look, ledger: Ledger) -> dict[int, list[SaidPatch]]:
    """Return the words on patches that hold, by piece."""
    calls = patch_calls(look.ask.sha256, ledger)
    by = {id(call.patch): call.by for call in calls}
    return {
        piece: [SaidPatch(word, by[id(word)]) for word in standing(words.patches)]
        for piece, words in stone_words(look.on_photo, calls).items()
    }


def said_there(look: Look, piece: int, patch: PatchWord, ledger: Ledger) -> str:
    """Return what holds on that patch of a stone until now, "withdrawn" where nothing does: said again, it takes a
    later word back."""
    held = (said.word for said in patches_on(look, ledger).get(piece, ()))
    return next((word.says for word in held if same_patch(word, patch)), WITHDRAWN)


def save_patch_word(look: Look, placed: Call, session: Session) -> PatchCalled:
    """Save a word on a patch and measure its stone with it."""
    session.ledger.add(patch_fact(placed), author=placed.by)
    again = look_at(asks_again([look], session.ledger)[0], session.profile, session.ledger)
    before, now = (
        next(
            (
                p
                for p in one.graded(session.profile, session.model())["pieces"]
                if p["id"] == placed.piece
            ),
            None,
        )
        for one in (look, again)
    )
    return PatchCalled(placed, before, now, *_standing_counts(session))


def _standing_counts(session: Session) -> tuple[int, int]:
    """How many words on patches stand, and on how many photos."""
    words: dict[str, list[PatchWord]] = {}
    for entry in views.region_words(session.ledger):
        words.setdefault(entry.fact.sha256, []).append(entry.fact.word)
    counts = [len(standing(of_photo)) for of_photo in words.values()]
    return sum(counts), sum(count > 0 for count in counts)


def patch_fact(call: Call) -> SavedRegionWord:
    """Return a placed word on a patch as a fact."""
    patch: PatchWord = call.patch
    return SavedRegionWord(
        **fields_of_stone(call), x=patch.x, y=patch.y, w=patch.w, h=patch.h, says=patch.says
    )
