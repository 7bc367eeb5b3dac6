"""Keep whole or break, in words and as plain data: both values with their doubt, the break plan, the cautions."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from grader.face.lines.parting import Partings
from grader.grade import MeasuredPiece
from grader.grading.proposal import likely_grades
from grader.ledger.stock import Piece
from grader.report.cautions import BREAK_CAUTIONS, CAUTIONS, LOCAL_RULES, Caution, caution_lines
from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.trade.keep import HIGH, LOW, KeepOrBreak, Spread, Trials, Way
from grader.trade.prices import PriceTable, cents
from grader.weight import GRAMS_IN

#: So many ways of parting are told; the others together.
WAYS = 5


@dataclass(frozen=True)
class PlannedPart:
    """A part of the plan. cells : of the partings, counted from 0.   chances : of each grade, lowest first."""

    cells: tuple[int, ...]
    grams: float
    chances: Mapping[str, float]


@dataclass(frozen=True)
class BreakPlan:
    """A piece whole and broken.

    prices : the table that holds.   file : the photo whose lines count.   faces : how many are seen.
    chances : of each line of ``net``, that the stone parts along it.   planned : the lines that are struck, as a set.
    goal_g : what a part should weigh, ``None`` where nobody said.   whole_grades : chances by grade, ``called`` by a
    person or proposed.   doubts : why no advice is given.   remarks : what else is to be known.
    """

    piece: Piece
    currency: str
    prices: PriceTable
    file: str
    faces: int
    measured: MeasuredPiece
    net: Partings
    chances: tuple[float, ...]
    planned: int
    goal_g: Decimal | None
    parts: tuple[PlannedPart, ...]
    whole_grades: Mapping[str, float]
    called: bool
    trials: Trials
    result: KeepOrBreak
    doubts: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def line_numbers(self) -> tuple[int, ...]:
        """Of the lines of ``net``, as ``check --json`` counts them."""
        return tuple(n + 1 for n in self.net.lines)

    def named(self, lines: int) -> str:
        """A set of lines by their numbers: "line 3", "lines 1 and 3"."""
        numbers = [str(n) for k, n in enumerate(self.line_numbers) if lines >> k & 1]
        if len(numbers) == 1:
            return f"line {numbers[0]}"
        return f"lines {', '.join(numbers[:-1])} and {numbers[-1]}"


def keep_lines(plan: BreakPlan, unit: str) -> list[str]:
    """Return both ways, the advice and the break plan, without the cautions."""
    faces = "1 face" if plan.faces == 1 else f"{plan.faces} faces"
    grades = "called" if plan.called else "proposed"
    return [
        f"{plan.piece.code}: {weight_text(plan.piece.net_g, unit)}, {_grades(plan.whole_grades)} ({grades}); "
        f"lines as seen on {plan.file}, {faces} seen",
        *result_lines(plan),
        *(f"  note: {text}" for text in plan.remarks),
        f"  prices of {plan.prices.begins} (version {plan.prices.version}); what is asked is no promise",
        *plan_lines(plan, unit),
    ]


def result_lines(plan: BreakPlan) -> list[str]:
    """Return what both ways come to, and what is advised."""
    result, money = plan.result, lambda m: _money(m, plan.currency)
    more = "more" if result.gain.mean >= 0 else "less"
    return [
        f"  whole: {_spread(result.whole, money)}",
        f"  broken: {_spread(result.broken, money)}",
        f"  breaking brings {money(abs(result.gain.mean))} {more} on average; 8 times in 10 "
        f"from {money(result.gain.low)} to {money(result.gain.high)}",
        f"  break-even: whole at {money(result.break_even)} it brings as much as broken, on average",
        f"  advice: {advice_words(plan)}",
    ]


def advice_words(plan: BreakPlan) -> str:
    """Return the advice in a sentence."""
    if plan.doubts:
        return f"yours to say: {'; '.join(plan.doubts)}"
    return {
        "keep": "keep it whole: it is worth more, beyond the doubt in these numbers",
        "break": "break it: it brings more, beyond the doubt in these numbers",
        "yours to say": "yours to say: the two are too close to tell",
    }[plan.result.advice]


def plan_lines(plan: BreakPlan, unit: str) -> list[str]:
    """Return the break plan: where to strike, what parts are hoped for, and the ways in which it may part."""
    goal = "" if plan.goal_g is None else f", for parts of {weight_text(plan.goal_g, unit)}"
    lines = [f"break plan: strike along {plan.named(plan.planned)}{goal}"]
    for letter, part in zip(_letters(), plan.parts, strict=False):
        lines.append(f"  part {letter}: about {_about(part.grams, unit)}, {_grades(part.chances)}")
    low, high = (_about(float(g), unit) for g in np.quantile(plan.trials.lost_g, (LOW, HIGH)))
    lines.append(f"  lost as chips and dust: {low} to {high}")
    lines.append("  it may part in several ways, of 100 such stones:")
    return lines + [f"    {words}" for words in ways_words(plan, unit)]


def ways_words(plan: BreakPlan, unit: str) -> list[str]:
    """Return the likeliest ways in which the stone may part, a line each, and the others together."""
    # Lines that open and part nothing make no other way.
    together: dict[tuple, list[Way]] = {}
    for way in plan.trials.ways:
        together.setdefault((plan.net.parts[way.opened], way.more), []).append(way)
    ways = sorted(together.values(), key=lambda of: -sum(way.chance for way in of))
    told = [_way_words(plan, of, unit) for of in ways[:WAYS]]
    rest = sum(way.chance for of in ways[WAYS:] for way in of)
    if rest >= 0.005:
        told.append(f"{_hundred(rest)} in other ways")
    return told


def _way_words(plan: BreakPlan, ways: list[Way], unit: str) -> str:
    share = _hundred(sum(way.chance for way in ways))
    first = max(ways, key=lambda way: way.chance)
    parts = [_about(grams, unit) for grams in first.grams]
    extra = ", and a part breaks once more where no line is seen" if first.more else ""
    if len(parts) == 1:
        return f"{share} along no line{extra}" if first.more else f"{share} not at all"
    hoped = plan.net.parts[first.opened] == plan.net.parts[plan.planned] and not first.more
    asked = " as planned" if hoped else ""
    spans = [
        f"{part} ({_about(low, unit)} to {_about(high, unit)})"
        for part, low, high in zip(parts, first.low_g, first.high_g, strict=True)
    ]
    return f"{share} into {len(parts)}{asked}, about {' and '.join(spans)}{extra}"


def plan_cautions() -> tuple[Caution, ...]:
    """Return the cautions of a break plan, all of them, the local rules last."""
    return (*BREAK_CAUTIONS, *(one for one in CAUTIONS if "hidden cracks" in one.text), LOCAL_RULES)


def keep_text(plan: BreakPlan, unit: str) -> str:
    """Return all of it as text, with the cautions in full."""
    cautions = [f"- {line}" for line in caution_lines(plan_cautions()[:-1])]
    return "\n".join([*keep_lines(plan, unit), "take care", *cautions])


def keep_record(plan: BreakPlan) -> dict:
    """Return the same as plain data; money in the table's currency, weights in g."""
    result = plan.result
    return {
        "piece": plan.piece.code,
        "net_g": number_text(plan.piece.net_g),
        "currency": plan.currency,
        "prices": {"begins": plan.prices.begins.isoformat(), "version": plan.prices.version},
        "photo": plan.file,
        "faces": plan.faces,
        "grades": {g: round(p, 4) for g, p in plan.whole_grades.items()},
        "called": plan.called,
        "whole": _spread_record(result.whole),
        "broken": _spread_record(result.broken),
        "gain": _spread_record(result.gain),
        "break_even": _cents(result.break_even),
        "advice": result.advice,
        "doubts": list(plan.doubts),
        "remarks": list(plan.remarks),
        "plan": {
            "goal_g": number_text(plan.goal_g),
            "lines": [
                {"line": n, "parting_chance": round(p, 3), "strike": bool(plan.planned >> k & 1)}
                for k, (n, p) in enumerate(zip(plan.line_numbers, plan.chances, strict=True))
            ],
            "parts": [
                {"part": letter, "grams": round(part.grams, 1),
                 "grades": {g: round(p, 4) for g, p in part.chances.items()}}
                for letter, part in zip(_letters(), plan.parts, strict=False)
            ],
            "lost_g": [round(float(g), 1) for g in np.quantile(plan.trials.lost_g, (LOW, HIGH))],
            "ways": [
                {"chance": round(way.chance, 4),
                 "open": [n for k, n in enumerate(plan.line_numbers) if way.opened >> k & 1],
                 "parts_g": [round(g, 1) for g in way.grams],
                 "low_g": [round(g, 1) for g in way.low_g], "high_g": [round(g, 1) for g in way.high_g],
                 "breaks_more": way.more}
                for way in plan.trials.ways
            ],
        },
        "cautions": [{"text": one.text, "source": one.source} for one in plan_cautions()],
    }  # fmt: skip


def _grades(chances: Mapping[str, float]) -> str:
    likely = likely_grades(chances)
    return likely[0] if len(likely) == 1 else f"{likely[0]} to {likely[-1]}"


def _letters():
    return iter("ABCDEFG")


def _about(grams: float, unit: str) -> str:
    # Two figures in the unit that is shown: it is a guess from a face.
    shown = Decimal(f"{grams / float(GRAMS_IN[unit]):.2g}")
    return f"{shown.normalize():f} {unit}"


def _hundred(share: float) -> str:
    return f"{round(100 * share)}" if share >= 0.005 else "under 1"


def _money(money: float, currency: str) -> str:
    return money_text(cents(Decimal(repr(money))), currency)


def _cents(money: float) -> str:
    return f"{cents(Decimal(repr(money))):f}"


def _spread(spread: Spread, money) -> str:
    low, high = money(spread.low), money(spread.high)
    mostly = low if low == high else f"from {low} to {high}"
    return f"{money(spread.mean)} on average; 8 times in 10 {mostly}"


def _spread_record(spread: Spread) -> dict:
    return {name: _cents(value) for name, value in vars(spread).items()}
