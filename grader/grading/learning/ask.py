"""Which stones to call next: those whose calls would tell most of what this seller would say of all the others.

The sellers of the crowd differ on every stone; each call takes away a part of what is open on it and on all stones like
it. Taken is, one after the other, the stone whose call leaves least open over all (V-optimal design; Chaloner &
Verdinelli 1995, Stat. Sci. 10:273-304, from memory), as if places on the ladder were normal.

Tried on simulated sellers with 20 calls (faces of the training style) and not kept, since none did better than stones
drawn at random: a spread over the ladder as the model or the crowd sees it, with or without the most disputed stone of
each part; the most disputed stones one after the other; the same design on the sellers' scores without their cuts.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

#: Variance of one call about what the seller would say in the mean, in squared grades; of the crowd in the mean.
WAVERS = 0.38

#: Of more stones so many are drawn and looked over.
AT_MOST = 1000


def ask_for(
    says: NDArray[np.float64],
    chances: NDArray[np.float64],
    count: int,
    called: Sequence[int],
    unheard: Sequence[int],
    names: Sequence[str],
    rng: np.random.Generator,
) -> list[int]:
    """Return the rows of up to ``count`` stones to call, the one that tells most first; one row of each stone.

    Without a crowd (M of 0) stones are drawn.

    Parameters
    ----------
    says : ndarray of shape (M, n), the place on the ladder that each seller of the crowd would give each row.
    chances : ndarray of shape (M,), how likely each seller is; they add up to 1.
    called : rows that have a call already; no other row of their stones is asked for.
    unheard : those of them whose calls are not in ``chances`` yet.
    names : of the stone that each row is of.
    """
    known = {names[row] for row in called}
    free = [int(row) for row in rng.permutation(len(names)) if names[row] not in known][:AT_MOST]
    rows = np.array([*free, *unheard], int)
    apart = np.sqrt(chances)[:, None] * (says - chances @ says)[:, rows]
    open_ = apart.T @ apart
    n = len(free)
    if len(unheard):
        told = np.linalg.solve(open_[n:, n:] + WAVERS * np.eye(len(unheard)), open_[n:, :n])
        open_ = open_[:n, :n] - open_[:n, n:] @ told
    left, asked = np.array([names[row] for row in free]), []
    while len(asked) < count and (there := left != "").any():
        taken_away = (open_**2).sum(axis=0) / (np.diag(open_) + WAVERS)
        best = int(np.argmax(np.where(there, taken_away, -1.0)))
        asked.append(free[best])
        open_ = open_ - np.outer(open_[:, best], open_[best]) / (open_[best, best] + WAVERS)
        left[left == left[best]] = ""
    return asked
