"""How well people agree, for the page: with each other, and with what they said of pairs; the worst with pictures."""

from hashlib import sha256

from grader.comparing import pairs_beside_calls
from grader.grading.learning.pairs import PairsBesideCalls
from grader.grading.proposal import Call
from grader.ledger.facts import COMPARED
from grader.opinions import disagreement
from grader.report.agreement import pairs_lines
from grader.report.disagreement import DisputedStone, disagreement_lines
from grader.report.words import UNNAMED, grade_and_scene_words
from grader.table.stones import stone_id
from grader.table.tray import Tray


def agreement_of(tray: Tray) -> dict:
    """Return how well people agree in words, the stones that divide them most, and the pairs of which a person's calls
    say the opposite of what that person said side by side."""
    session = tray.session
    found = disagreement(tray.ledger, session.profile, session.model(), session.settings.decider)
    beside = [one for of in COMPARED for one in pairs_beside_calls(session, of)]
    return {
        "lines": [*disagreement_lines(found), *pairs_lines(beside)],
        "stones": [_stone(stone) for stone in found.stones],
        "pairs": [_pair(one, pair, tray) for one in beside for pair in one.worst],
    }


def kept_picture(picture: bytes | None) -> str | None:
    """Return where a picture that the ledger keeps is served, by its content; ``None`` without one."""
    return picture and f"/pictures/{sha256(picture).hexdigest()}.jpg"


def _stone(stone: DisputedStone) -> dict:
    says = [
        {"who": call["by"] or UNNAMED, "says": grade_and_scene_words(call)} for call in stone.calls
    ]
    return {
        "name": f"{stone.photo}, stone {stone.piece}",
        "picture": kept_picture(stone.picture),
        "says": [*says, {"who": "counts", "says": grade_and_scene_words(stone.house)}],
    }


def _pair(beside: PairsBesideCalls, pair: tuple[Call, Call], tray: Tray) -> dict:
    return {
        "by": beside.by,
        "of": beside.of,
        "sides": [_side(call, beside.of, tray) for call in pair],
    }


def _side(call: Call, of: str, tray: Tray) -> dict:
    stone = tray.stone(stone_id(call.sha256, call.piece))
    said = f"scene {call.scene}" if of == "scene" else call.grade
    return {
        "name": stone.name if stone else f"{call.photo}, stone {call.piece}",
        "picture": stone and stone.picture and f"/pictures/{stone.picture}",
        "says": said,
    }
