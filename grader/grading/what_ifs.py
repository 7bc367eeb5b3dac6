"""The smallest change that would lift a proposal by a grade: a line less, or a little more of one thing."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grader.grading.features.facts import LineFacts, StoneFacts
from grader.grading.features.features import line_features, with_values
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.profile import Profile

#: What a seller can see more of, each alone; how much more is still a small change (in spreads of the training faces),
#: and in how many steps it is tried.
MORE = ("scene_score", "pattern_share", "blue_chroma")
MOST_SPREADS, STEPS = 0.5, 10


@dataclass(frozen=True)
class WhatIf:
    """A change and the grade that it would lead to.

    left_out : number of the lines left out, 0 where the change is another.
    leaves_share : of the face, what trimming at the line leaves; ``None`` where the line parts nothing.
    """

    text: str
    grade: str
    left_out: int = 0
    leaves_share: float | None = None


def what_if(values: Features, facts: StoneFacts, profile: Profile, model: Model) -> WhatIf | None:
    """Return the smallest change that lifts the grade; ``None`` for the best grade, or where nothing small does.

    A line left out comes first, since a saw can do that: the shortest single one that lifts, else all of them. The
    scene is held as it is.

    Parameters
    ----------
    values : features as the grade head sees them (:meth:`Model.complete`).
    """
    rung = int(model.grade.rungs([values])[0])
    if rung == len(model.grade.grades) - 1:
        return None
    return _without_a_line(values, facts, profile, model, rung) or _more(
        values, profile, model, rung
    )


def without_lines(
    values: Features, facts: StoneFacts, profile: Profile, left_out: Sequence[LineFacts]
) -> dict[str, float | None]:
    """Return the features as they would be without those lines, with the same scene."""
    kept = [line for line in facts.lines if not any(line is out for out in left_out)]
    lines = {k: float(v) for k, v in line_features(kept, facts.face_area_px).items()}
    return with_values(values, profile, **lines)


def _without_a_line(values, facts: StoneFacts, profile, model, rung) -> WhatIf | None:
    lines = sorted(
        (line for line in facts.lines if line.kind in ("crack", "uncertain")),
        key=lambda line: line.length_px,
    )
    tries = [[line] for line in lines] + ([lines] if len(lines) > 1 else [])
    for left_out in tries:
        better = without_lines(values, facts, profile, left_out)
        reached = int(model.grade.rungs([better])[0])
        if reached > rung:
            grade = model.grade.grades[reached]
            if len(left_out) > 1:
                return WhatIf(f"without the {len(left_out)} lines: {grade}", grade, len(left_out))
            (line,) = left_out
            trimmed = _trimmed_words(line.leaves_share, facts.weight_g)
            return WhatIf(
                f"without the line {line.where}: {grade}{trimmed}", grade, 1, line.leaves_share
            )
    return None


def _trimmed_words(share: float | None, weight_g: float | None) -> str:
    if share is None:
        return ""
    if weight_g is None:
        return f"; trimming there leaves {100 * share:.0f} % of the face"
    return f"; trimming there leaves {share * weight_g:.0f} g of {weight_g:.0f} g, if evenly thick"


def _more(values: Features, profile: Profile, model: Model, rung: int) -> WhatIf | None:
    """The one of a few measures of which the least more, in spreads, is enough."""
    tries = list(_tries(values, profile, model))
    reached = model.grade.rungs([changed for _, _, changed in tries])
    for (name, more, _), there in zip(tries, reached, strict=True):
        if there > rung:
            grade = model.grade.grades[there]
            words = _TELL[name].format(more, values[name]).replace("%", " %")
            return WhatIf(f"{words}: {grade}", grade)
    return None


def _tries(
    values: Features, profile: Profile, model: Model
) -> Iterator[tuple[str, float, dict[str, float | None]]]:
    """Name, how much of it, and the features with so much: the smallest steps first."""
    spreads = dict(zip(model.grade.scaling.names, model.grade.scaling.spread, strict=True))
    for step in range(1, STEPS + 1):
        for name in MORE:
            if values[name] is None:
                continue
            more = values[name] + MOST_SPREADS * step / STEPS * spreads[name]
            changed = _with_more(values, name, more)
            if changed is not None:
                yield name, more, with_values(values, profile, **changed)


def _with_more(values: Features, name: str, more: float) -> dict[str, float] | None:
    """The features that change with it; ``None`` where there cannot be so much."""
    if name == "pattern_share":
        if more > 1 or not values[name]:
            return None
        grown = {
            part: (values[part] or 0.0) * more / values[name]
            for part in ("blue_share", "white_share")
        }
        return {name: more, "host_share": 1 - more, **grown}
    return None if name == "scene_score" and more > 100 else {name: more}


_TELL = {
    "scene_score": "with a scene of {:.0f} instead of {:.0f}",
    "pattern_share": "with {:.0%} pattern instead of {:.0%}, host trimmed away",
    "blue_chroma": "with a stronger blue (chroma {:.0f} instead of {:.0f})",
}
