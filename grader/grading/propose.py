"""From the facts of a stone to a proposal."""

from grader.grading.features.facts import StoneFacts
from grader.grading.features.rules import grade_by_rules
from grader.grading.models.model import Model
from grader.grading.models.prediction_set import WHOLE_LADDER
from grader.grading.proposal import Proposal, RulesWord, SceneEstimate
from grader.grading.reasons import reasons
from grader.grading.what_ifs import what_if
from grader.profile import SELL_AS, Profile


def scene_estimate(facts: StoneFacts, model: Model) -> SceneEstimate:
    """Return the scene head's number for a face; it is told also where no grade is proposed."""
    return model.scene.estimate(facts.features)


def propose(
    facts: StoneFacts, scene: SceneEstimate, profile: Profile, model: Model
) -> Proposal | None:
    """Return the proposal for one measured face; ``None`` where its photo has to be taken again.

    A ladder that the model has not learned is graded by the profile's written rules; ``model`` in
    the proposal says so. Without a scale the grade comes from the rest.

    Parameters
    ----------
    scene : of :func:`scene_estimate`.
    """
    if facts.retake:
        return None
    model = model.for_ladder(profile)
    values = model.complete(facts.features, profile)
    probabilities = model.grade.probabilities([values])[0]
    grade = model.grade.grades[int(model.grade.rungs([values])[0])]
    known = model.familiarity
    unfamiliar = known.why_unfamiliar(facts.appearance) if known else None
    # Of what it does not know the model leaves no grade out.
    rule = WHOLE_LADDER if unfamiliar else model.grade.set_rule
    inside = rule.contains(probabilities[None])[0]
    ruled, condition = grade_by_rules(facts.features, profile)
    by_grade = zip(model.grade.grades, probabilities, strict=True)
    return Proposal(
        grade=grade,
        scene=scene.score,
        probabilities={name: float(p) for name, p in by_grade},
        sell_as=sell_as(grade, facts.size_class, profile),
        reasons=reasons(values, facts, profile, model),
        model=model.label,
        grade_set=tuple(
            name for name, held in zip(model.grade.grades, inside, strict=True) if held
        ),
        rules=RulesWord(ruled, condition),
        what_if=None if unfamiliar else what_if(values, facts, profile, model),
        unfamiliar=unfamiliar,
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
