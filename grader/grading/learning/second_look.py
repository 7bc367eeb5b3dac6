"""A second look: the same stones sorted again, blind, by the same person or another, and how well the two agree."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.learning.agreement import Agreement, agreement, counts, share
from grader.measures import Interval


@dataclass(frozen=True)
class Looked:
    """Stones sorted twice: rungs of the first and the second time, and of the model (-1 where it proposes none)."""

    stones: tuple[str, ...]
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    model: NDArray[np.intp]


@dataclass(frozen=True)
class SecondLook:
    """How well two sortings agree, and the model with each on the same stones; ``None`` where it proposes nothing.

    neighbours : for each two neighbouring grades, of the stones that both sortings put into one of the two, the share
    on which they differ.
    worst : rows of the stones on which the two lie farthest apart, farthest first.
    """

    people: Agreement
    model_first: Agreement | None
    model_second: Agreement | None
    neighbours: tuple[Interval, ...]
    worst: tuple[int, ...]


def draw_sample(stones: Sequence[str], count: int, rng: np.random.Generator) -> list[int]:
    """Return rows of so many stones, shuffled; of several photos of one stone one is drawn."""
    shuffled = [int(row) for row in rng.permutation(len(stones))]
    first_rows: dict[str, int] = {}
    for row in shuffled:
        first_rows.setdefault(stones[row], row)
    return list(first_rows.values())[:count]


def judge(looked: Looked, n_grades: int, rng: np.random.Generator, most: int = 6) -> SecondLook:
    """Return the agreement of two sortings of the same stones, each figure with its 95 % interval."""
    first, second, stones = looked.first, looked.second, looked.stones
    table = counts(first, second, n_grades)
    proposed = looked.model >= 0

    def with_model(rungs: NDArray) -> Agreement | None:
        if not proposed.any():
            return None
        names = [stone for stone, known in zip(stones, proposed, strict=True) if known]
        return agreement(looked.model[proposed], rungs[proposed], n_grades, names, rng)

    apart = np.abs(first - second)
    order = np.argsort(-apart, kind="stable")
    return SecondLook(
        agreement(first, second, n_grades, stones, rng),
        with_model(first),
        with_model(second),
        tuple(_confused(table, k) for k in range(n_grades - 1)),
        tuple(int(row) for row in order[:most] if apart[row] > 0),
    )


def _confused(table: NDArray, rung: int) -> Interval:
    """Share of the stones that both sortings put into two neighbouring grades on which they differ."""
    pair = table[rung : rung + 2, rung : rung + 2]
    return share(int(pair[0, 1] + pair[1, 0]), int(pair.sum()))
