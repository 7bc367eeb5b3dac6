"""Which kind of grade head follows a seller's calls: the written rules, a logit with or without the ensemble, or trees.

Each is judged on calls that it has not seen; the simplest that is not worse than the best by more than one standard
error of their difference is taken (after Breiman, Friedman, Olshen & Stone 1984, from memory).
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
from grader.grading.models.model import (
    LOGIT,
    LOGIT_AND_ENSEMBLE,
    RULES_ALONE,
    TREES,
    GradeHead,
    rules_ordinal,
)
from grader.grading.models.ordinal import Ordinal, fit_ordinal, grade_probabilities, median_grade
from grader.grading.models.prediction_set import fit_prediction_set_rule
from grader.grading.models.trees import fit_trees

#: Groups of stones that are held out in turn.
FOLDS = 5

#: With fewer stones than this only the logit with the ensemble is fitted. From here on the logit may stand without it,
#: for a seller who is like none of it: choosing cost sellers of the ensemble's make 0.008 of kappa at 15 stones and
#: nothing at 30, where it gave others 0.07 (simulated sellers of ours, faces of the training style).
LEAST_TO_CHOOSE = 30

#: With fewer stones than this the rules alone are not tried: choosing them cost 0.08 of kappa in single trials at 60.
LEAST_FOR_RULES = 80

#: With fewer stones than this no trees are grown.
LEAST_FOR_TREES = 100

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
    """How one kind does on held-out calls.

    loss : mean of -log(chance of the called grade).   behind : mean of its loss less that of the best kind, and
    ``behind_se`` the standard error of that over stones.
    """

    kind: str
    loss: float
    kappa: float | None
    behind: float
    behind_se: float
    taken: bool


@dataclass(frozen=True)
class _Faces:
    """Graded faces, with what each says of every seller of the ensemble, worked out once for however many fits.

    rows : features as the grade head sees them.   x : (n, p), their design matrix.   stones : what each is of.
    log_likelihoods : (M, n), of :meth:`SellerEnsemble.log_likelihoods`; ``None`` without an ensemble.
    """

    rows: list[Features]
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
        return cls(list(rows), x, rung, list(stones), likely)

    def take(self, index: NDArray[np.intp]) -> "_Faces":
        rows, stones = [self.rows[i] for i in index], [self.stones[i] for i in index]
        likely = self.log_likelihoods
        likely = None if likely is None else likely.take(index, axis=1)
        return _Faces(rows, self.x[index], self.rung[index], stones, likely)


def fit_heads(
    kinds: Sequence[str],
    head: GradeHead,
    rows: Sequence[Features],
    rung: NDArray,
    stones: Sequence[str],
) -> dict[str, GradeHead]:
    """Return a head of each kind fitted to n graded faces, drawn to ``head`` where it is a logit.

    rows : features as the grade head sees them.   rung : (n,), int, 0 the lowest grade.
    stones : what each face is of; none of them that the ensemble of ``head`` has learned from: it would count twice.
    """
    return _fit(kinds, head, _Faces.of(head, rows, rung, stones))


def _fit(kinds: Sequence[str], head: GradeHead, faces: _Faces) -> dict[str, GradeHead]:
    x, rung, n_grades, signs = faces.x, faces.rung, len(head.grades), column_signs(head)
    # One logit for all: with the ensemble, without it, and beside the trees.
    ordinal = fit_ordinal(
        x, rung, n_grades, prior=head.ordinal, strength=prior_precision(head.scaling.names),
        cut_strength=CUT_STRENGTH, scale_prior_sd=SCALE_PRIOR_SD, monotone_signs=signs,
    )  # fmt: skip
    ensemble = head.ensemble and head.ensemble.updated_by(faces.log_likelihoods)
    calls = head.calls + len(set(faces.stones))
    logit = replace(
        head, ordinal=ordinal, ensemble=ensemble, calls=calls, ensemble_disabled=False, trees=None
    )
    fitted = {LOGIT_AND_ENSEMBLE: logit, LOGIT: replace(logit, ensemble_disabled=True)}
    if RULES_ALONE in kinds:
        rules = rules_ordinal(head)
        log_odds = np.array(rules.cuts) - rules.score(x)[:, None]
        ruled = _times(rules, fit_temperature(log_odds, rung, SCALE_PRIOR_SD))
        fitted[RULES_ALONE] = replace(
            head.prior, ordinal=ruled, ensemble_disabled=False, trees=None
        )
    if TREES in kinds:
        trees = fit_trees(faces.rows, rung, n_grades, head.scaling.names, signs)
        fitted[TREES] = replace(logit, trees=trees)
    return {kind: fitted[kind] for kind in kinds}


def column_signs(head: GradeHead) -> list[int]:
    """Return the sign that each column's coefficient must keep; 0 where it is free."""
    return [FEATURES[name].monotone_sign for name in head.scaling.names]


def choose_head(
    head: GradeHead,
    rows: Sequence[Features],
    rung: NDArray,
    stones: Sequence[str],
    rng: np.random.Generator,
    fitted: Callable[[], None] = lambda: None,
) -> tuple[GradeHead, tuple[Candidate, ...]]:
    """Return the head fitted to all faces, of the kind that does best with faces held out; and the kinds compared.

    rung : (n,), int, 0 the lowest grade.   stones : what each face is of; faces of one stone are held out together.
    fitted : called after each fit, of which there are :func:`fits`.
    """
    kinds = _kinds(head, len(set(stones)))
    fold = folds_of(stones, FOLDS, rng)
    with one_thread(trees=TREES in kinds):
        faces = _Faces.of(head, rows, rung, stones)
        chances, factors = _held_out(kinds, head, faces, fold, fitted)
        table = compare(chances, rung, stones)
        kind = next(c.kind for c in table if c.taken)
        chosen = _fit((kind,), head, faces)[kind]
        fitted()
    rule = fit_prediction_set_rule(chances[kind], rung, stones)
    head = replace(
        with_temperature(chosen, factors[kind]), set_rule=rule, average=_average(head, rows)
    )
    return head, table


def fits(stones: int) -> int:
    """Return how many fits it takes to choose a head on so many stones: one for each group held out, and one on all."""
    return min(stones, FOLDS) + 1 if stones else 0


def compare(
    chances: dict[str, NDArray], rung: NDArray, stones: Sequence[str]
) -> tuple[Candidate, ...]:
    """Return the kinds side by side, simplest first, from their (n, K) held-out probabilities."""
    rows = np.arange(len(rung))
    losses = {k: -np.log(np.maximum(p[rows, rung], LEAST_CHANCE)) for k, p in chances.items()}
    best = min(losses, key=lambda kind: losses[kind].mean())
    behind = {kind: _mean_and_se(loss - losses[best], stones) for kind, loss in losses.items()}
    taken = next(kind for kind, (mean, se) in behind.items() if mean <= se)
    n_grades = next(iter(chances.values())).shape[1]
    return tuple(
        Candidate(
            kind,
            float(losses[kind].mean()),
            weighted_kappa(counts(rung, median_grade(chances[kind]), n_grades)),
            *behind[kind],
            kind == taken,
        )
        for kind in chances
    )


def folds_of(stones: Sequence[str], folds: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return the (n,) group of each face, drawn evenly over stones."""
    _, stone = np.unique(np.asarray(stones), return_inverse=True)
    return (rng.permutation(stone.max() + 1) % folds)[stone]


def _average(head: GradeHead, rows: Sequence[Features]) -> tuple[float, ...]:
    """The average stone: of these, and of the old average as if it were some stones more."""
    called = filled_table(rows, head.scaling.names).sum(axis=0)
    old = np.array([head.usual[name] for name in head.scaling.names])
    return rounded((called + OLD_STONES * old) / (len(rows) + OLD_STONES))


def _kinds(head: GradeHead, stones: int) -> tuple[str, ...]:
    """The kinds to try, simplest first: rules, ensemble, logit, trees; each learns more numbers from the calls."""
    ensemble = [] if head.ensemble is None else [LOGIT_AND_ENSEMBLE]
    if ensemble and stones < LEAST_TO_CHOOSE:
        return (LOGIT_AND_ENSEMBLE,)
    rules = [RULES_ALONE] if stones >= LEAST_FOR_RULES else []
    trees = [TREES] if stones >= LEAST_FOR_TREES else []
    return (*rules, *ensemble, LOGIT, *trees)


def _held_out(
    kinds: Sequence[str],
    head: GradeHead,
    faces: _Faces,
    fold: NDArray,
    fitted: Callable[[], None],
) -> tuple[dict[str, NDArray], dict[str, float]]:
    """Probabilities of each face by heads that have not seen its stone, and the factor on the odds of each kind.

    The factor is that of :func:`fit_temperature` on the calls held out: few calls make a fit too sure of itself.
    """
    below = {kind: np.zeros((len(faces.rows), len(head.grades) - 1)) for kind in kinds}
    for k in np.unique(fold):
        held = np.flatnonzero(fold == k)
        heads = _fit(kinds, head, faces.take(np.flatnonzero(fold != k)))
        rows = [faces.rows[i] for i in held]
        for kind, one in heads.items():
            below[kind][held] = one.log_odds_below(rows)
        fitted()
    # The ensemble is as unsure as the calls leave it.
    factors = {
        kind: 1.0
        if kind == LOGIT_AND_ENSEMBLE
        else fit_temperature(log_odds, faces.rung, TEMPERATURE_PRIOR_SD)
        for kind, log_odds in below.items()
    }
    chances = {
        kind: grade_probabilities(0.0, factors[kind] * log_odds) for kind, log_odds in below.items()
    }
    return chances, factors


def _mean_and_se(values: NDArray, stones: Sequence[str]) -> tuple[float, float]:
    """Mean over faces, with its standard error over stones."""
    _, stone = np.unique(np.asarray(stones), return_inverse=True)
    sums = np.bincount(stone, values - values.mean())
    return float(values.mean()), float(np.sqrt((sums**2).sum()) / len(values))


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


def with_temperature(head: GradeHead, factor: float) -> GradeHead:
    """Return the head with the log-odds of what proposes times that factor, one over the temperature."""
    if head.trees is not None:
        return replace(head, trees=head.trees.times(factor))
    return replace(head, ordinal=_times(head.ordinal, factor))


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
