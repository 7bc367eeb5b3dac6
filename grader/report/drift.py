"""Whether people have become stricter or milder, in plain lines."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from grader.grading.learning.drift import LEAST, Quarter, Season, SecondLookShift, Shift, Span
from grader.measures import Interval
from grader.report.agreement import interval_words
from grader.report.words import UNNAMED


@dataclass(frozen=True)
class Drift:
    """What is known of people over the time: their seasons, their shifts, and their last second looks at own calls."""

    seasons: tuple[Season, ...]
    shifts: tuple[Shift, ...]
    looks: tuple[SecondLookShift, ...]


def season_lines(seasons: Sequence[Season]) -> list[str]:
    """Return how far each person's calls of three months lie above what was proposed."""
    return [
        f"{season.by or UNNAMED}, {quarter_words(season.quarter)}: {season.n} calls beside a proposal of "
        f"{season.model}, {interval_words(season.above)} grades above it"
        for season in seasons
    ]


def drift_lines(drift: Drift) -> list[str]:
    """Return whether each person has become stricter or milder, a sentence each, with the 95 % range in brackets."""
    lines = [_shift_words(shift) for shift in drift.shifts]
    lines += [_look_words(look) for look in drift.looks]
    quarters = defaultdict(set)
    for season in drift.seasons:
        quarters[season.by].add(season.quarter)
    told = {shift.by for shift in drift.shifts} | {look.by for look in drift.looks}
    return lines + [
        f"whether {by or UNNAMED} has become stricter or milder cannot be told yet: it takes {2 * LEAST} calls beside "
        "one model's proposals"
        for by, when in quarters.items()
        if len(when) > 1 and by not in told
    ]


def _shift_words(shift: Shift) -> str:
    """Return "Nell has become stricter: -0.40 grades (-0.60 to -0.20) on alike stones, ..."."""
    return (
        f"{shift.by or UNNAMED} {_become(shift.above)}: {_signed(shift.above)} on stones for which {shift.model} "
        f"proposed the same, {_span_words(shift.last)} against {_span_words(shift.before)}{_advice(shift.above)}"
    )


def _look_words(look: SecondLookShift) -> str:
    return (
        f"{look.by or UNNAMED} {_become(look.above)}: {_signed(look.above)} on {look.n} stones called before and "
        f"sorted again, blind, from {look.day} on{_advice(look.above)}"
    )


def _become(above: Interval) -> str:
    if not _moved(above):
        return "is neither stricter nor milder than before, as far as can be told"
    return f"has become {'milder' if above.value > 0 else 'stricter'}"


def _moved(above: Interval) -> bool:
    return above.low * above.high > 0


def _advice(above: Interval) -> str:
    return ": look again (grader second-look) or retrain" if _moved(above) else ""


def _signed(above: Interval) -> str:
    return f"{above.value:+.2f} grades ({above.low:+.2f} to {above.high:+.2f})"


def _span_words(span: Span) -> str:
    return f"{span.n} calls of {span.since} to {span.until}"


def quarter_words(quarter: Quarter) -> str:
    """Return "2025, months 4 to 6"."""
    return f"{quarter.year}, months {quarter.first_month} to {quarter.first_month + 2}"
