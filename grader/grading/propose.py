"""From measurements to a proposal."""

from collections.abc import Mapping

from grader.face.measurements import Measurements
from grader.grading.features import features
from grader.grading.grade_set import WHOLE_LADDER
from grader.grading.model import Model
from grader.grading.proposal import Proposal, RulesWord, SceneEstimate
from grader.grading.reasons import reasons
from grader.grading.rules import grade_by_rules
from grader.grading.what_ifs import what_if
from grader.profile import SELL_AS, Profile


def scene_estimate(measurements: Measurements, profile: Profile, model: Model) -> SceneEstimate:
    """Return the scene head's number for a face; it is told also where no grade is proposed."""
    return model.scene.estimate(features(measurements, profile))


def propose(
    measurements: Measurements,
    size_class: str | None,
    scene: SceneEstimate,
    profile: Profile,
    model: Model,
    weight_g: float | None = None,
    look: Mapping[str, float] | None = None,
) -> Proposal:
    """Return the proposal for one measured face.

    A ladder that the model has not learned is graded by the profile's written rules; ``model`` in
    the proposal says so. Without a scale the grade comes from the rest.

    Parameters
    ----------
    size_class : of :func:`grader.face.size.size_class`, ``None`` without scale.
    scene : of :func:`scene_estimate`.
    weight_g : of the piece, where the seller says it: for what trimming would leave.
    look : of the face, from :func:`~grader.grading.strangers.look_of`; without it no stranger is told.
    """
    model = model.for_ladder(profile)
    plain = features(measurements, profile)
    values = model.complete(plain, profile)
    probabilities = model.grade.probabilities([values])[0]
    grade = model.grade.grades[int(model.grade.rungs([values])[0])]
    stranger = model.known.why_strange(look) if model.known and look else None
    # Of what it does not know the model leaves no grade out.
    sets = WHOLE_LADDER if stranger else model.grade.sets
    members = sets.members(probabilities[None])[0]
    ruled, condition = grade_by_rules(plain, profile)
    change = what_if(values, measurements, profile, model, weight_g)
    by_grade = zip(model.grade.grades, probabilities, strict=True)
    told = reasons(values, measurements, profile, model)
    return Proposal(
        grade=grade,
        scene=scene.score,
        probabilities={name: float(p) for name, p in by_grade},
        sell_as=sell_as(grade, size_class, profile),
        reasons=tuple(reason.text for reason in told),
        model=model.label,
        grade_set=tuple(
            name for name, inside in zip(model.grade.grades, members, strict=True) if inside
        ),
        rules=RulesWord(ruled, None if condition is None else str(condition)),
        what_if=None if stranger else change and change.text,
        stranger=stranger,
    )


def sell_as(grade: str, size_class: str | None, profile: Profile) -> str | None:
    """Return how a piece of that grade and size is usually sold; ``None`` without scale.

    The ladder says it by grade. A face that takes not even the smallest oval is sold one step
    lower, though never as waste: size makes no waste.
    """
    if size_class is None:
        return None
    usual = next(rung.sell_as for rung in profile.ladder if rung.grade == grade)
    if not size_class.startswith("under") or usual in ("chips", "waste"):
        return usual
    return SELL_AS[SELL_AS.index(usual) + 1]
