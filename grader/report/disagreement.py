"""Where people differ: who from whom, in words, and a page with the stones."""

from base64 import b64encode
from dataclasses import dataclass

from grader.grading.disagreement import Pair
from grader.report.agreement import interval_words
from grader.report.drift import Drift, drift_lines
from grader.report.sheet import page_template
from grader.report.words import UNNAMED, counted, grade_and_scene_words, house_words

#: So many pairs of grades that two people confuse are named; the others are counted.
MOST_CONFUSED = 3


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
    """Where people differ.

    stones : those that divide them most, the farthest apart first.   pairs : how each two agree.
    both : how many stones several called.   in_grade, in_scene : on how many of them they differ in the grade, in the
    scene alone.
    drift : whether people have become stricter or milder.
    """

    stones: tuple[DisputedStone, ...]
    pairs: tuple[Pair, ...]
    both: int
    in_grade: int
    in_scene: int
    drift: Drift


def disagreement_lines(found: Disagreement) -> list[str]:
    """Return who differs from whom and in which grades, then who has become stricter or milder."""
    if not found.both:
        return ["no stone was called by two people yet", *drift_lines(found.drift)]
    stones = "1 stone was" if found.both == 1 else f"{found.both} stones were"
    on = [f"on {found.in_grade} in the grade"] if found.in_grade or not found.in_scene else []
    on += [f"on {found.in_scene} in the scene alone"] if found.in_scene else []
    lines = [f"{stones} called by more than one person; they differ {', '.join(on)}"]
    lines += [line for pair in found.pairs for line in pair_lines(pair)]
    if any(pair.kappa.value is not None for pair in found.pairs):
        lines.append(KAPPA_MEANS)
    return lines + drift_lines(found.drift)


#: What the figure says, told once behind all of them.
KAPPA_MEANS = (
    "kappa (quadratic weighted, 95 % range in brackets) is 1 where two people agree in full and 0 where they agree no "
    "more than by chance; two grades apart weigh four times as much as one"
)


def pair_lines(pair: Pair) -> list[str]:
    """Return "Nell and Ole agree on 9 of the 12 stones that both called; where not, Ole is mostly one grade higher",
    then the grades that they confuse and kappa."""
    first, second = (name or UNNAMED for name in (pair.first, pair.second))
    parts = []
    if pair.both:
        parts.append(f"{first} and {second} {_agree_words(pair, second)}")
    if pair.scenes:
        on = "1 stone" if pair.scenes == 1 else f"{pair.scenes} stones"
        points = "1 point" if pair.scene_gap == 1 else f"{pair.scene_gap:g} points"
        both = "their" if parts else f"{first}'s and {second}'s"
        middle = "" if pair.scenes == 1 else " or less, on half of them"
        parts.append(f"{both} scenes of {on} lie {points} apart{middle}")
    lines = ["; ".join(parts)]
    if pair.confused:
        lines.append(f"{first} and {second} differ between {_confused_words(pair, first, second)}")
    if pair.kappa.value is not None:
        lines.append(f"{first} and {second}: kappa {_kappa_words(pair)}")
    return lines


def _agree_words(pair: Pair, second: str) -> str:
    other = pair.higher + pair.lower
    if pair.both == 1:
        not_ = " do not" if other else ""
        agree = f"{not_} agree on the one stone that both called".lstrip()
    else:
        on = "all" if not other else f"{pair.same} of the" if pair.same else "none of the"
        photos = "" if pair.both == pair.pieces else "photos of "
        stones = f"{pair.both} {photos}{counted(pair.pieces, 'stone') if photos else 'stones'}"
        agree = f"agree on {on} {stones} that both called"
    if not other:
        return agree
    if pair.higher == pair.lower:
        return f"{agree}; where not, {second} is as often higher as lower"
    direction = "higher" if pair.higher > pair.lower else "lower"
    steps = {1: "one grade", 2: "two grades", 3: "three grades"}.get(pair.steps)
    by = steps or f"{pair.steps:g} grades"
    if other == 1:
        return f"{agree}; {second} is {by} {direction}" + (
            "" if pair.both == 1 else " on the other"
        )
    often = "always" if not min(pair.higher, pair.lower) else "mostly"
    return f"{agree}; where not, {second} is {often} {by} {direction}"


def _confused_words(pair: Pair, first: str, second: str) -> str:
    """Return "tumbling and cabbing on 3 stones (Ole says cabbing on 2), waste and select on 1 (Nell says select)"."""
    words = []
    for two in pair.confused[:MOST_CONFUSED]:
        if two.second_higher == 0:
            who = f"{first} says {two.higher}"
        elif two.second_higher == two.count:
            who = f"{second} says {two.higher}"
        else:
            who = f"{second} says {two.higher} on {two.second_higher}"
        stones = "" if words else " stone" if two.count == 1 else " stones"
        words.append(f"{two.lower} and {two.higher} on {two.count}{stones} ({who})")
    rest = sum(two.count for two in pair.confused[MOST_CONFUSED:])
    return ", ".join([*words, f"others on {rest}"] if rest else words)


def _kappa_words(pair: Pair) -> str:
    words = interval_words(pair.kappa)
    if pair.kappa.low is not None:
        return words
    why = "they never differ" if pair.same == pair.both else "the stones are too few"
    return f"{words}, its range not known since {why}"


def disagreement_page(found: Disagreement, model: str) -> str:
    """Return the page as HTML: whole in itself, without a script.

    model : label of the model whose proposals are told.
    """
    return page_template("disagreement.html").render(
        lines=disagreement_lines(found),
        stones=[_shown(stone) for stone in found.stones],
        more=found.in_grade + found.in_scene - len(found.stones),
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
