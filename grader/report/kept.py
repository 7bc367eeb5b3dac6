"""What is in a ledger, in a backup of it, and what came from another one, in words."""

from collections.abc import Mapping, Sequence
from pathlib import Path

#: Kinds of facts that a person counts, as one and as many; all others are what the tool noted by itself.
_KINDS = {
    "call": ("call", "calls"),
    "taken_back": ("call taken back", "calls taken back"),
    "line_word": ("word on lines", "words on lines"),
    "measured": ("photo measured", "photos measured"),
    "resort_begun": ("second look", "second looks"),
    "numbered": ("piece numbered", "pieces numbered"),
    "weighed": ("weight", "weights"),
    "sold": ("sale", "sales"),
}


def facts_words(counts: Mapping[str, int]) -> str:
    """Return "1234 facts (53 calls, 40 photos measured)".

    counts : facts by kind.
    """
    total = sum(counts.values())
    parts = [
        f"{counts[kind]} {words[counts[kind] != 1]}"
        for kind, words in _KINDS.items()
        if counts.get(kind)
    ]
    facts = "1 fact" if total == 1 else f"{total} facts"
    return f"{facts} ({', '.join(parts)})" if parts else facts


def pictures_words(count: int) -> str:
    """Return "12 pictures"; "no picture" for none."""
    return {0: "no picture", 1: "1 picture"}.get(count, f"{count} pictures")


def backup_lines(
    out: Path,
    counts: Mapping[str, int],
    pictures: int,
    model: str | None,
    others: Sequence[str],
    files: Sequence[str],
) -> list[str]:
    """Return what a backup holds, and what to copy beside it, a line each.

    model : label of the model that is in it, ``None`` where what ships is in use.   others : folders of other models.
    files : settings and profiles that hold here.
    """
    with_model = f", the model in use ({model})" if model else ""
    size = f"{out.stat().st_size / 1e6:.1f} MB"
    lines = [
        f"backup: {out} ({size}): {facts_words(counts)}, {pictures_words(pictures)} kept of "
        f"stones{with_model}"
    ]
    also = ", ".join(["your photos", *files, *others])
    return [*lines, f"not in it, copy them too: {also}"]


def taken_in_lines(
    file: Path, new: Mapping[str, int], known: int, pictures: int, had_calls: bool
) -> list[str]:
    """Return what came from another ledger, a line each.

    new : new facts by kind.   known : facts that were here already.   pictures : that came.   had_calls : there were
    calls here before.
    """
    if not new:
        return [f"{file}: nothing new, all of its facts are here ({known})"]
    before = f"; {known} known before" if known else ""
    lines = [f"taken in from {file}: {facts_words(new)}, {pictures_words(pictures)}{before}"]
    if had_calls and new.get("call"):
        lines.append(
            "where a person called a stone in both, the calls that came count as said later; "
            "grader calls lists all"
        )
    return lines
