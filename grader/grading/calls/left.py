"""Stones that a sorter leaves for the one who decides: a call that says no grade, only that."""

from collections.abc import Mapping, Sequence
from typing import Any

#: The note of such a call, and what it is told by.
LEFT = "left for the decider"


def left_by(people: Sequence[Mapping[str, Any]], decider: str | None) -> str | None:
    """Return who left a stone for the decider, ``None`` where nobody did or a grade was called there since: by the
    decider, where one is set.

    people : one word of each person, as records hold them; who spoke last is last.
    """
    who = None
    for call in people:
        if call["note"] == LEFT:
            who = call["by"] or ""
        elif call["grade"] and decider in (None, call["by"]):
            who = None
    return who
