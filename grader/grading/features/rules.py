"""The written rules of a profile: a grade from named values, and which condition decided it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from grader.profile import Profile, Rule

#: Named values of one face; ``None`` where there is nothing to measure or no scale to measure it
#: with.
Features = Mapping[str, float | None]

#: Unknown without a scale; every other ``None`` means that there is nothing there, and counts as 0.
NEEDS_SCALE = ("area_cm2",)

#: How soon ``ladder_position`` leans towards a neighbour: a tenth of the bound off, by 0.3 grades.
LEAN = 5.0


@dataclass(frozen=True)
class Condition:
    """One written condition: ``measure`` at least (or, with ``at_most``, at most) ``bound``."""

    grade: str
    measure: str
    bound: float
    at_most: bool

    def margin(self, features: Features) -> float:
        """By how much the condition holds (positive) or fails, in parts of its bound.

        Infinite where the measure needs a scale and there is none: the grade comes from the rest.
        """
        value = features.get(self.measure)
        if value is None and self.measure in NEEDS_SCALE:
            return np.inf
        over = _over(value, self.bound)
        return -over if self.at_most else over


def grade_by_rules(features: Features, profile: Profile) -> tuple[str, Condition | None]:
    """Return the grade of the written rules and the condition that decided it.

    From the best grade down, the first one of which a rule holds in full; else the lowest.
    What decided is the condition that the next better grade misses by most, or, for the best
    grade, its own tightest one; ``None`` where no rule speaks of a better grade.
    """
    grades = profile.grades
    reached = _reached(_margins(features, profile))
    for rung in (*range(reached + 1, len(grades)), reached):
        condition = _best(profile, grades[rung], features)[1]
        if condition is not None:
            return grades[reached], condition
    return grades[reached], None


def ladder_position(features: Features, profile: Profile) -> float:
    """Return where the written rules put the face: 0 the lowest grade to K - 1 the best.

    The whole number nearest to it is the grade of the rules; it leans towards a neighbour as the
    border to it comes near, and never falls where a condition holds by more.
    """
    margins = _margins(features, profile)
    rung = _reached(margins)
    below, above = _borders(margins, rung)
    return rung + 0.5 * float(np.exp(-LEAN * above) - np.exp(-LEAN * below))


def border_distance(features: Features, profile: Profile) -> float:
    """Return how far the nearest border at which the grade changes is, in parts of its bound."""
    return float(min(border_margins(features, profile)))


def border_margins(features: Features, profile: Profile) -> tuple[float, float]:
    """Return how far the borders to the next lower and to the next better grade are.

    In parts of the bound that decides; infinite where there is no such grade.
    """
    margins = _margins(features, profile)
    return _borders(margins, _reached(margins))


def conditions(rule: Rule) -> tuple[Condition, ...]:
    """Return the conditions of a rule, in the order in which they are written."""
    low = (Condition(rule.grade, measure, bound, False) for measure, bound in rule.at_least.items())
    high = (Condition(rule.grade, measure, bound, True) for measure, bound in rule.at_most.items())
    return (*low, *high)


def _best(profile: Profile, grade: str, features: Features) -> tuple[float, Condition | None]:
    """Of the rules for ``grade``, the one nearest to holding: its tightest margin and condition."""
    best: tuple[float, Condition | None] = (-np.inf, None)
    for rule in profile.rules:
        if rule.grade != grade:
            continue
        tightest = min(
            ((condition.margin(features), condition) for condition in conditions(rule)),
            key=lambda pair: pair[0],
            default=(np.inf, None),
        )
        best = max(best, tightest, key=lambda pair: pair[0])
    return best


def _margins(features: Features, profile: Profile) -> list[float]:
    """How far each grade, lowest first, is from holding by the nearest of its rules; -inf where it has none.

    Numbers alone, for these are asked for again and again: a model sees every change of a face through them.
    """
    margins = dict.fromkeys(profile.grades, -np.inf)
    for rule in profile.rules:
        margins[rule.grade] = max(margins[rule.grade], _tightest(rule, features))
    return list(margins.values())


def _tightest(rule: Rule, features: Features) -> float:
    """The least margin of a rule's conditions: of each what :meth:`Condition.margin` tells."""
    tightest = np.inf
    for bounds, sign in ((rule.at_least, 1.0), (rule.at_most, -1.0)):
        for measure, bound in bounds.items():
            value = features.get(measure)
            if value is not None or measure not in NEEDS_SCALE:
                # Written out, as ``_over`` tells it, for this is asked a hundred times a proposal.
                margin = sign * ((value or 0.0) - bound) / (abs(bound) or 1.0)
                if margin < tightest:
                    tightest = margin
    return tightest


def _over(value: float | None, bound: float) -> float:
    """By how much a value lies over a bound, in parts of it; nothing there counts as 0."""
    return ((value or 0.0) - bound) / (abs(bound) or 1.0)


def _reached(margins: list[float]) -> int:
    """The best rung of which a rule holds in full, else the lowest."""
    return next((rung for rung in range(len(margins) - 1, 0, -1) if margins[rung] >= 0), 0)


def _borders(margins: list[float], rung: int) -> tuple[float, float]:
    below = max(margins[rung:]) if rung > 0 else np.inf
    return below, -max(margins[rung + 1 :], default=-np.inf)
