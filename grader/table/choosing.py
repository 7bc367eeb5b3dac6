"""By what stones are chosen and put together: haul, grade, size, sorter, state, lot, price."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import count

from grader.deals.sales import held_prices
from grader.ledger.store import Ledger
from grader.report.stock import weight_text
from grader.report.weights import money_text
from grader.table.order import Wish
from grader.table.stones import TableStone
from grader.trade.prices import PriceTable, price_of_piece

#: Name of a group that holds what has none.
_NONE = ""

Group = tuple[str, list[TableStone]]


def held_table(ledger: Ledger) -> PriceTable | None:
    """Return the price table that holds today."""
    held = held_prices(ledger, date.today().isoformat())
    return None if held is None else held.table


def asks_prices(wish: Wish, group: str) -> bool:
    """Whether prices are needed to choose, order or sum up stones: with thousands of them they take their time."""
    bounded = wish.price_from is not None or wish.price_to is not None
    return bounded or wish.first == "dearest" or group != "none"


def with_prices(stones: Sequence[TableStone], table: PriceTable | None) -> list[TableStone]:
    """Return the stones with what the table asks of each alone, by the grade that counts, else the proposed one; what
    lies in a lot is sold with that."""
    if table is None:
        return list(stones)
    found = []
    for stone in stones:
        if stone.code and not stone.lot:
            grade = stone.grade or stone.proposed
            price = price_of_piece(table, stone.code, grade, stone.net_g, stone.size)
            stone = replace(stone, asks=price and price.money)
        found.append(stone)
    return found


def price_group(asks: Decimal | None) -> str:
    """Return between which two amounts a price lies, of the row 0, 1, 2, 5, 10, 20, 50 and so on: "20 to 50"."""
    if asks is None:
        return _NONE
    low = Decimal(0)
    for power in count():
        for first in (1, 2, 5):
            high = Decimal(first * 10**power)
            if asks < high:
                return f"{low} to {high}"
            low = high
    raise AssertionError  # The row has no end.


#: By what stones are put together, with its words, and the name of the group of a stone for a person.
GROUPS: dict[str, tuple[str, Callable[[TableStone, str], str]]] = {
    "none": ("nothing", lambda stone, by: _NONE),
    "haul": ("haul", lambda stone, by: stone.haul or _NONE),
    "grade": ("grade that counts", lambda stone, by: stone.grade or _NONE),
    "mine": ("my grade", lambda stone, by: (stone.own(by) or {}).get("grade") or _NONE),
    "proposed": ("proposed grade", lambda stone, by: stone.proposed or _NONE),
    "size": ("size", lambda stone, by: stone.size or _NONE),
    "sorter": ("sorter", lambda stone, by: ", ".join(sorters_of(stone)) or _NONE),
    "state": ("wet or dry", lambda stone, by: stone.state),
    "lot": ("lot", lambda stone, by: stone.lot or _NONE),
    "price": ("price", lambda stone, by: price_group(stone.asks)),
}
#: What a group without a name is called.
NAMELESS = {
    "haul": "no haul", "grade": "not called yet", "mine": "not called by me yet", "proposed": "nothing proposed",
    "size": "size not known", "sorter": "nobody yet", "lot": "no lot", "price": "no price",
}  # fmt: skip


def sorters_of(stone: TableStone) -> list[str]:
    """Return who called a stone, by name."""
    return sorted({call["by"] for call in stone.people if call["by"]})


def grouped(
    stones: Sequence[TableStone], group: str, by: str, ladder: Sequence[str] = ()
) -> list[Group]:
    """Return the stones by group, each group where its first stone lies, but the best grade and the dearest first;
    those that have none are last.

    ladder : the grades, the worst first.
    """
    name_of = GROUPS[group][1]
    found: dict[str, list[TableStone]] = {}
    for stone in stones:
        found.setdefault(name_of(stone, by), []).append(stone)
    rest = found.pop(_NONE, None)
    rows = [*found.items()]
    if group == "price":
        rows.sort(key=lambda row: -min(one.asks for one in row[1]))
    if group in ("grade", "mine", "proposed"):
        rank = {grade: n for n, grade in enumerate(ladder)}
        rows.sort(key=lambda row: -rank.get(row[0], -1))
    return [*rows, *([(NAMELESS.get(group, _NONE), rest)] if rest else [])]


def group_rows(groups: Sequence[Group], table: PriceTable | None, unit: str) -> list[dict]:
    """Return for each group its name, how many stones it holds, and what those weigh and are asked for, as far as that
    is known."""
    return [
        {"name": name, "stones": len(stones), "words": _sums(stones, table, unit)}
        for name, stones in groups
    ]


def _sums(stones: Sequence[TableStone], table: PriceTable | None, unit: str) -> str:
    weights = [stone.net_g for stone in stones if stone.net_g is not None]
    prices = [stone.asks for stone in stones if stone.asks is not None]
    parts = [f"{len(stones)} stone{'' if len(stones) == 1 else 's'}"]
    if weights:
        parts.append(f"{weight_text(sum(weights), unit)}{_of(weights, stones, 'weighed')}")
    if prices:
        money = money_text(sum(prices), table and table.currency)
        parts.append(f"{money} asked{_of(prices, stones, 'with a price')}")
    return ", ".join(parts)


def _of(known: Sequence, stones: Sequence, what: str) -> str:
    return "" if len(known) == len(stones) else f" ({len(known)} {what})"


def choices_of(stones: Sequence[TableStone], table: PriceTable | None) -> dict:
    """Return what there is to choose among, by name of the choice."""
    found = {
        "haul": {stone.haul for stone in stones},
        "size": {stone.size for stone in stones},
        "sorter": {name for stone in stones for name in sorters_of(stone)},
        "state": {stone.state for stone in stones},
        "lot": {stone.lot for stone in stones},
    }
    lists = {name: sorted(values - {None}) for name, values in found.items()}
    return lists | {"currency": table and table.currency}
