"""A grade head that follows a seller's calls: what was known before, and plain weights, each as far as held-out calls
bear it out.

Known before are the simulated sellers who would have called alike, or, for a ladder that they do not know, the odds of
the rules drawn to the calls. The plain weights know nothing but the calls. How much of a proposal is theirs is found by
the likelihood of calls that neither had seen (stacking of predictive distributions after Yao, Vehtari, Simpson & Gelman
2018, Bayesian Anal. 13:917-1007, from memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.features import FEATURES
from grader.grading.features.rules import Features
from grader.grading.features.scaling import filled_table, rounded
from grader.grading.learning.agreement import counts, weighted_kappa
from grader.grading.learning.threads import one_thread
from grader.grading.models.model import DRAWN, LEAST_BELOW, PLAIN, SELLERS, GradeHead
from grader.grading.models.ordinal import (
    Ordinal,
    fit_ordinal,
    grade_probabilities,
    log_odds,
    logistic,
    median_grade,
)
from grader.grading.models.plain import fit_plain
from grader.grading.models.prediction_set import fit_prediction_set_rule

#: Groups of stones that are held out in turn.
FOLDS = 5

#: With fewer stones than this no plain weights are fitted: they would say little but what share each grade has.
LEAST_FOR_PLAIN = 10

#: What was known before and the plain weights are believed as if so many held-out calls spoke for each alone.
BELIEVED = (6.0, 2.0)

#: Rounds in which the plain weights' share is found; more change nothing.
ROUNDS = 60

#: How strongly a cut of the old model holds: what a cut one away costs in doubled log-likelihood.
CUT_STRENGTH = 0.1

#: How freely all numbers of the old model grow or shrink together: standard deviation of the scale's logarithm.
SCALE_PRIOR_SD = 1.5

#: Features that sellers are known to weigh differently.
VARIABLE_FEATURES = ("pattern_share", "blue_share", "blue_chroma", "line_density", "scene_score")

#: How far a coefficient is expected to lie from the old model's (standard deviation): of the variable features, of the
#: rules' grades, of the rest; and of the variable ones moving together, each in its direction. Found on simulated
#: sellers of ours with 20 to 200 calls, on faces of the training style.
VARIABLE_PRIOR_SD, RULES_PRIOR_SD, OTHER_PRIOR_SD, SHARED_PRIOR_SD = 1.0, 0.7, 0.3, 1.5

#: How far a fit's temperature is expected to lie from 1 (standard deviation of its logarithm).
TEMPERATURE_PRIOR_SD = 0.5

#: For the average stone the old model's counts as so many.
OLD_STONES = 10

#: A chance below this counts as this much: one stone called against all odds decides nothing.
LEAST_CHANCE = 0.01


@dataclass(frozen=True)
class Candidate:
    """How one part does on held-out calls.

    loss : mean of -log(chance of the called grade).   share : how much of a proposal is its, 0 to 1.
    """

    kind: str
    loss: float
    kappa: float | None
    share: float


@dataclass(frozen=True)
class _Faces:
    """Graded faces, with what each says of every seller of the ensemble, worked out once for however many fits.

    x : (n, p), their design matrix.   stones : what each is of.
    log_likelihoods : (M, n), of :meth:`SellerEnsemble.log_likelihoods`; ``None`` without an ensemble.
    """

    x: NDArray[np.float64]
    rung: NDArray[np.intp]
    stones: list[str]
    log_likelihoods: NDArray[np.float64] | None

    @classmethod
    def of(
        cls, head: GradeHead, rows: Sequence[Features], rung: NDArray, stones: Sequence[str]
    ) -> "_Faces":
        x = head.scaling.design(rows)
        likely = head.ensemble and head.ensemble.log_likelihoods(x, rung)
        return cls(x, rung, list(stones), likely)

    def take(self, index: NDArray[np.intp]) -> "_Faces":
        likely = self.log_likelihoods
        likely = None if likely is None else likely.take(index, axis=1)
        return _Faces(self.x[index], self.rung[index], [self.stones[i] for i in index], likely)


def _fit(head: GradeHead, faces: _Faces, plain: bool) -> GradeHead:
    x, rung, n_grades = faces.x, faces.rung, len(head.grades)
    calls = head.calls + len(set(faces.stones))
    if head.ensemble is not None:
        fitted = replace(
            head, ensemble=head.ensemble.updated_by(faces.log_likelihoods), calls=calls
        )
    else:
        drawn = fit_ordinal(
            x, rung, n_grades, prior=head.ordinal, strength=prior_precision(head.scaling.names),
            cut_strength=CUT_STRENGTH, scale_prior_sd=SCALE_PRIOR_SD, monotone_signs=column_signs(head),
        )  # fmt: skip
        fitted = replace(head, ordinal=drawn, calls=calls)
    if not plain:
        return replace(fitted, plain=None, plain_share=0.0)
    weights = fit_plain(head.scaling.names, x, rung, n_grades, head.plain)
    return replace(fitted, plain=weights, plain_share=BELIEVED[1] / sum(BELIEVED))


def column_signs(head: GradeHead) -> list[int]:
    """Return the sign that each column's coefficient must keep; 0 where it is free."""
    return [FEATURES[name].monotone_sign for name in head.scaling.names]


def learn_head(
    head: GradeHead,
    rows: Sequence[Features],
    rung: NDArray,
    stones: Sequence[str],
    rng: np.random.Generator,
    fitted: Callable[[], None] = lambda: None,
) -> tuple[GradeHead, tuple[Candidate, ...]]:
    """Return the head fitted to all faces, its parts weighed by faces held out; and how each part does.

    rung : (n,), int, 0 the lowest grade.   stones : what each face is of; faces of one stone are held out together.
    fitted : called after each fit, of which there are :func:`fits`.
    """
    plain = len(set(stones)) >= LEAST_FOR_PLAIN
    fold = folds_of(stones, FOLDS, rng)
    with one_thread():
        faces = _Faces.of(head, rows, rung, stones)
        first, weights = _held_out(head, faces, fold, plain, fitted)
        learned = _fit(head, faces, plain)
        fitted()
    kinds = {DRAWN if head.ensemble is None else SELLERS: first}
    if head.ensemble is None:
        factor = fit_temperature(log_odds(first), rung, TEMPERATURE_PRIOR_SD)
        learned = replace(learned, ordinal=_times(learned.ordinal, factor))
        first = _tempered(first, factor)
    share, below = 0.0, first
    if plain:
        factor = fit_temperature(log_odds(weights), rung, TEMPERATURE_PRIOR_SD)
        weights = _tempered(weights, factor)
        share = share_of_second(_chance_of(first, rung), _chance_of(weights, rung))
        learned = replace(learned, plain=_times(learned.plain, factor), plain_share=share)
        kinds = {kind: first for kind in kinds} | {PLAIN: weights}
        below = (1 - share) * first + share * weights
    table = tuple(
        candidate(kind, _probabilities(of), rung, part)
        for (kind, of), part in zip(kinds.items(), (1 - share, share), strict=False)
    )
    rule = fit_prediction_set_rule(_probabilities(below), rung, stones)
    return replace(learned, set_rule=rule, average=_average(head, rows)), table


def fits(stones: int) -> int:
    """Return how many fits a head takes on so many stones: one for each group held out, and one on all."""
    return min(stones, FOLDS) + 1 if stones else 0


def candidate(kind: str, chances: NDArray, rung: NDArray[np.intp], share: float) -> Candidate:
    """Return how a part does that gives n held-out faces these (n, K) chances."""
    chance = np.maximum(chances[np.arange(len(rung)), rung], LEAST_CHANCE)
    kappa = weighted_kappa(counts(rung, median_grade(chances), chances.shape[1]))
    return Candidate(kind, float(-np.log(chance).mean()), kappa, share)


def share_of_second(first: NDArray, second: NDArray) -> float:
    """Return how much of a mixture is its second part, 0 to 1, from the (n,) chances that each gave what came true.

    Expectation and maximisation, with :data:`BELIEVED` as calls beforehand (Dempster, Laird & Rubin 1977, J. R.
    Statist. Soc. B 39:1-38, from memory).
    """
    first, second = np.maximum(first, LEAST_CHANCE), np.maximum(second, LEAST_CHANCE)
    share = BELIEVED[1] / sum(BELIEVED)
    for _ in range(ROUNDS):
        of_second = share * second / ((1 - share) * first + share * second)
        share = (of_second.sum() + BELIEVED[1]) / (len(first) + sum(BELIEVED))
    return round(float(share), 6)


def folds_of(stones: Sequence[str], folds: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return the (n,) group of each face, drawn evenly over stones."""
    _, stone = np.unique(np.asarray(stones), return_inverse=True)
    return (rng.permutation(stone.max() + 1) % folds)[stone]


def _average(head: GradeHead, rows: Sequence[Features]) -> tuple[float, ...]:
    """The average stone: of these, and of the old average as if it were some stones more."""
    called = filled_table(rows, head.scaling.names).sum(axis=0)
    old = np.array([head.usual[name] for name in head.scaling.names])
    return rounded((called + OLD_STONES * old) / (len(rows) + OLD_STONES))


def _held_out(
    head: GradeHead, faces: _Faces, fold: NDArray, plain: bool, fitted: Callable[[], None]
) -> tuple[NDArray, NDArray]:
    """(n, K - 1) chances of lying below each border by heads that have not seen the face's stone: by what was known
    before, and by the plain weights."""
    first, weights = np.full((2, len(faces.x), len(head.grades) - 1), 0.5)
    for k in np.unique(fold):
        held = np.flatnonzero(fold == k)
        one = _fit(head, faces.take(np.flatnonzero(fold != k)), plain)
        first[held], of_plain = one.below(faces.x[held])
        if plain:
            weights[held] = of_plain
        fitted()
    # A chance of 0 or 1 has no odds.
    return tuple(np.clip(below, LEAST_BELOW, 1 - LEAST_BELOW) for below in (first, weights))


def _probabilities(below: NDArray) -> NDArray:
    return np.diff(below, axis=1, prepend=0.0, append=1.0)


def _chance_of(below: NDArray, rung: NDArray[np.intp]) -> NDArray:
    return _probabilities(below)[np.arange(len(rung)), rung]


def _tempered(below: NDArray, factor: float) -> NDArray:
    return logistic(factor * log_odds(below))


def fit_temperature(log_odds_below: NDArray, rung: NDArray, prior_sd: float) -> float:
    """Return the likeliest factor on the odds of n called faces, drawn to 1: one over the temperature.

    Temperature scaling after Guo, Pleiss, Sun & Weinberger 2017, ICML (from memory), with a normal prior of standard
    deviation ``prior_sd`` on the factor's logarithm.

    log_odds_below : (n, K - 1), of lying below each border.   rung : (n,), called.
    """
    from scipy.optimize import minimize_scalar

    rows = np.arange(len(rung))

    def cost(log_factor: float) -> float:
        chance = grade_probabilities(0.0, np.exp(log_factor) * log_odds_below)[rows, rung]
        return -np.log(np.maximum(chance, 1e-300)).sum() + 0.5 * (log_factor / prior_sd) ** 2

    return float(np.exp(minimize_scalar(cost, bounds=(-4.0, 2.0), method="bounded").x))


def _times(ordinal: Ordinal, factor: float) -> Ordinal:
    return Ordinal(
        *(rounded(factor * np.array(part)) for part in (ordinal.coefficients, ordinal.cuts))
    )


def prior_precision(names: Sequence[str]) -> NDArray[np.float64]:
    """Return the (p, p) precision of the coefficients' prior: the inverse of their covariance over sellers.

    Covariance: diag(sd^2) + v v', where v holds the shared standard deviation of the variable features, each with its
    sign.
    """
    sd = [_prior_sd(name) for name in names]
    shared = [
        FEATURES[name].monotone_sign * (name in VARIABLE_FEATURES) * SHARED_PRIOR_SD
        for name in names
    ]
    return np.linalg.inv(np.diag(np.square(sd)) + np.outer(shared, shared))


def _prior_sd(name: str) -> float:
    if name in VARIABLE_FEATURES:
        return VARIABLE_PRIOR_SD
    return RULES_PRIOR_SD if name.startswith("rules_grade") else OTHER_PRIOR_SD
