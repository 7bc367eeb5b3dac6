"""Two stones side by side: which pair is shown, and which of them is the better one."""

from collections import Counter

import numpy as np

from grader.comparing import save_comparison
from grader.grading.learning.pairs import next_pair
from grader.ledger import views
from grader.looks import place_of
from grader.table.stones import TableStone
from grader.table.tray import Tray


def pair_shown(of: str, by: str, tray: Tray, skipped: int = 0) -> dict:
    """Return the next two stones for a person, without what is known of them, and how many pairs that person compared.

    of : by what, "scene" or "grade".   skipped : how many pairs that person could not tell.
    """
    stones = [stone for stone in tray.stones if not stone.retake and _value(stone, of) is not None]
    rows = {(stone.sha256, stone.piece): n for n, stone in enumerate(stones)}
    times: Counter[int] = Counter()
    own, said = 0, set()
    for entry in views.comparisons(tray.ledger, of):
        sides = (entry.fact.better, entry.fact.other)
        pair = [rows.get((side.sha256, side.piece_id)) for side in sides]
        times.update(row for row in pair if row is not None)
        if entry.author == by:
            own += 1
            said.add(frozenset(pair))
    values = [_value(stone, of) for stone in stones]
    rng = np.random.default_rng([own, skipped])
    pair = next_pair(values, [times[n] for n in range(len(stones))], said, rng)
    sides = [] if pair is None else [_side(stones[row]) for row in pair]
    return {"of": of, "pairs": own, "sides": sides}


def _value(stone: TableStone, of: str) -> float | None:
    return stone.scene if of == "scene" else stone.rung


def _side(stone: TableStone) -> dict:
    return {
        "stone": stone.id,
        "measured": stone.measured,
        "small": stone.picture and f"/pictures/{stone.picture}",
        "large": f"/large/{stone.measured}/{stone.piece}.jpg",
        "whole": f"/whole/{stone.measured}/{stone.piece}.jpg",
    }


def compare(
    better: tuple[TableStone, str],
    other: tuple[TableStone, str],
    of: str,
    by: str,
    uid: str,
    tray: Tray,
) -> None:
    """Keep which of two stones is the better one, each with the look that was shown.

    Raises
    ------
    CallsError
        A photo lies on the table no more, or both are one stone: one line.
    """
    places = [
        place_of(tray.look_shown(stone, measured)[0], stone.piece)
        for stone, measured in (better, other)
    ]
    save_comparison(*places, of, by, tray.ledger, uid=uid)
