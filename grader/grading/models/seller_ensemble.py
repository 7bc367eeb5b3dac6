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

from grader.grading.features.features import FEATURES
from grader.grading.features.rules import Features
from grader.grading.features.scaling import REACH, fit_scaling
from grader.grading.models.ordinal import Ordinal, fit_ordinal, grade_probabilities, logistic

#: How many sellers are drawn.
SELLERS = 2000

#: What sellers judge by, and how much of their weight lies there in the mean, in parts: what the trade speaks of
#: most (common practice, no source), and what a seller of his own mind may add.
SELLER_CRITERIA = {
    "blue_share": 4.0, "scene_score": 4.0, "crack_density": 3.0, "host_share": 3.0, "blue_chroma": 1.5,
    "continuity": 0.3, "band_contrast": 0.3, "white_share": 0.3, "crack_count": 0.3, "rusty_share": 0.3,
}  # fmt: skip

#: How many of the first are those that the trade speaks of most.
SPOKEN_OF = 5

#: How evenly a seller's weight is spread (Dirichlet: the smaller, the more often on few criteria alone).
EVENNESS = 0.5

#: Shares of the sellers who lean, more or less, to the poorest of the criteria spoken of; who lean to the written
#: rules; and who go by the rules alone, with the rules' own borders.
POOREST, RULES, RULES_ALONE = 0.2, 0.15, 0.1

#: How even the shares of the grades are (Dirichlet: the larger, the more even), and the least and greatest share of
#: stones in which a seller repeats himself.
SHARES, REPEATS = 8.0, (0.55, 0.9)

#: Calls of each seller on each face from which his odds are learned, and how strongly those are drawn to 0.
CALLS_EACH, STRENGTH = 3, 0.3

#: How likely it is before any call that a seller grades as the starter does. The smaller, the sooner others are
#: followed; but with 0.5 two calls of a seller who follows the written rules moved 3 % of the starter's proposals, with
#: this 0.6 %, with 0.9 0.4 % (simulated sellers of ours, faces of the training style).
AS_THE_STARTER = 0.8

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
        """Return the ensemble after calls of these :meth:`log_likelihoods`, (M, n): posterior ~ prior x likelihood."""
        with np.errstate(divide="ignore"):
            likely = np.log(self.chances) + log_likelihoods.sum(axis=1)
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
    sellers: int = SELLERS,
) -> SellerEnsemble:
    """Return an ensemble that has graded faces of which all is known, with one more who grades by ``starter``.

    Parameters
    ----------
    x : ndarray of shape (n, p), the design matrix of what is measured on them.
    true : what is true of the same faces.
    n_grades : 2 or more.   sellers : how many are drawn, 1 or more.
    monotone_signs : sign that each column's coefficient must keep, 0 where it is free.
    """
    criteria = np.clip(fit_scaling(true, tuple(SELLER_CRITERIA)).design(true), -REACH, REACH)
    criteria *= [FEATURES[name].monotone_sign or 1 for name in SELLER_CRITERIA]
    rules = np.array([face["rules_grade"] for face in true])
    odds = []
    for _ in range(sellers):
        chances = _seller(criteria, rules, n_grades, rng)
        passed = np.cumsum(chances, axis=1)[:, :-1]
        drawn = rng.random((CALLS_EACH, len(x), 1))
        rung = (drawn > passed).sum(axis=2).ravel()
        odds.append(
            fit_ordinal(
                np.tile(x, (CALLS_EACH, 1)), rung, n_grades, strength=STRENGTH, monotone_signs=monotone_signs
            )
        )  # fmt: skip
    odds = [starter, *odds]
    return SellerEnsemble(
        tuple(tuple(round(v, 3) for v in one.coefficients) for one in odds),
        tuple(tuple(round(v, 3) for v in one.cuts) for one in odds),
        _prior_chances(len(odds)),
    )


def _prior_chances(sellers: int) -> tuple[float, ...]:
    """How likely each is before any call: the first stands for the starter, all others are alike."""
    alike = round((1 - AS_THE_STARTER) / (sellers - 1), PLACES)
    return (AS_THE_STARTER, *(alike,) * (sellers - 1))


def _seller(
    criteria: NDArray, rules: NDArray, n_grades: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """The (n, K) chances with which one drawn seller calls each face."""
    weights = rng.dirichlet(EVENNESS * np.array(list(SELLER_CRITERIA.values())))
    open_signs = np.array([FEATURES[name].monotone_sign == 0 for name in SELLER_CRITERIA])
    signs = np.where(open_signs, rng.choice([-1, 1], len(SELLER_CRITERIA)), 1)
    value = _spread_1(criteria @ (weights * signs))
    kind, lean = rng.random(), rng.random()
    if kind < POOREST:
        first = criteria[:, :SPOKEN_OF] - rng.normal(0, 0.4, SPOKEN_OF)
        value = _spread_1((1 - lean) * value + lean * _spread_1(first.min(axis=1)))
    elif kind < POOREST + RULES:
        value = _spread_1((1 - lean) * value + lean * _spread_1(rules))
    cuts = np.quantile(value, np.cumsum(rng.dirichlet(np.full(n_grades, SHARES)))[:-1])
    if kind > 1 - RULES_ALONE:
        value, cuts = rules, np.arange(n_grades - 1) + 0.5
    return _wavering(value, cuts, rng.uniform(*REPEATS))


def _wavering(value: NDArray, cuts: NDArray, repeats: float) -> NDArray[np.float64]:
    """Chances of the grades where a seller wavers so much that he repeats himself in that share of the faces."""
    low, high = 0.0, 5.0 * float(value.std())
    for _ in range(30):
        wavers = 0.5 * (low + high)
        chances = grade_probabilities(value / wavers, cuts / wavers)
        often = float((chances**2).sum(axis=1).mean())
        low, high = (wavers, high) if often > repeats else (low, wavers)
    return chances


def _spread_1(values: NDArray) -> NDArray:
    return (values - values.mean()) / max(float(values.std()), 1e-9)
