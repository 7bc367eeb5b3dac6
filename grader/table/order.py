"""Which stones come next, and which are shown together: unsure ones first, then what is to be settled."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grader.table.stones import TableStone

Fits = Callable[[TableStone, str], bool]


@dataclass(frozen=True)
class Wish:
    """Which stones a person wants to see, and how.

    by : who is sorting.   pile : one of ``PILES``.   grade, proposed : that counts, or that is proposed.
    haul : its code.   text : in the stone's name.   first : one of ``ORDERS``.
    sorter : who called it; then ``grade`` is that person's.   size, state, lot : as the stone has them.
    price_from, price_to : bounds of what is asked of it, both counted in.
    """

    by: str
    pile: str = "open"
    grade: str | None = None
    proposed: str | None = None
    haul: str | None = None
    text: str | None = None
    first: str = "laid"
    sorter: str | None = None
    size: str | None = None
    state: str | None = None
    lot: str | None = None
    price_from: Decimal | None = None
    price_to: Decimal | None = None


def _open(stone: TableStone, by: str) -> bool:
    own = stone.own(by)
    return not stone.retake and (own is None or (own["grade"] is None and stone.left is None))


def _called(stone: TableStone, by: str) -> bool:
    own = stone.own(by)
    return bool(own and own["grade"])


#: What can be asked for, with its words and what belongs there; a stone may lie in several.
PILES: dict[str, tuple[str, Fits]] = {
    "open": ("without my word", _open),
    "unsure": (
        "unsure, without my word",
        lambda stone, by: _open(stone, by) and (len(stone.likely) > 1 or stone.stranger),
    ),
    "strangers": ("strangers: the model does not know them", lambda stone, by: stone.stranger),
    "retakes": ("photos to take again", lambda stone, by: stone.retake),
    "rules": ("the written rules say another grade", lambda stone, by: stone.against),
    "otherwise": (
        "called otherwise than proposed",
        lambda stone, by: bool(stone.grade and stone.likely and stone.grade not in stone.likely),
    ),
    "differ": ("sorters differ", lambda stone, by: stone.differ),
    "left": ("left for the decider", lambda stone, by: stone.left is not None),
    "mine": ("with my word", _called),
    "all": ("all stones", lambda stone, by: True),
}


def _sureness(stone: TableStone) -> float:
    return 0.0 if stone.sure is None else stone.sure


#: By what stones are put in order; where two are equal, the one that was laid first comes first.
ORDERS: dict[str, tuple[str, Callable[[TableStone], float]]] = {
    "laid": ("as laid out", lambda stone: 0.0),
    "unsure": ("unsure first", _sureness),
    "largest": ("largest first", lambda stone: -(stone.area_cm2 or 0.0)),
    "heaviest": ("heaviest first", lambda stone: -float(stone.net_g or 0)),
    "dearest": ("dearest first", lambda stone: -float(stone.asks or 0)),
}


def wished(stones: Iterable[TableStone], wish: Wish) -> list[TableStone]:
    """Return the stones that a person wants to see, in that order."""
    fits = PILES[wish.pile][1]
    text = (wish.text or "").casefold()
    chosen = [
        stone
        for stone in stones
        if fits(stone, wish.by)
        and _called_so(stone, wish)
        and _priced_so(stone, wish)
        and (wish.proposed is None or wish.proposed in stone.likely)
        and wish.haul in (None, stone.haul)
        and wish.size in (None, stone.size)
        and wish.state in (None, stone.state)
        and wish.lot in (None, stone.lot)
        and text in stone.name.casefold()
    ]
    return sorted(chosen, key=ORDERS[wish.first][1])


def _called_so(stone: TableStone, wish: Wish) -> bool:
    if wish.sorter is None:
        return wish.grade in (None, stone.grade)
    word = stone.own(wish.sorter)
    return word is not None and wish.grade in (None, word["grade"])


def _priced_so(stone: TableStone, wish: Wish) -> bool:
    if wish.price_from is None and wish.price_to is None:
        return True
    return stone.asks is not None and (
        (wish.price_from is None or stone.asks >= wish.price_from)
        and (wish.price_to is None or stone.asks <= wish.price_to)
    )


def counted(stones: Sequence[TableStone], by: str) -> dict[str, int]:
    """Return how many stones belong to each pile."""
    return {pile: sum(fits(stone, by) for stone in stones) for pile, (_, fits) in PILES.items()}


def totals(stones: Sequence[TableStone], grades: Sequence[str]) -> list[dict]:
    """Return, for each grade that counts on a stone, the best first, and then for those without one: how many stones,
    and the weight of those that were weighed, g."""
    rows = []
    for grade in [*reversed(grades), None]:
        own = [stone for stone in stones if stone.grade == grade]
        grams = sum((stone.net_g for stone in own if stone.net_g is not None), 0)
        weighed = sum(stone.net_g is not None for stone in own)
        rows.append({"grade": grade, "stones": len(own), "weighed": weighed, "grams": grams})
    return rows
