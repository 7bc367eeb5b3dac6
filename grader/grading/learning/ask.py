"""Which stones to call next: those whose calls would tell most of what this seller would say of all the others.

The sellers of the ensemble differ on every stone; each call takes away a part of what is open on it and on all stones
like it. Taken is, one after the other, the stone whose call leaves least open over all (V-optimal design; Chaloner &
Verdinelli 1995, Stat. Sci. 10:273-304, from memory), as if expected grades were normal.

Tried on simulated sellers with 20 calls (faces of the training style) and not kept, since none did better than stones
drawn at random: a spread over the ladder as the model or the ensemble sees it, with or without the most disputed stone
of each part; the most disputed stones one after the other; the same design on the sellers' scores without their cuts.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

#: Variance of one call about what the seller would say in the mean, in squared grades; of the ensemble in the mean.
WAVERS = 0.38

#: Of more stones so many are drawn and looked over.
AT_MOST = 1000


def ask_for(
    expected: NDArray[np.float64],
    chances: NDArray[np.float64],
    count: int,
    called: Sequence[int],
    not_learned: Sequence[int],
    names: Sequence[str],
    rng: np.random.Generator,
) -> list[int]:
    """Return the rows of up to ``count`` stones to call, the one that tells most first; one row of each stone.

    Without an ensemble (M of 0) stones are drawn.

    Parameters
    ----------
    expected : ndarray of shape (M, n), the grade that each seller of the ensemble would give each row in the mean.
    chances : ndarray of shape (M,), how likely each seller is; they add up to 1.
    called : rows that have a call already; no other row of their stones is asked for.
    not_learned : those of them whose calls are not in ``chances`` yet.
    names : of the stone that each row is of.

    Notes
    -----
    With S the (n, n) covariance of the expected grades over sellers, a call on stone j leaves
    S - S_j S_j' / (S_jj + WAVERS); taken is the j that leaves least of the trace.
    """
    stones = {names[row] for row in called}
    free = [int(row) for row in rng.permutation(len(names)) if names[row] not in stones][:AT_MOST]
    rows = np.array([*free, *not_learned], int)
    apart = np.sqrt(chances)[:, None] * (expected - chances @ expected)[:, rows]
    open_ = apart.T @ apart
    n = len(free)
    if len(not_learned):
        noisy = open_[n:, n:] + WAVERS * np.eye(len(not_learned))
        open_ = open_[:n, :n] - open_[:n, n:] @ np.linalg.solve(noisy, open_[n:, :n])
    left, asked = np.array([names[row] for row in free]), []
    while len(asked) < count and (waiting := left != "").any():
        settled = (open_**2).sum(axis=0) / (np.diag(open_) + WAVERS)
        best = int(np.argmax(np.where(waiting, settled, -1.0)))
        asked.append(free[best])
        open_ = open_ - np.outer(open_[:, best], open_[best]) / (open_[best, best] + WAVERS)
        left[left == left[best]] = ""
    return asked
