"""Lots of a set weight from loose pieces: none short, little given away.

As many lots as can be filled is bin covering, which is hard in general. Each lot is closed by a subset sum on whole
grams from its heaviest piece on, again and again in another order; up to twenty pieces the number of lots is exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Up to so many pieces the greatest number of lots is found by going through all sets of pieces.
EXACT_PIECES = 20
#: So many ways through the pieces are tried where nothing else is said.
TRIES = 120
#: Less than this share given away is not worth another try.
GOOD_ENOUGH = 0.001
#: A lot is closed from at most so many pieces drawn from what is left: more only makes it slower.
CHOICE = 64
#: Rank of a lot against grams in the exact search: above any weight of a lot.
_LOT = np.int64(1) << 32


@dataclass(frozen=True)
class Lot:
    """A full lot: the places of its pieces in what was given, heaviest first, and their weight.

    over_g : what is given away beyond the weight asked for, g, 0 and up; below 0 by hand alone, where it is short.
    """

    pieces: tuple[int, ...]
    grams: int
    over_g: int


@dataclass(frozen=True)
class Lots:
    """All lots, and what is left over.

    left : places of the pieces in no lot, heaviest first.   most : no way can fill more lots than this.
    proved : whether no way gives more lots than there are.
    """

    size_g: int
    lots: tuple[Lot, ...]
    left: tuple[int, ...]
    most: int

    @property
    def proved(self) -> bool:
        return len(self.lots) >= self.most

    @property
    def over_share(self) -> float:
        """What is given away, as a share of the weight asked for, 0 and up; 0 without a lot."""
        asked = self.size_g * len(self.lots)
        return sum(lot.over_g for lot in self.lots) / asked if asked else 0.0


def make_lots(
    grams: Sequence[int],
    size_g: int,
    *,
    fewest: int = 1,
    most: int | None = None,
    seed: int = 0,
    tries: int = TRIES,
) -> Lots:
    """Return as many lots as the pieces fill, and among such ways one that gives little away.

    Parameters
    ----------
    grams : weight of each piece in whole grams, above 0; round down, so that no lot is short.
    size_g : weight of a lot, above 0: each lot has at least this.
    fewest, most : pieces in a lot; ``None`` is as many as it takes.
    seed, tries : of the ways that are tried; the same seed gives the same lots.

    Raises
    ------
    ValueError
        A weight or a limit that cannot be.
    """
    if size_g <= 0 or any(g <= 0 for g in grams):
        raise ValueError("pieces and lots must weigh more than nothing")
    if fewest < 1 or (most is not None and most < fewest):
        raise ValueError("a lot needs at least one piece, and no more at least than at most")
    rng = np.random.default_rng(seed)
    weights = np.array(grams, np.int64)
    single = fewest == 1 and most is None
    exact = single and len(weights) <= EXACT_PIECES
    bound = _exact_number(weights, size_g) if exact else _bound(weights, size_g, fewest)
    best: list[list[int]] = []
    least = 0
    for attempt in range(max(1, tries)):
        found = _one_way(weights, size_g, fewest, most, rng, shuffled=attempt > 0)
        over = int(sum(weights[lot].sum() for lot in found)) - size_g * len(found)
        if len(found) > len(best) or (len(found) == len(best) and over < least):
            best, least = found, over
        if len(best) == bound and least <= GOOD_ENOUGH * size_g * bound:
            break
    if exact and len(best) < bound:
        best = _exact_lots(weights, size_g)
    lots = tuple(
        Lot(
            tuple(sorted(lot, key=lambda i: (-grams[i], i))),
            total := int(weights[lot].sum()),
            total - size_g,
        )
        for lot in best
    )
    taken = {i for lot in best for i in lot}
    left = sorted((i for i in range(len(grams)) if i not in taken), key=lambda i: (-grams[i], i))
    return Lots(size_g, lots, tuple(left), bound)


def lots_by_hand(grams: Sequence[int], size_g: int, trays: Sequence[Sequence[int]]) -> Lots:
    """Return lots as a person put them together, in that order; a lot that is short has less than nothing over.

    trays : places of the pieces of each, in ``grams``, each place at most once.
    """
    lots = []
    for tray in trays:
        total = sum(grams[i] for i in tray)
        lots.append(Lot(tuple(sorted(tray, key=lambda i: (-grams[i], i))), total, total - size_g))
    taken = {i for tray in trays for i in tray}
    left = sorted((i for i in range(len(grams)) if i not in taken), key=lambda i: (-grams[i], i))
    most = _bound(np.array(grams, np.int64), size_g, 1)
    return Lots(size_g, tuple(lots), tuple(left), max(most, len(lots)))


def _bound(weights: NDArray[np.int64], size_g: int, fewest: int) -> int:
    """No more lots than this: a piece counts no more than a lot weighs, and each lot takes ``fewest`` pieces."""
    return min(int(np.minimum(weights, size_g).sum()) // size_g, len(weights) // fewest)


def _one_way(
    weights: NDArray[np.int64],
    size_g: int,
    fewest: int,
    most: int | None,
    rng: np.random.Generator,
    shuffled: bool,
) -> list[list[int]]:
    """Lots closed one after the other, each from the heaviest piece left: what is light fits anywhere later."""
    order = np.argsort(
        -weights * (rng.uniform(0.7, 1.3, len(weights)) if shuffled else 1), kind="stable"
    )
    left, lots = list(order), []
    while left:
        first = left.pop(0)
        need = size_g - int(weights[first])
        room = len(left) if most is None else most - 1
        if need <= 0 and fewest == 1:
            lots.append([int(first)])
            continue
        choice = (
            left if len(left) <= CHOICE else sorted(rng.choice(len(left), CHOICE, replace=False))
        )
        choice = choice if choice is left else [left[i] for i in choice]
        closing = _closing(weights, choice, max(need, 0), fewest - 1, room)
        if closing is None and len(choice) < len(left):
            closing = _closing(weights, left, max(need, 0), fewest - 1, room)
        if closing is None:
            # Nothing closes a lot with this piece: a lighter one could not either, unless it takes too many.
            if most is None:
                break
            continue
        lots.append([int(first), *(int(i) for i in closing)])
        used = set(closing)
        left = [i for i in left if i not in used]
    return lots


def _closing(
    weights: NDArray[np.int64], choice: Sequence[int], need: int, fewest: int, most: int
) -> list[int] | None:
    """The pieces of ``choice`` whose sum is least above ``need``, between ``fewest`` and ``most`` of them.

    Sums are bits of a whole number; one such number for each count of pieces where counts are limited.
    """
    counted = fewest > 0 or most < len(choice)
    heaviest = max((int(weights[i]) for i in choice), default=0)
    # No sum beyond this can be the least: without its lightest piece it would still be enough, in weight and in number.
    keep = (1 << (max(need, fewest * heaviest) + heaviest + 1)) - 1
    layers = min(most, len(choice)) if counted else 0
    reach = [1] + [0] * layers
    # Light pieces first: the way back then takes heavy ones where it can, and light ones stay for later lots.
    ordered = sorted(choice, key=lambda i: int(weights[i]))
    before = []
    for i in ordered:
        before.append(list(reach))
        shift = int(weights[i])
        if not counted:
            reach[0] |= (reach[0] << shift) & keep
        else:
            for count in range(layers, 0, -1):
                reach[count] |= (reach[count - 1] << shift) & keep
    ends = [(total, count) for count, sums in enumerate(reach) if count >= fewest or not counted
            if (total := _least_from(sums, need)) is not None]  # fmt: skip
    if not ends:
        return None
    total, count = min(ends)
    chosen = []
    for place in range(len(ordered) - 1, -1, -1):
        weight = int(weights[ordered[place]])
        earlier = before[place][count - 1] if counted and count else before[place][0]
        if (not counted or count) and total >= weight and earlier >> (total - weight) & 1:
            chosen.append(ordered[place])
            total -= weight
            count -= counted
        if total == 0 and not count:
            break
    return chosen


def _least_from(sums: int, need: int) -> int | None:
    """The least sum from ``need`` on among the bits of ``sums``."""
    above = sums >> need
    return need + (above & -above).bit_length() - 1 if above else None


def _exact_states(weights: NDArray[np.int64], size_g: int) -> NDArray[np.int64]:
    """For each set of pieces the best that it can be filled to: lots closed, then grams in the open one.

    More in the open lot is never worse, so the best way into a set leads on to the best of all.
    """
    count = len(weights)
    best = np.zeros(1 << count, np.int64)
    numbers = np.arange(1 << count, dtype=np.int64)
    ones = np.zeros(1 << count, np.int8)
    for bit in range(count):
        ones += (numbers >> bit & 1).astype(np.int8)
    for size in range(1, count + 1):
        sets = numbers[ones == size]
        top = np.full(len(sets), -1, np.int64)
        for bit in range(count):
            within = (sets >> bit & 1) == 1
            before = best[sets[within] ^ (1 << bit)]
            filled = (before & (_LOT - 1)) + weights[bit]
            after = (before // _LOT) * _LOT + np.where(filled >= size_g, _LOT, filled)
            top[within] = np.maximum(top[within], after)
        best[sets] = top
    return best


def _exact_number(weights: NDArray[np.int64], size_g: int) -> int:
    return int(_exact_states(weights, size_g)[-1] // _LOT) if len(weights) else 0


def _exact_lots(weights: NDArray[np.int64], size_g: int) -> list[list[int]]:
    """A way to the greatest number of lots: back through the sets of pieces."""
    best = _exact_states(weights, size_g)
    lots, open_lot, now = [], [], len(best) - 1
    while now:
        for bit in range(len(weights)):
            if not now >> bit & 1:
                continue
            before = best[now ^ (1 << bit)]
            filled = int(before % _LOT) + int(weights[bit])
            closes = filled >= size_g
            if before // _LOT * _LOT + (_LOT if closes else filled) == best[now]:
                break
        if closes:  # going back, a lot that closes here begins a new list
            open_lot = []
            lots.append(open_lot)
        if lots:
            open_lot.append(bit)
        now ^= 1 << bit
    return lots
