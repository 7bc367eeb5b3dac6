"""Why a grade is proposed: what moved it most against the seller's average stone, in plain words."""

from collections.abc import Callable
from dataclasses import dataclass

from grader.grading.features.facts import StoneFacts
from grader.grading.features.features import with_values
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.profile import Profile

#: A subject that moves the mean place on the ladder by less than this, in grades, is not worth a line.
LEAST = 0.04


@dataclass(frozen=True)
class Reason:
    """One subject, and by how many grades it moves the mean place against the seller's average stone: up above 0."""

    subject: str
    moves: float
    text: str


#: Features that are told together: taking one away without the others would be no answer.
SUBJECTS: dict[str, tuple[str, ...]] = {
    "pattern": ("pattern_share", "blue_share", "white_share", "rusty_share"),
    "colour": ("blue_chroma", "white_lightness"),
    "bands": ("band_contrast", "continuity", "fill_share"),
    "lines": ("crack_count", "crack_density", "line_density"),
    "scene": ("scene_score",),
}


def reasons(
    values: Features, facts: StoneFacts, profile: Profile, model: Model, most: int = 3
) -> tuple[Reason, ...]:
    """Return up to ``most`` reasons, the strongest first.

    A subject's weight is the change of the grade head's mean place when its features are put to the
    mean of the seller's called stones and the rules are read again.

    Parameters
    ----------
    values : features as the grade head sees them (:meth:`Model.complete`).
    """
    usual = model.grade.usual
    without = [
        with_values(values, profile, **{name: usual[name] for name in names if name in usual})
        for names in SUBJECTS.values()
    ]
    place, *places = model.grade.expected_grade([values, *without])
    found = []
    for subject, there in zip(SUBJECTS, places, strict=True):
        moves = float(place - there)
        if abs(moves) >= LEAST:
            text = _TELL[subject](values, facts)
            found.append(
                Reason(subject, moves, f"{text}: {'better' if moves > 0 else 'worse'} than usual")
            )
    return tuple(sorted(found, key=lambda reason: -abs(reason.moves))[:most])


def _pattern(values: Features, facts: StoneFacts) -> str:
    blue, white = values["blue_share"] or 0.0, values["white_share"] or 0.0
    if blue + white < 0.005:
        return "host rock alone"
    if white < 0.005:
        return f"blue {blue:.0%} of the face, hardly any white".replace("%", " %")
    return f"blue {blue:.0%} and white {white:.0%} of the face".replace("%", " %")


def _colour(values: Features, facts: StoneFacts) -> str:
    chroma = values["blue_chroma"]
    if chroma is None:
        return "no blue to judge the colour by"
    word = "pale" if chroma < 14 else "strong" if chroma >= 26 else "medium"
    return f"{word} blue (chroma {chroma:.0f})"


def _bands(values: Features, facts: StoneFacts) -> str:
    if values["continuity"] is None:
        return "no bands to follow"
    return f"bands run unbroken over {values['continuity']:.0%} of the width".replace("%", " %")


def _lines(values: Features, facts: StoneFacts) -> str:
    cracks = sorted(facts.cracks, key=lambda line: -line.length_px)
    if not cracks:
        return "no line seen"
    longest = cracks[0]
    long = f"{longest.width_part:.1f} of the face's width"
    if len(cracks) == 1:
        return f"one line seen {longest.where}, {long}"
    return f"{len(cracks)} lines seen, the longest {longest.where}, {long}"


def _scene(values: Features, facts: StoneFacts) -> str:
    return f"scene {values['scene_score']:.0f} of 100"


_TELL: dict[str, Callable[[Features, StoneFacts], str]] = {
    "pattern": _pattern,
    "colour": _colour,
    "bands": _bands,
    "lines": _lines,
    "scene": _scene,
}
