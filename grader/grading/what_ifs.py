"""The smallest change that would lift a proposal by a grade: a line less, or a little more of one thing."""

from collections.abc import Sequence

from grader.grading.features.facts import LineFacts, StoneFacts
from grader.grading.features.features import line_features, with_values
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.grading.proposal import LinesLeftOut, MoreOf, WhatIf
from grader.profile import Profile

#: What a seller can see more of, each alone; how much more is still a small change (in spreads of the training faces),
#: and in how many steps it is tried.
MORE = ("scene_score", "pattern_share", "blue_chroma")
MOST_SPREADS, STEPS = 0.5, 10


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


def _without_a_line(
    values: Features, facts: StoneFacts, profile: Profile, model: Model, rung: int
) -> WhatIf | None:
    doubtful = [
        (number, line)
        for number, line in enumerate(facts.lines, start=1)
        if line.kind in ("crack", "uncertain")
    ]
    doubtful.sort(key=lambda numbered: numbered[1].length_px)
    tries = [[one] for one in doubtful] + ([doubtful] if len(doubtful) > 1 else [])
    for left_out in tries:
        numbers, lines = zip(*left_out, strict=True)
        better = without_lines(values, facts, profile, lines)
        reached = int(model.grade.rungs([better])[0])
        if reached > rung:
            line = lines[0] if len(lines) == 1 else None
            change = LinesLeftOut(numbers, line, facts.weight_g)
            return WhatIf(change, model.grade.grades[reached])
    return None


def _more(values: Features, profile: Profile, model: Model, rung: int) -> WhatIf | None:
    """The one of a few measures of which the least more, in spreads, is enough."""

    def lifts(changes: list[MoreOf]) -> list[WhatIf]:
        changed = [
            with_values(values, profile, **_with_more(values, change.measure, change.needed))
            for change in changes
        ]
        rungs = model.grade.rungs(changed) if changed else []
        reached = zip(changes, rungs, strict=True)
        return [WhatIf(change, model.grade.grades[at]) for change, at in reached if at > rung]

    tries = _tries(values, model)
    # Of most stones not even the most that is still small lifts the grade: then less is not tried.
    most = {change.measure: change for change in tries}
    helping = {lift.change.measure for lift in lifts(list(most.values()))}
    return next(iter(lifts([change for change in tries if change.measure in helping])), None)


def _tries(values: Features, model: Model) -> list[MoreOf]:
    """So much more of one measure, as far as there can be: the smallest steps first."""
    spreads = dict(zip(model.grade.scaling.names, model.grade.scaling.spread, strict=True))
    return [
        MoreOf(name, values[name], more)
        for step in range(1, STEPS + 1)
        for name in MORE
        if values[name] is not None
        and _with_more(
            values, name, more := values[name] + MOST_SPREADS * step / STEPS * spreads[name]
        )
    ]


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
