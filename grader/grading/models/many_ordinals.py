"""Proportional odds of many sellers on the same faces at once: the model of :mod:`~grader.grading.models.ordinal`."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.models.ordinal import log_odds, logistic

#: Newton's steps at most, and how often one of them is shortened, each time to this part.
STEPS, SHORTENED, PART = 40, 14, 0.4

#: A step that lowers the loss by less is the last one.
LEAST_GAIN = 1e-5

#: A cut lies this much above the one below it; how strongly cuts are drawn to 0.
APART, CUT_STRENGTH = 1e-4, 1e-3

#: So many sellers are fitted together: more take more memory, not less time.
TOGETHER = 50


def fit_many(
    x: NDArray, weights: NDArray, strength: float, monotone_signs: Sequence[int]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (M, p) coefficients and (M, K - 1) cuts of M sellers who graded the same n faces.

    Parameters
    ----------
    x : ndarray of shape (n, p), standardised columns.
    weights : ndarray of shape (M, n, K), 0 or more: how often each calls each face each grade; parts of calls too.
    strength : how many units of log-likelihood a coefficient of 1 costs, doubled.
    monotone_signs : +1, -1 or 0 for each column: the sign that its coefficient must not leave.

    Notes
    -----
    Newton's method on the penalised log-likelihood, which has one optimum; coefficients at their bound that would
    leave it are held (projected Newton, Bertsekas 1982, SIAM J. Control Optim. 20:221-246, from memory).
    """
    parts = [
        _fit_together(x, weights[start : start + TOGETHER], strength, np.array(monotone_signs))
        for start in range(0, len(weights), TOGETHER)
    ]
    numbers = np.concatenate(parts)
    return numbers[:, : x.shape[1]], numbers[:, x.shape[1] :]


@dataclass(frozen=True)
class _Faces:
    """Columns, (n, p), weights, (m, n, K), and what each number's square costs, (p + K - 1,)."""

    x: NDArray
    weights: NDArray
    price: NDArray

    def take(self, sellers: NDArray) -> "_Faces":
        return _Faces(self.x, self.weights[sellers], self.price)

    def below(self, numbers: NDArray) -> NDArray:
        """(m, n, K - 1): chance of lying below each cut."""
        p = self.x.shape[1]
        return logistic(numbers[:, None, p:] - (numbers[:, :p] @ self.x.T)[:, :, None])

    def loss(self, numbers: NDArray) -> NDArray:
        """(m,): infinite where the cuts are out of order."""
        chance = np.maximum(_chances(self.below(numbers)), 1e-12)
        loss = 0.5 * (self.price * numbers**2).sum(axis=1)
        loss -= (self.weights * np.log(chance)).sum(axis=(1, 2))
        in_order = (np.diff(numbers[:, self.x.shape[1] :], axis=1) > APART).all(axis=1)
        return np.where(in_order, loss, np.inf)

    def slopes(self, numbers: NDArray) -> tuple[NDArray, NDArray]:
        """Gradient, (m, q), and Hessian, (m, q, q), of the loss by coefficients, then cuts."""
        x, p, below = self.x, self.x.shape[1], self.below(numbers)
        chance = np.maximum(_chances(below), 1e-12)
        by_chance, by_square = self.weights / chance, self.weights / chance**2
        density = below * (1 - below)
        # Of each face by the distance of each cut to its score: slope, bend, and bend by two neighbouring cuts.
        slope = (by_chance[..., :-1] - by_chance[..., 1:]) * density
        bend = (by_chance[..., :-1] - by_chance[..., 1:]) * density * (1 - 2 * below)
        bend -= (by_square[..., :-1] + by_square[..., 1:]) * density**2
        beside = by_square[..., 1:-1] * density[..., :-1] * density[..., 1:]
        by_cut = bend.copy()
        by_cut[..., :-1] += beside
        by_cut[..., 1:] += beside
        m, q = numbers.shape
        hessian = np.zeros((m, q, q))
        weighed = -by_cut.sum(axis=2)[:, :, None] * x
        hessian[:, :p, :p] = x.T @ weighed
        hessian[:, :p, p:] = x.T @ by_cut
        hessian[:, p:, :p] = np.swapaxes(hessian[:, :p, p:], 1, 2)
        cuts = np.arange(p, q)
        hessian[:, cuts, cuts] = -bend.sum(axis=1)
        hessian[:, cuts[:-1], cuts[1:]] = hessian[:, cuts[1:], cuts[:-1]] = -beside.sum(axis=1)
        hessian[:, np.arange(q), np.arange(q)] += self.price
        gradient = np.concatenate([slope.sum(axis=2) @ x, -slope.sum(axis=1)], axis=1)
        return gradient + self.price * numbers, hessian


def _fit_together(x: NDArray, weights: NDArray, strength: float, signs: NDArray) -> NDArray:
    m, _, grades = weights.shape
    p, cuts = x.shape[1], grades - 1
    faces = _Faces(x, weights, np.append(np.full(p, strength), np.full(cuts, CUT_STRENGTH)))
    least = np.append(np.where(signs > 0, 0.0, -np.inf), np.full(cuts, -np.inf))
    most = np.append(np.where(signs < 0, 0.0, np.inf), np.full(cuts, np.inf))
    called = weights.sum(axis=1) + 0.5
    shares = np.cumsum(called, axis=1)[:, :-1] / called.sum(axis=1, keepdims=True)
    numbers = np.concatenate([np.zeros((m, p)), log_odds(shares)], axis=1)
    open_ = np.arange(m)
    for _ in range(STEPS):
        some, now = faces.take(open_), numbers[open_]
        gradient, hessian = some.slopes(now)
        held = ((now <= least) & (gradient > 0)) | ((now >= most) & (gradient < 0))
        hessian[held[:, :, None] | held[:, None, :]] = 0.0
        seller, place = np.nonzero(held)
        hessian[seller, place, place] = 1.0
        step = np.linalg.solve(hessian, np.where(held, 0.0, -gradient)[..., None])[..., 0]
        numbers[open_], gained = _stepped(some, now, step, least, most)
        open_ = open_[gained > LEAST_GAIN]
        if not len(open_):
            break
    return numbers


def _stepped(
    faces: _Faces, now: NDArray, step: NDArray, least: NDArray, most: NDArray
) -> tuple[NDArray, NDArray]:
    """Numbers after a step of each seller that does not raise his loss, and by how much it fell."""
    before, new, gained = faces.loss(now), now.copy(), np.zeros(len(now))
    open_, part = np.arange(len(now)), 1.0
    for _ in range(SHORTENED):
        tried = np.clip(now[open_] + part * step[open_], least, most)
        fell = before[open_] - faces.take(open_).loss(tried)
        good = fell >= 0
        new[open_[good]], gained[open_[good]] = tried[good], fell[good]
        open_, part = open_[~good], PART * part
        if not len(open_):
            break
    return new, gained


def _chances(below: NDArray) -> NDArray:
    """(m, n, K) chances of the grades from those of lying below each cut."""
    return np.diff(below, axis=2, prepend=0.0, append=1.0)
