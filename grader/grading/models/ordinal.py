"""Proportional odds: grades in order, one score, a cut between each two neighbours.

P(grade <= k) = 1 / (1 + exp(score - cut_k)), after McCullagh 1980, J. R. Statist. Soc. B
42:109-142.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from grader.grading.features.scaling import rounded


@dataclass(frozen=True)
class Ordinal:
    """A fitted model: one coefficient per column, K - 1 rising cuts."""

    coefficients: tuple[float, ...]
    cuts: tuple[float, ...]

    def score(self, x: NDArray) -> NDArray:
        """Return the (n,) scores of an (n, p) design matrix; higher is better."""
        return x @ np.array(self.coefficients)

    def probabilities(self, x: NDArray) -> NDArray:
        """Return the (n, K) probabilities of the grades, lowest first."""
        return grade_probabilities(self.score(x), self.cuts)


def grade_probabilities(score: ArrayLike, cuts: ArrayLike) -> NDArray:
    """Return (n, K) probabilities for n scores and K - 1 rising cuts, or (n, K - 1), cuts of each by itself."""
    score, cuts = np.atleast_1d(np.asarray(score, float)), np.atleast_2d(np.asarray(cuts, float))
    below = logistic(cuts - score[:, None])
    lowest, highest = np.zeros((len(below), 1)), np.ones((len(below), 1))
    return np.diff(np.concatenate([lowest, below, highest], axis=1), axis=1)


def logistic(log_odds: ArrayLike) -> NDArray:
    """Return the chances of log-odds of any shape: 1 / (1 + exp(-z)), which the tanh keeps from overflow."""
    return 0.5 * (1.0 + np.tanh(0.5 * np.asarray(log_odds)))


def log_odds(chance: ArrayLike) -> NDArray:
    """Return the log-odds of chances of any shape, between 0 and 1, both left out: log(p / (1 - p))."""
    chance = np.asarray(chance, float)
    return np.log(chance / (1 - chance))


def likeliest_grade(probabilities: NDArray) -> NDArray[np.intp]:
    """Return the (n,) rungs of the greatest chance in (n, K) probabilities; of equal ones the lower."""
    return probabilities.argmax(axis=1)


def median_grade(probabilities: NDArray) -> NDArray[np.intp]:
    """Return the (n,) median rungs (0 the lowest) of (n, K) chances: the first at which they pass one half."""
    return (np.cumsum(probabilities, axis=1) < 0.5 - 1e-12).sum(axis=1)


def fit_ordinal(
    x: NDArray,
    rung: NDArray,
    n_grades: int,
    *,
    prior: Ordinal | None = None,
    strength: float | NDArray = 1.0,
    cut_strength: float = 0.05,
    scale_prior_sd: float = 0.0,
    monotone_signs: Sequence[int] | None = None,
) -> Ordinal:
    """Return the proportional odds model of n graded faces.

    Parameters
    ----------
    x : ndarray of shape (n, p), standardised columns.
    rung : ndarray of shape (n,), int, 0 the lowest grade to ``n_grades`` - 1.
    prior : what the coefficients and cuts are drawn to: an earlier model, else coefficients of 0.
    strength, cut_strength : how many units of log-likelihood a coefficient (a cut) one away from
    the prior costs, doubled.
        Few faces move the prior a little, many a lot. A (p, p) matrix prices steps together.
    scale_prior_sd : standard deviation of the logarithm of a factor on the whole prior, which is
    found as well: a seller who wavers more is less sure of everything alike. 0 leaves it at 1.
    monotone_signs : +1, -1 or 0 for each column: the sign that its coefficient must not leave.

    Returns
    -------
    Ordinal
        Numbers rounded to six places.

    Notes
    -----
    L-BFGS-B on the penalised log-likelihood with its gradient; the cuts stay in order as a first
    one and the logarithms of the steps between them.

    Raises
    ------
    ValueError
        No faces and no prior: there is nothing to fit.
    """
    from scipy.optimize import minimize

    n, p = x.shape
    if n == 0 and prior is None:
        raise ValueError("no faces and no prior: nothing to fit")
    target = np.zeros(p) if prior is None else np.array(prior.coefficients)
    cuts = _loose(_marginal_cuts(rung, n_grades) if prior is None else np.array(prior.cuts))
    precision = strength if np.ndim(strength) == 2 else strength * np.eye(p)
    edges = _edges(rung)

    def scaled_cuts(log_scale: float) -> NDArray:
        return np.concatenate([cuts[:1] * np.exp(log_scale), cuts[1:] + log_scale])

    # The numbers sought: the scale's logarithm, the coefficients, the cuts' steps from the prior's.
    def cost(point: NDArray) -> tuple[float, NDArray]:
        log_scale, beta, moved = point[0], point[1 : 1 + p], point[1 + p :]
        scale, loose = np.exp(log_scale), scaled_cuts(log_scale) + moved
        loss, to_beta, to_loose = _negative_log_likelihood(beta, loose, x, edges, n_grades)
        off_prior = beta - scale * target
        pulled = precision @ off_prior
        wide = log_scale / scale_prior_sd**2 if scale_prior_sd else 0.0
        loss += 0.5 * (off_prior @ pulled + cut_strength * moved @ moved + wide * log_scale)
        to_scale = to_loose[0] * cuts[0] * scale + to_loose[1:].sum() - scale * pulled @ target
        slopes = [[to_scale + wide], to_beta + pulled, to_loose + cut_strength * moved]
        return float(loss), np.concatenate(slopes)

    bounds = [(None, None) if scale_prior_sd else (0.0, 0.0)]
    bounds += [_sign_bounds(sign) for sign in (monotone_signs or [0] * p)]
    bounds += [(None, None)] * (n_grades - 1)
    first = np.concatenate([[0.0], target, np.zeros(n_grades - 1)])
    # L-BFGS-B starts within the bounds by itself.
    fit = minimize(
        cost,
        first,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": 500, "ftol": 1e-12, "gtol": 1e-7},
    )
    loose = scaled_cuts(fit.x[0]) + fit.x[1 + p :]
    return Ordinal(rounded(fit.x[1 : 1 + p]), rounded(_strict(loose)))


def _negative_log_likelihood(
    beta: NDArray, loose: NDArray, x: NDArray, edges: NDArray, n_grades: int
) -> tuple[float, NDArray, NDArray]:
    """The loss, and its slopes along the coefficients and the loose cuts; ``edges`` of :func:`_edges`."""
    cuts = np.concatenate([[-np.inf], _strict(loose), [np.inf]])
    to_edge = cuts[edges] - x @ beta
    # Both far above zero: the difference of the tails keeps its digits.
    passed = logistic(np.where(to_edge[1] > 0, -to_edge[::-1], to_edge))
    mass = np.maximum(passed[0] - passed[1], 1e-300)
    at_upper, at_lower = _density(to_edge) / mass
    by_face = np.stack([at_upper, -at_lower], axis=1)
    to_cut = np.bincount(edges.T.ravel(), by_face.ravel(), n_grades + 1)[1:-1]
    to_loose = np.cumsum(to_cut[::-1], dtype=float)[::-1]
    to_loose[1:] *= np.exp(loose[1:])
    return -float(np.log(mass).sum()), -(x.T @ (at_lower - at_upper)), -to_loose


def _edges(rung: NDArray) -> NDArray[np.intp]:
    """(2, n): which cuts bound each face from above and from below, where the first is -inf and the last inf."""
    return np.stack([rung + 1, rung])


def _marginal_cuts(rung: NDArray, n_grades: int) -> NDArray:
    """Cuts that give the grades their own shares (half a face added to each) at a score of 0."""
    share = np.bincount(rung, minlength=n_grades) + 0.5
    return log_odds(np.cumsum(share)[:-1] / share.sum())


def _loose(cuts: NDArray) -> NDArray:
    """A first cut and the logarithms of the steps: any numbers at all give rising cuts."""
    return np.concatenate([cuts[:1], np.log(np.maximum(np.diff(cuts), 1e-6))])


def _strict(loose: NDArray) -> NDArray:
    return np.cumsum(np.concatenate([loose[:1], np.exp(np.minimum(loose[1:], 30.0))]))


def _sign_bounds(sign: int) -> tuple[float | None, float | None]:
    return (0.0 if sign > 0 else None, 0.0 if sign < 0 else None)


def _density(z: NDArray) -> NDArray:
    """The slope of :func:`logistic`."""
    near = np.minimum(np.maximum(0.5 * z, -350), 350)
    return np.where(np.isfinite(z), 0.25 / np.cosh(near) ** 2, 0.0)
