"""From measurements to a proposal."""

from grader.face.measurements import Measurements
from grader.face.size import size_class
from grader.grading.features import features
from grader.grading.model import Model
from grader.grading.proposal import Proposal
from grader.grading.reasons import reasons
from grader.grading.scene_head import SceneScore
from grader.profile import SELL_AS, Profile


def propose(measurements: Measurements, profile: Profile, model: Model) -> Proposal:
    """Return the proposal for one measured face.

    A ladder that the model has not learned is graded by the profile's written rules; ``model`` in
    the
    proposal says so. Without a scale the grade comes from the rest and ``sell_as`` is ``None``.
    """
    model = model.for_ladder(profile)
    values = model.complete(features(measurements, profile), profile)
    probabilities = model.grade.probabilities([values])[0]
    grade = model.grade.grades[int(model.grade.rungs([values])[0])]
    scene = model.scene_score(values)
    return Proposal(
        grade=grade,
        scene=scene.score,
        scene_low=scene.low,
        scene_high=scene.high,
        probabilities={
            name: float(p) for name, p in zip(model.grade.grades, probabilities, strict=True)
        },
        sell_as=sell_as(grade, piece_size(measurements, profile), profile),
        reasons=tuple(reason.text for reason in reasons(values, measurements, profile, model)),
        model=model.label,
    )


def scene_score(measurements: Measurements, profile: Profile, model: Model) -> SceneScore:
    """Return the scene head's score alone: it is told also where no proposal is made."""
    return model.scene_score(features(measurements, profile))


def piece_size(measurements: Measurements, profile: Profile) -> str | None:
    """Return the size class of the face, ``None`` without scale."""
    if measurements.mm_per_px is None:
        return None
    return size_class(measurements.regions.codes > 0, measurements.mm_per_px, profile.ovals_mm)


def sell_as(grade: str, size: str | None, profile: Profile) -> str | None:
    """Return how a piece of that grade and size is usually sold; ``None`` without scale.

    The ladder says it by grade. A face that takes not even the smallest oval is sold one step
    lower,
    though never as waste: size makes no waste.
    """
    if size is None:
        return None
    usual = next(rung.sell_as for rung in profile.ladder if rung.grade == grade)
    if not size.startswith("under") or usual in ("chips", "waste"):
        return usual
    return SELL_AS[SELL_AS.index(usual) + 1]
