"""From the facts of a stone to a proposal."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.facts import StoneFacts
from grader.grading.features.rules import grade_by_rules
from grader.grading.features.several_faces import piece_facts
from grader.grading.models.model import Model
from grader.grading.models.prediction_set import WHOLE_LADDER
from grader.grading.proposal import (
    LinesLeftOut,
    Proposal,
    RulesWord,
    SceneEstimate,
    likely_grades,
)
from grader.grading.reasons import reasons
from grader.grading.what_ifs import what_if
from grader.profile import SELL_AS, Profile

#: What weighs less is not sold by weight but among chips. Common practice, no source.
LIGHT_G = 15.0


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
    by_grade = dict(zip(model.grade.grades, map(float, probabilities), strict=True))
    likely = likely_grades(by_grade)
    grade_set = _joined(rule.contains(probabilities[None])[0], likely, model.grade.grades)
    ruled, condition = grade_by_rules(facts.features, profile)
    lifted = None if unfamiliar else what_if(values, facts, profile, model)
    return Proposal(
        grade=grade,
        scene=scene.score,
        probabilities=by_grade,
        sell_as=sell_as(grade, facts.size_class, profile, facts.weight_g),
        reasons=reasons(values, facts, profile, model),
        model=model.label,
        grade_set=grade_set,
        rules=RulesWord(ruled, condition),
        # A grade that is as likely already is no better one.
        what_if=None if lifted is None or lifted.grade in likely else lifted,
        unfamiliar=unfamiliar,
    )


def propose_piece(
    faces: Sequence[StoneFacts], profile: Profile, model: Model
) -> tuple[SceneEstimate, Proposal | None]:
    """Return the scene and the one proposal for a piece of which several faces are measured; no proposal where one of
    them has to be photographed again."""
    facts = piece_facts(faces, profile)
    scene = scene_estimate(facts, model)
    proposal = propose(facts, scene, profile, model)
    if proposal and proposal.what_if and isinstance(proposal.what_if.change, LinesLeftOut):
        # What a cut through one face leaves of the others no photo tells.
        proposal = replace(proposal, what_if=None)
    return scene, proposal


def _joined(
    inside: NDArray[np.bool_], likely: tuple[str, ...], grades: tuple[str, ...]
) -> tuple[str, ...]:
    """The grades of a set and of a headline, without a gap: what the headline names is in the set."""
    held = [k for k, grade in enumerate(grades) if inside[k] or grade in likely]
    return grades[held[0] : held[-1] + 1]


def sell_as(
    grade: str, size_class: str | None, profile: Profile, weight_g: float | None = None
) -> str | None:
    """Return how a piece of that grade, size and weight is usually sold; ``None`` without scale.

    The ladder says it by grade. A face that takes not even the smallest oval is sold one step lower, and so is what
    would go by weight and weighs next to nothing; neither ever as waste: size makes no waste.
    """
    if size_class is None:
        return None
    usual = next(rung.sell_as for rung in profile.ladder if rung.grade == grade)
    small = size_class.startswith("under")
    light = usual == "by weight" and weight_g is not None and weight_g < LIGHT_G
    if not (small or light) or usual in ("chips", "waste"):
        return usual
    return SELL_AS[SELL_AS.index(usual) + 1]
