"""Why a grade is proposed: what moved it most against the seller's average stone, in plain words."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from grader.face.measurements import Line, Measurements
from grader.grading.features import with_values
from grader.grading.model import Model
from grader.grading.rules import Features
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
    values: Features, measurements: Measurements, profile: Profile, model: Model, most: int = 3
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
    place, *places = model.grade.places([values, *without])
    found = []
    for subject, there in zip(SUBJECTS, places, strict=True):
        moves = float(place - there)
        if abs(moves) >= LEAST:
            text = _TELL[subject](values, measurements)
            found.append(
                Reason(subject, moves, f"{text}: {'better' if moves > 0 else 'worse'} than usual")
            )
    return tuple(sorted(found, key=lambda reason: -abs(reason.moves))[:most])


def _pattern(values: Features, measurements: Measurements) -> str:
    blue, white = values["blue_share"] or 0.0, values["white_share"] or 0.0
    if blue + white < 0.005:
        return "host rock alone"
    if white < 0.005:
        return f"blue {blue:.0%} of the face, hardly any white".replace("%", " %")
    return f"blue {blue:.0%} and white {white:.0%} of the face".replace("%", " %")


def _colour(values: Features, measurements: Measurements) -> str:
    chroma = values["blue_chroma"]
    if chroma is None:
        return "no blue to judge the colour by"
    word = "pale" if chroma < 14 else "strong" if chroma >= 26 else "medium"
    return f"{word} blue (chroma {chroma:.0f})"


def _bands(values: Features, measurements: Measurements) -> str:
    if values["continuity"] is None:
        return "no bands to follow"
    return f"bands run unbroken over {values['continuity']:.0%} of the width".replace("%", " %")


def _lines(values: Features, measurements: Measurements) -> str:
    cracks = sorted(measurements.cracks, key=lambda line: -line.length_px)
    if not cracks:
        return "no line seen"
    longest = cracks[0]
    where = where_on_face(longest, measurements)
    long = f"{longest.length_px / _extent(measurements)[1]:.1f} of the face's width"
    if len(cracks) == 1:
        return f"one line seen {where}, {long}"
    return f"{len(cracks)} lines seen, the longest {where}, {long}"


def _scene(values: Features, measurements: Measurements) -> str:
    return f"scene {values['scene_score']:.0f} of 100"


_TELL: dict[str, Callable[[Features, Measurements], str]] = {
    "pattern": _pattern,
    "colour": _colour,
    "bands": _bands,
    "lines": _lines,
    "scene": _scene,
}


def _extent(measurements: Measurements) -> tuple[int, int, int, int]:
    """Height, width, top and left of the face in working px."""
    face = measurements.regions.codes > 0
    rows, cols = np.flatnonzero(face.any(axis=1)), np.flatnonzero(face.any(axis=0))
    return int(np.ptp(rows)) + 1, int(np.ptp(cols)) + 1, int(rows[0]), int(cols[0])


def where_on_face(line: Line, measurements: Measurements) -> str:
    """Return "across the middle", or at which edge or corner the middle of the line lies."""
    height, width, top, left = _extent(measurements)
    x = (line.points[:, 0].mean() - left) / width
    y = (line.points[:, 1].mean() - top) / height
    side = "left" if x < 1 / 3 else "right" if x > 2 / 3 else ""
    level = "upper" if y < 1 / 3 else "lower" if y > 2 / 3 else ""
    if not side and not level:
        return (
            "across the middle" if line.length_px >= 0.4 * min(height, width) else "in the middle"
        )
    place = " ".join(word for word in (level, side) if word)
    return f"at the {place} {'corner' if side and level else 'edge'}"
