"""Where people differ: who from whom, in words, and a page with the stones."""

from base64 import b64encode
from dataclasses import dataclass

from grader.grading.disagreement import Pair
from grader.report.sheet import page_template
from grader.report.words import UNNAMED, grade_and_scene_words, house_words

#: More pictures than this are too many for one page on a phone.
MOST_SHOWN = 300


@dataclass(frozen=True)
class DisputedStone:
    """A stone that several people called otherwise.

    photo, piece : as it was shown last.   picture : the small JPEG for sheets, ``None`` where it is gone.
    calls : one word of each person, as records tell them, who spoke last is last.   house : the word that counts, and
    why.   proposal : of the model in use now, as records tell it.   shown : for each call the grade that was proposed
    beside it, ``None`` where none was.
    """

    photo: str
    piece: int
    picture: bytes | None
    calls: tuple[dict, ...]
    house: dict
    proposal: dict | None
    shown: tuple[str | None, ...]


@dataclass(frozen=True)
class Disagreement:
    """Where people differ: the stones, farthest apart first, how each two agree, and how many stones several called."""

    stones: tuple[DisputedStone, ...]
    pairs: tuple[Pair, ...]
    both: int


def disagreement_lines(found: Disagreement) -> list[str]:
    """Return who differs from whom on how many stones, a line for each two."""
    if not found.both:
        return ["no stone was called by two people yet"]
    stones = "1 stone was" if found.both == 1 else f"{found.both} stones were"
    by_grade = sum(
        len({call["grade"] for call in stone.calls if call["grade"]}) > 1 for stone in found.stones
    )
    by_scene = len(found.stones) - by_grade
    on = [f"on {by_grade} in the grade"] if by_grade or not by_scene else []
    on += [f"on {by_scene} in the scene alone"] if by_scene else []
    lines = [f"{stones} called by more than one person; they differ {', '.join(on)}"]
    return lines + [pair_words(pair) for pair in found.pairs]


def pair_words(pair: Pair) -> str:
    """Return "Nell and Ole both called 12 stones: the same grade on 9; where not, Ole is mostly one grade higher"."""
    first, second = (name or UNNAMED for name in (pair.first, pair.second))
    parts = []
    if pair.both:
        stones = "1 stone" if pair.both == 1 else f"{pair.both} stones"
        parts.append(f"{first} and {second} both called {stones}: {_grade_words(pair, second)}")
    if pair.scenes:
        on = "1 stone" if pair.scenes == 1 else f"{pair.scenes} stones"
        points = "1 point" if pair.scene_gap == 1 else f"{pair.scene_gap:g} points"
        both = "their" if parts else f"{first}'s and {second}'s"
        middle = "" if pair.scenes == 1 else " in the middle"
        parts.append(f"{both} scenes of {on} lie {points} apart{middle}")
    return "; ".join(parts)


def _grade_words(pair: Pair, second: str) -> str:
    other = pair.higher + pair.lower
    if not other:
        return "the same grade" if pair.both == 1 else "the same grade on all"
    same = f"the same grade on {pair.same}" if pair.same else "never the same grade"
    if pair.both == 1:
        same = "not the same grade"
    if pair.higher == pair.lower:
        return f"{same}; where not, {second} is as often higher as lower"
    direction = "higher" if pair.higher > pair.lower else "lower"
    steps = {1: "one grade", 2: "two grades", 3: "three grades"}.get(pair.steps)
    by = steps or f"{pair.steps:g} grades"
    if other == 1:
        return f"{same}; {second} is {by} {direction}" + ("" if pair.both == 1 else " on the other")
    often = "always" if not min(pair.higher, pair.lower) else "mostly"
    return f"{same}; where not, {second} is {often} {by} {direction}"


def disagreement_page(found: Disagreement, model: str) -> str:
    """Return the page as HTML: whole in itself, without a script.

    model : label of the model whose proposals are told.
    """
    return page_template("disagreement.html").render(
        lines=disagreement_lines(found),
        stones=[_shown(stone) for stone in found.stones[:MOST_SHOWN]],
        more=max(0, len(found.stones) - MOST_SHOWN),
        model=model,
        unsettled=any(stone.house["decided"] == "last" for stone in found.stones),
    )


def _shown(stone: DisputedStone) -> dict:
    proposal = stone.proposal
    return {
        "photo": stone.photo,
        "piece": stone.piece,
        "name": next((call["stone"] for call in reversed(stone.calls) if call["stone"]), None),
        "picture": stone.picture and b64encode(stone.picture).decode(),
        "people": [
            _person(call, shown, stone.house)
            for call, shown in zip(stone.calls, stone.shown, strict=True)
        ],
        "proposed": proposal and grade_and_scene_words(proposal),
        "proposed_grade": proposal and proposal["grade"],
        "house": house_words({"call": stone.house, "calls": stone.calls}),
    }


def _person(call: dict, shown: str | None, house: dict) -> dict:
    return {
        "name": call["by"] or UNNAMED,
        "grade": call["grade"] or "",
        "scene": "" if call["scene"] is None else call["scene"],
        "day": call["time"][:10],
        "note": call["note"],
        "shown": shown,
        "counts": call["by"] in (house["by"], house["scene_by"] or house["by"]),
    }
