"""How well ways of grading agree, as plain lines: a row each figure, a column each pair."""

from collections.abc import Sequence

from grader.grading.learning.agreement import Agreement, SideBySide, beyond
from grader.grading.learning.pairs import PairsBesideCalls
from grader.measures import Interval

#: The figures of an agreement that are shown, by name, with what stands in front of their row.
FIGURES = {
    "equal": "same grade",
    "within_one": "within one grade",
    "kappa": "beyond chance (kappa)",
}
_GAINS = {
    "better": "is better, beyond the uncertainty",
    "worse": "is worse, beyond the uncertainty",
    "alike": "is neither better nor worse beyond the uncertainty",
    "unknown": "cannot be told from the other on so few stones",
}


def figure_lines(columns: Sequence[Agreement | None]) -> list[str]:
    """Return a line for each figure; of a column that is ``None`` that nothing was proposed."""
    return [
        figure_line(words, *(getattr(one, name) if one else "no proposals" for one in columns))
        for name, words in FIGURES.items()
    ]


def beside_lines(first: Agreement, second: Agreement, gain: Interval | None) -> list[str]:
    """Return two agreements beside each other, a line each figure, and what the second gains."""
    return [*figure_lines([first, second]), figure_line("gain in kappa", "", gain)]


def comparison_lines(used: str, other: str, both: SideBySide) -> list[str]:
    """Return whether another model is better than the one in use, by their labels, with the figures of both."""
    return [
        f"{other} {_GAINS[beyond(both.gain)]}: {both.second.n} called faces",
        figure_line("", used, other),
        *beside_lines(both.first, both.second, both.gain),
    ]


def interval_words(interval: Interval) -> str:
    """Return "0.50 (0.40 to 0.60)", without brackets where no interval is known."""
    if interval.value is None:
        return "not defined"
    spread = "" if interval.low is None else f" ({interval.low:.2f} to {interval.high:.2f})"
    return f"{interval.value:.2f}{spread}"


def figure_line(name: str, *cells: Interval | str | None) -> str:
    """Return a line of a table of figures."""
    *front, last = (
        interval_words(cell) if isinstance(cell, Interval) else str(cell) for cell in cells
    )
    return f"{name:<28}{''.join(f'{cell:<24}' for cell in front)}{last}"


def pairs_lines(beside: Sequence[PairsBesideCalls]) -> list[str]:
    """Return "Nell compared 12 pairs by grade of stones that she called: ...", a line for each person and kind."""
    return [_pairs_words(one) for one in beside]


def _pairs_words(one: PairsBesideCalls) -> str:
    who, total = one.by or "somebody unnamed", one.same + one.alike + one.opposite
    if not total:
        return f"{who} compared by {one.of}, but called no two stones of a pair: nothing to hold beside it yet"
    pairs = "1 pair" if total == 1 else f"{total} pairs"
    return (
        f"{who}, by {one.of}, {pairs} of called stones: the calls say the same of {one.same}, call both alike in "
        f"{one.alike}, say the opposite of {one.opposite}"
    )
