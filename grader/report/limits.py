"""Typed limits in words: what adds up to how much of which, never whether a thing may be done."""

from collections.abc import Iterable

from grader.report.stock import number_text
from grader.report.weights import weight_text
from grader.trade.limits import Against, Limit


def limit_line(limit: Limit) -> str:
    """Return a limit as it was typed."""
    note = f" ({limit.note})" if limit.note else ""
    return f"{limit.name}: {limit.most_typed} a {limit.each}, as you typed it, from {limit.begins} on{note}"


def against_line(one: Against, unit: str) -> str:
    """Return what adds up against a limit, with what to do where it is much."""
    limit = one.limit
    sum_ = f"{limit.name}: {one.span}: {weight_text(one.grams, unit)} of the {limit.most_typed} a {limit.each}"
    typed = f"that you typed (from {limit.begins} on)"
    if one.state == "over":
        return f"{sum_} {typed}: that is more; ask whoever set it before you go on"
    near = "; little is left" if one.state == "near" else ""
    return f"{sum_} {typed}{near}"


def warning_lines(found: Iterable[Against], unit: str) -> list[str]:
    """Return a line for each limit that is passed, or of which little is left."""
    return [against_line(one, unit) for one in found if one.state != "below"]


#: Behind every list of limits.
OWN_WORD = "These are your own words added up. Whether they still hold, and what else does, only who set them can say."


def limit_record(limit: Limit) -> dict:
    """Return a limit as plain data."""
    return {
        "name": limit.name,
        "most": limit.most_typed,
        "most_g": number_text(limit.most_g),
        "each": limit.each,
        "begins": limit.begins,
        "note": limit.note,
    }


def against_record(one: Against) -> dict:
    """Return what adds up against a limit as plain data."""
    return {
        "limit": one.limit.name,
        "span": one.span,
        "grams": number_text(one.grams),
        "most_g": number_text(one.limit.most_g),
        "state": one.state,
    }
