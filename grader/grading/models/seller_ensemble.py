"""An ensemble of simulated sellers: with few calls, those who would have called alike tell what to expect.

Bayesian model averaging over simulated sellers (Hoeting, Madigan, Raftery & Volinsky 1999, Stat. Sci. 14:382-417, from
memory): what a seller is like was drawn in many ways before any call; each call makes those likelier who would have
made it (Bayes 1763). Proposals are the mean of all, weighed by how likely each is: no single guess at the seller, so
the chances are as unsure as the calls leave them. The first of them grades as the starter does, and is believed most
until calls speak against him: two calls leave the starter's proposals nearly as they were. Sellers weigh what is true
of a stone and the grader sees what is measured, so each is kept as the proportional odds that his calls have on
measured features (errors in variables).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.rules import Features
from grader.grading.models.crowd import MAKES, chances_of_makes
from grader.grading.models.many_ordinals import fit_many
from grader.grading.models.ordinal import Ordinal, logistic

#: How many sellers of each make are drawn.
EACH = 220

#: How often each of them calls each face, in parts, for his odds to be learned, and how strongly those are drawn to 0.
CALLS_EACH, STRENGTH = 3, 0.3

#: How likely it is before any call that a seller grades as the starter does. The smaller, the sooner others are
#: followed; but with 0.5 two calls of a seller who follows the written rules moved 3 % of the starter's proposals, with
#: this 0.6 %, with 0.9 0.4 % (simulated sellers of ours, faces of the training style).
AS_THE_STARTER = 0.8

#: A call counts so much: none of the ensemble is quite this seller, and what tells against all alike should not leave
#: one of them alone (coarsened posterior, Miller & Dunson 2019, J. Am. Stat. Assoc. 114:1113-1125, from memory). With 1
#: kappa was 0.005 to 0.01 lower after 20 to 120 calls of sellers whose make was left out.
CALL_COUNTS = 0.6

#: Sellers less likely than this part of the likeliest are left out: far less than one of so many is before any call.
LEAST = 1e-9

#: Decimal places of a seller's chance; that they add up to 1 is kept closely enough.
PLACES = 10

#: So many faces are proposed at a time.
AT_ONCE = 500


@dataclass(frozen=True)
class SellerEnsemble:
    """Sellers of one ladder on the columns of one scaling, the one who grades as the starter does first.

    coefficients : (M, p), cuts : (M, K - 1), of each seller's proportional odds.   chances : (M,), how likely each is.
    """

    coefficients: tuple[tuple[float, ...], ...]
    cuts: tuple[tuple[float, ...], ...]
    chances: tuple[float, ...]

    def updated(self, x: NDArray, rung: NDArray[np.intp]) -> "SellerEnsemble":
        """Return the ensemble with each seller as likely as n more calls make him.

        x : (n, p), design matrix.   rung : (n,), called grades, 0 the lowest.
        """
        return self.updated_by(self.log_likelihoods(x, rung))

    def log_likelihoods(self, x: NDArray, rung: NDArray[np.intp]) -> NDArray[np.float64]:
        """Return (M, n): the logarithm of each seller's chance of making each of n calls.

        They are taken as made one by one: what several of them say together is the sum of their columns.
        """
        beta, cuts = self._table
        chance = np.empty((len(cuts), len(x)))
        for k in range(cuts.shape[1] + 1):
            at = np.flatnonzero(rung == k)
            score = beta @ x[at].T
            upper = logistic(cuts[:, k : k + 1] - score) if k < cuts.shape[1] else 1.0
            chance[:, at] = upper - logistic(cuts[:, k - 1 : k] - score) if k else upper
        return np.log(np.maximum(chance, 1e-9, out=chance), out=chance)

    def updated_by(self, log_likelihoods: NDArray[np.float64]) -> "SellerEnsemble":
        """Return the ensemble after calls of these :meth:`log_likelihoods`, (M, n).

        Posterior ~ prior x likelihood to the power of :data:`CALL_COUNTS`.
        """
        with np.errstate(divide="ignore"):
            likely = np.log(self.chances) + CALL_COUNTS * log_likelihoods.sum(axis=1)
        chances = np.exp(likely - likely.max())
        chances[chances < LEAST] = 0.0
        return replace(self, chances=tuple(np.round(chances / chances.sum(), PLACES).tolist()))

    @property
    def prior(self) -> "SellerEnsemble":
        """The ensemble as it was before any call."""
        return replace(self, chances=_prior_chances(len(self.cuts)))

    def below(self, x: NDArray) -> NDArray[np.float64]:
        """Return (n, K - 1): the chance of lying below each border of the ladder, for an (n, p) design matrix."""
        beta, cuts, chances = self._likely
        below = np.zeros((len(x), cuts.shape[1]))
        for start in range(0, len(x), AT_ONCE):
            scores = beta @ x[start : start + AT_ONCE].T
            log_odds = cuts[:, None, :] - scores[:, :, None]
            below[start : start + AT_ONCE] = np.einsum("m,mnk->nk", chances, logistic(log_odds))
        return below

    def expected_grades(self, x: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return (S, n), the expected grade that each possible seller gives n faces, and (S,), how likely each is.

        The chances add up to 1. The one who grades as the starter does is left out: he is known already, and stones
        that only tell him from the others say little of which other it is (with him 20 calls asked for were worth no
        more than 20 at random).
        """
        beta, cuts, chances = (part[1:] for part in (*self._table, np.array(self.chances)))
        possible = chances > 0
        beta, cuts, chances = beta[possible], cuts[possible], chances[possible]
        score = beta @ x.T
        return sum(1.0 - logistic(cut[:, None] - score) for cut in cuts.T), chances / chances.sum()

    @property
    def rows(self) -> list[tuple[float, ...]]:
        """One row for each seller: coefficients, cuts, chance."""
        parts = zip(self.coefficients, self.cuts, self.chances, strict=True)
        return [(*beta, *cuts, chance) for beta, cuts, chance in parts]

    @cached_property
    def _table(self) -> tuple[NDArray, NDArray]:
        return np.array(self.coefficients), np.array(self.cuts)

    @cached_property
    def _likely(self) -> tuple[NDArray, NDArray, NDArray]:
        chances = np.array(self.chances)
        possible = chances > 0
        beta, cuts = self._table
        return beta[possible], cuts[possible], chances[possible] / chances[possible].sum()


def draw_ensemble(
    x: NDArray,
    true: Sequence[Features],
    n_grades: int,
    monotone_signs: Sequence[int],
    starter: Ordinal,
    rng: np.random.Generator,
    each: int = EACH,
    makes: Sequence[str] = tuple(MAKES),
) -> SellerEnsemble:
    """Return an ensemble that has graded faces of which all is known, with one more who grades by ``starter``.

    Parameters
    ----------
    x : ndarray of shape (n, p), the design matrix of what is measured on them.
    true : what is true of the same faces.
    n_grades : 2 or more.   each : how many are drawn of each make, 1 or more.   makes : of :data:`MAKES`.
    monotone_signs : sign that each column's coefficient must keep, 0 where it is free.
    """
    calls = CALLS_EACH * chances_of_makes(true, n_grades, rng, each, makes)
    beta, cuts = fit_many(x, calls, STRENGTH, monotone_signs)
    return SellerEnsemble(
        tuple(tuple(row) for row in np.round([starter.coefficients, *beta], 3).tolist()),
        tuple(tuple(row) for row in np.round([starter.cuts, *cuts], 3).tolist()),
        _prior_chances(1 + len(beta)),
    )


def _prior_chances(sellers: int) -> tuple[float, ...]:
    """How likely each is before any call: the first stands for the starter, all others are alike."""
    alike = round((1 - AS_THE_STARTER) / (sellers - 1), PLACES)
    return (AS_THE_STARTER, *(alike,) * (sellers - 1))
