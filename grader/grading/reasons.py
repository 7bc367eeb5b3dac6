"""Why a grade is proposed: which subjects moved it most against the seller's average stone."""

from grader.grading.features.facts import StoneFacts
from grader.grading.features.features import with_values
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.grading.proposal import Reason
from grader.profile import Profile

#: A subject that moves the expected grade by less than this, in grades, is not worth a line.
LEAST = 0.04

#: Features that go together: taking one away without the others would be no answer.
SUBJECTS: dict[str, tuple[str, ...]] = {
    "pattern": ("pattern_share", "blue_share", "white_share", "rusty_share"),
    "colour": ("blue_chroma", "white_lightness"),
    "bands": ("band_contrast", "continuity", "fill_share"),
    "room": ("pattern_room_share", "colour_room_share", "pattern_contrast"),
    "lines": ("crack_count", "crack_density", "line_density", "picture_lines"),
    "scene": ("scene_score",),
}


def reasons(
    values: Features, facts: StoneFacts, profile: Profile, model: Model, most: int = 3
) -> tuple[Reason, ...]:
    """Return up to ``most`` reasons, the strongest first; of the best and the lowest grade first those for it.

    A subject's weight is the change of the expected grade when its features are put to the mean of the seller's called
    stones and the rules are read again.

    Parameters
    ----------
    values : features as the grade head sees them (:meth:`Model.complete`).
    """
    usual = model.grade.usual
    without = [
        with_values(values, profile, **{name: usual[name] for name in names if name in usual})
        for names in SUBJECTS.values()
    ]
    expected, *others = model.grade.expected_grade([values, *without])
    moves = {
        subject: float(expected - other) for subject, other in zip(SUBJECTS, others, strict=True)
    }
    strongest = sorted(moves, key=lambda subject: -abs(moves[subject]))
    # Under the best grade what speaks for it stands first, under the lowest what speaks against a better one.
    rung = int(model.grade.rungs([values])[0])
    if rung in (0, len(model.grade.grades) - 1):
        towards = 1 if rung > 0 else -1
        strongest.sort(key=lambda subject: towards * moves[subject] < LEAST)
    return tuple(
        Reason(
            subject,
            moves[subject],
            {name: values.get(name) for name in SUBJECTS[subject]},
            tuple(sorted(facts.cracks, key=lambda line: -line.length_px))
            if subject == "lines"
            else (),
            {name: usual.get(name) for name in SUBJECTS[subject]},
            bool(model.grade.average),
        )
        for place, subject in enumerate(strongest[:most])
        # Where no one subject decides, the first still tells what is seen.
        if place == 0 or abs(moves[subject]) >= LEAST
    )
