"""What became of a graded folder, as plain lines."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from grader.ledger.stock import NumberedStone, Piece
from grader.report.calls import LostCall, lost_words
from grader.report.headline import label_words, proposal_of
from grader.report.weights import weight_text
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
        f"{counted(len(graded), 'photo')} looked at, {counted(stones, 'stone')} found"
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


def total_lines(
    records: Iterable[dict], weighed: Mapping[str, Piece], ladder: Sequence[str], unit: str
) -> list[str]:
    """Return how many pieces there are of each grade, a line each in the order of the
    ladder, and of how many no grade is proposed.

    A piece has the grade that was called, else the words that stand over it; one with several faces counts once.

    Parameters
    ----------
    weighed : numbered pieces by their codes: those that were weighed add up.
    ladder : the grades, from the lowest up.   unit : of weights.
    """
    groups: dict[tuple[int, int, str], dict[str, Piece | None]] = {}
    stones = stones_once(record for record in records if "error" not in record)
    for n, stone in enumerate(stones):
        # Photos that bear one number show one piece, also where its faces could not be put together.
        code = stone.get("number")
        groups.setdefault(_group(stone, ladder), {})[code or str(n)] = weighed.get(code)
    return [
        f"{words}: {counted(len(pieces), 'piece')}{_weight_words(list(pieces.values()), unit)}"
        for (_, _, words), pieces in sorted(groups.items())
    ]


def _group(stone: dict, ladder: Sequence[str]) -> tuple[int, int, str]:
    """Where a stone counts: its place in the order of the ladder, how many grades it may have, and its words."""
    proposal = proposal_of(stone)
    called = stone["call"] and stone["call"]["grade"]
    likely = (
        [called] if called else [] if not proposal or proposal["unfamiliar"] else proposal["likely"]
    )
    place = ladder.index(likely[0]) if likely and likely[0] in ladder else len(ladder)
    return place, len(likely), called or label_words(proposal)


def _weight_words(pieces: Sequence[Piece | None], unit: str) -> str:
    """Return ", 4.31 kg (2 not weighed, 1 wet)"; nothing where none was weighed."""
    weighed = [piece for piece in pieces if piece and piece.net_g is not None]
    if not weighed:
        return ""
    counts = {
        "not weighed": len(pieces) - len(weighed),
        "wet": sum(piece.wet for piece in weighed),
        "guessed": sum(piece.guessed for piece in weighed),
    }
    but = ", ".join(f"{count} {what}" for what, count in counts.items() if count)
    grams = sum((piece.net_g for piece in weighed), Decimal(0))
    return f", {weight_text(grams, unit)}" + (f" ({but})" if but else "")


def failed_words(record: dict) -> str:
    """Return why a photo could not be graded."""
    return f"failed: {record['error']['text']}"


def stopped_words(kept: bool) -> str:
    """Return what is kept of a run that was stopped, and how it goes on."""
    what = "what is done is kept" if kept else "nothing is kept"
    return f"stopped; {what}: run it again to go on"
