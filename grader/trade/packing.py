"""Pieces shared out over as few parcels as can be, none heavier than a parcel may be: bin packing.

Best-fit decreasing first; then each parcel is filled by a subset sum on whole grams from its heaviest piece on, again
and again in another order. Few pieces that still leave a doubt are settled by HiGHS.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: So many ways through the pieces are tried where nothing else is said.
TRIES = 120
#: Up to so many pieces it is proved that one parcel less cannot be, in so many seconds at most.
EXACT_PIECES, EXACT_S = 20, 10.0


@dataclass(frozen=True)
class Packing:
    """Parcels by the places of their pieces in what was given, the heaviest parcel first.

    fewest : no way needs fewer parcels than this; it may be one less than there are where nothing is proved.
    """

    parcels: tuple[tuple[int, ...], ...]
    fewest: int

    @property
    def proved(self) -> bool:
        return len(self.parcels) <= self.fewest


def pack(grams: Sequence[int], most_g: int, *, seed: int = 0, tries: int = TRIES) -> Packing:
    """Return pieces shared out over few parcels.

    Parameters
    ----------
    grams : weight of each piece in whole grams, above 0; round up, so that no parcel is too heavy.
    most_g : that a parcel may hold.
    seed, tries : of the ways that are tried; the same seed gives the same parcels.

    Raises
    ------
    ValueError
        A piece weighs nothing, or more than a parcel holds.
    """
    if any(not 0 < g <= most_g for g in grams):
        raise ValueError("each piece must weigh something, and no more than a parcel holds")
    weights = np.array(grams, np.int64)
    rng, fewest = np.random.default_rng(seed), _bound(weights, most_g)
    best = _best_fit(weights, most_g)
    for attempt in range(tries):
        if len(best) <= fewest:
            break
        shake = rng.uniform(0.7, 1.3, len(weights)) if attempt else 1.0
        found = _filled(weights, most_g, np.argsort(-weights * shake, kind="stable"))
        best = min(best, found, key=len)
    if len(best) > fewest and len(weights) <= EXACT_PIECES:
        best, fewest = _settled(weights, most_g, best, fewest)
    best.sort(key=lambda parcel: (-int(weights[parcel].sum()), parcel))
    return Packing(tuple(tuple(sorted(parcel)) for parcel in best), fewest)


def _bound(weights: NDArray[np.int64], most_g: int) -> int:
    """No fewer parcels than this.

    References
    ----------
    Martello & Toth 1990, Discrete Applied Mathematics 28:59-70, bound L2 (from memory): of two pieces heavier than half
    a parcel each takes its own, and only what is light enough may lie beside them.
    """
    bound = -(-int(weights.sum()) // most_g)
    for light in {0, *(int(g) for g in weights if 2 * g <= most_g)}:
        heavy = weights[2 * weights > most_g]
        beside = heavy[heavy <= most_g - light]
        rest = weights[(2 * weights <= most_g) & (weights >= light)]
        more = int(rest.sum()) - (len(beside) * most_g - int(beside.sum()))
        bound = max(bound, len(heavy) + max(0, -(-more // most_g)))
    return bound


def _best_fit(weights: NDArray[np.int64], most_g: int) -> list[list[int]]:
    """The heaviest piece first, each into the fullest parcel that still takes it."""
    parcels: list[list[int]] = []
    room: list[int] = []
    for i in map(int, np.argsort(-weights, kind="stable")):
        fitting = [n for n, free in enumerate(room) if free >= weights[i]]
        if not fitting:
            parcels.append([])
            room.append(most_g)
        n = min(fitting, key=room.__getitem__, default=len(room) - 1)
        parcels[n].append(i)
        room[n] -= int(weights[i])
    return parcels


def _filled(weights: NDArray[np.int64], most_g: int, order: Sequence[int]) -> list[list[int]]:
    """Parcels filled one after the other, each from the first piece left in that order."""
    left, parcels = [int(i) for i in order], []
    while left:
        first = left.pop(0)
        beside = _fullest(weights, left, most_g - int(weights[first]))
        parcels.append([first, *beside])
        left = [i for i in left if i not in beside]
    return parcels


def _fullest(weights: NDArray[np.int64], choice: Sequence[int], room: int) -> set[int]:
    """The pieces of ``choice`` whose sum is greatest within a room. Sums are bits of a whole number."""
    within, reach, before = (1 << (room + 1)) - 1, 1, []
    for i in choice:
        before.append(reach)
        reach |= (reach << int(weights[i])) & within
    total, chosen = reach.bit_length() - 1, set()
    # Back from the last on: what comes first in the order stays for the parcels to come only where it must.
    for i, earlier in zip(reversed(choice), reversed(before), strict=True):
        if not earlier >> total & 1:
            chosen.add(i)
            total -= int(weights[i])
    return chosen


def _settled(
    weights: NDArray[np.int64], most_g: int, best: list[list[int]], fewest: int
) -> tuple[list[list[int]], int]:
    """One parcel less at a time, until HiGHS finds no way or its time is over: the parcels, and how few can be."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    count = len(weights)
    while len(best) > fewest:
        parcels = len(best) - 1
        once = np.kron(np.eye(count), np.ones(parcels))
        held = np.kron(weights[None, :], np.eye(parcels))
        done = milp(
            np.zeros(count * parcels),
            integrality=np.ones(count * parcels),
            bounds=Bounds(0, 1),
            constraints=[LinearConstraint(once, 1, 1), LinearConstraint(held, 0, most_g)],
            options={"time_limit": EXACT_S},
        )
        if done.status == 2:  # no way
            return best, len(best)
        if done.x is None:
            return best, fewest
        lies_in = done.x.reshape(count, parcels).argmax(axis=1)
        found = [np.flatnonzero(lies_in == n).tolist() for n in range(parcels)]
        if max(int(weights[parcel].sum()) for parcel in found) > most_g:
            return best, fewest  # It counts in floats, and of tonnes a millionth is a gram.
        best = [parcel for parcel in found if parcel]
    return best, fewest
