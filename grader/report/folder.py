"""What became of a graded folder, as plain lines."""

from collections.abc import Sequence

from grader.ledger.stock import NumberedStone
from grader.report.calls import LostCall, lost_words
from grader.report.words import counted, models_words, stones_once, unsettled_words


def folder_lines(
    records: Sequence[dict],
    known: int,
    duplicates: Sequence[tuple[str, str]],
    lost_calls: Sequence[LostCall],
) -> list[str]:
    """Return what a person should know of a folder's photos, a line each; why one failed tells :func:`failed_words`.

    records : of all photos.   known : how many were measured before.   duplicates : (file, file of the same photo).
    lost_calls : calls whose stone is not there.
    """
    graded = [record for record in records if "error" not in record]
    stones = len(stones_once(graded))
    proposed = models_words(graded)
    lines = [
        f"{counted(len(graded), 'photo')} graded, {counted(stones, 'stone')}"
        + (f"; {counted(known, 'photo')} known before" if known else "")
        + (f"; {proposed}" if proposed else "")
    ]
    lines += [
        f"no stone found: {record['photo']['file']}" for record in graded if not record["pieces"]
    ]
    lines += [f"same photo: {file} and {same}" for file, same in duplicates]
    lines += lost_words(records, lost_calls)
    if unsettled := unsettled_words(graded):
        lines.append(unsettled)
    return lines


def numbered_lines(stones: Sequence[NumberedStone]) -> list[str]:
    """Return which number each stone of a folder bears, a line each, and how many are new."""
    new = sum(stone.new for stone in stones)
    lines = [
        f"{stone.code}  {stone.photo}, stone {stone.stone}{'' if stone.new else ', as before'}"
        + (f", though its tag says {stone.tag}" if stone.tag not in (None, stone.code) else "")
        for stone in stones
    ]
    return [*lines, f"{counted(new, 'stone')} numbered, {len(stones) - new} had a number"]


def failed_words(record: dict) -> str:
    """Return why a photo could not be graded."""
    return f"failed: {record['error']['text']}"


def stopped_words(kept: bool) -> str:
    """Return what is kept of a run that was stopped, and how it goes on."""
    what = "what is done is kept" if kept else "nothing is kept"
    return f"stopped; {what}: run it again to go on"
