"""Which kind of grade head follows a seller's calls: the written rules, a logit with or without the crowd, or trees.

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
    LOGIT_AND_CROWD,
    RULES_ALONE,
    TREES,
    GradeHead,
    rules_ordinal,
)
from grader.grading.models.ordinal import Ordinal, fit_ordinal, grade_probabilities, median_grade
from grader.grading.models.prediction_set import set_rule
from grader.grading.models.trees import fit_trees

#: Groups of stones that are held out in turn.
FOLDS = 5

#: With fewer stones than this only the logit and crowd is fitted. From here on the logit may stand without the crowd,
#: for a seller who is none of it: choosing cost sellers of the crowd's make 0.008 of kappa at 15 stones and nothing at
#: 30, where it gave others 0.07 (simulated sellers of ours, faces of the training style).
LEAST_TO_CHOOSE = 30

#: With fewer stones than this the rules alone are not tried: choosing them cost 0.08 of kappa in single trials at 60.
LEAST_FOR_RULES = 80

#: With fewer stones than this no trees are grown.
LEAST_FOR_TREES = 100

#: How strongly a cut of the old model holds, and how freely all its numbers grow or shrink together: what a cut one
#: away costs in doubled log-likelihood; the standard deviation of the scale's logarithm.
CUT_STRENGTH, SCALE_SPREAD = 0.1, 1.5

#: How far a coefficient is expected to lie from the old model's (standard deviation): of what sellers are known to
#: weigh otherwise, of the rules' places, of the rest; and of the first ones moving together, each in its direction.
#: Found on simulated sellers of ours with 20 to 200 calls, on faces of the training style.
LEADS = ("pattern_share", "blue_share", "blue_chroma", "line_density", "scene_score")
LEAD_SPREAD, RULES_SPREAD, OTHER_SPREAD, TOGETHER_SPREAD = 1.0, 0.7, 0.3, 1.5

#: How far the factor by which a fit is made less sure is expected to lie from 1 (standard deviation of its logarithm).
SURE_SPREAD = 0.5

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
    """Graded faces, with what each tells of every seller of the crowd (``None`` without one): told once, for however
    many fits take some of them.

    rows : features as the grade head sees them.   x : (n, p), their design matrix.   stones : what each is of.
    told : (M, n), of :meth:`Crowd.told`.
    """

    rows: list[Features]
    x: NDArray[np.float64]
    rung: NDArray[np.intp]
    stones: list[str]
    told: NDArray[np.float64] | None

    @classmethod
    def of(
        cls, head: GradeHead, rows: Sequence[Features], rung: NDArray, stones: Sequence[str]
    ) -> "_Faces":
        x = head.scaling.design(rows)
        return cls(list(rows), x, rung, list(stones), head.crowd and head.crowd.told(x, rung))

    def take(self, index: NDArray[np.intp]) -> "_Faces":
        rows, stones = [self.rows[i] for i in index], [self.stones[i] for i in index]
        told = None if self.told is None else self.told.take(index, axis=1)
        return _Faces(rows, self.x[index], self.rung[index], stones, told)


def fit_heads(
    kinds: Sequence[str],
    head: GradeHead,
    rows: Sequence[Features],
    rung: NDArray,
    stones: Sequence[str],
) -> dict[str, GradeHead]:
    """Return a head of each kind fitted to n graded faces, drawn to ``head`` where it is a logit.

    rows : features as the grade head sees them.
    stones : what each face is of; none of them that the crowd of ``head`` has heard of, which would hear it twice.
    """
    return _fit(kinds, head, _Faces.of(head, rows, rung, stones))


def _fit(kinds: Sequence[str], head: GradeHead, faces: _Faces) -> dict[str, GradeHead]:
    x, rung, n_grades, signs = faces.x, faces.rung, len(head.grades), column_signs(head)
    # One logit for all: with the crowd, without it, and beside the trees.
    ordinal = fit_ordinal(
        x, rung, n_grades, prior=head.ordinal, strength=_holds(head.scaling.names),
        cut_strength=CUT_STRENGTH, scale_spread=SCALE_SPREAD, better=signs,
    )  # fmt: skip
    crowd = head.crowd and head.crowd.having_heard(faces.told)
    calls = head.calls + len(set(faces.stones))
    logit = replace(head, ordinal=ordinal, crowd=crowd, calls=calls, alone=False, trees=None)
    fitted = {LOGIT_AND_CROWD: logit, LOGIT: replace(logit, alone=True)}
    if RULES_ALONE in kinds:
        rules = rules_ordinal(head)
        sure = _as_sure(np.array(rules.cuts) - rules.score(x)[:, None], rung, SCALE_SPREAD)
        ruled = _times(rules, sure)
        fitted[RULES_ALONE] = replace(head.unheard, ordinal=ruled, alone=False, trees=None)
    if TREES in kinds:
        trees = fit_trees(faces.rows, rung, n_grades, head.scaling.names, signs)
        fitted[TREES] = replace(logit, trees=trees)
    return {kind: fitted[kind] for kind in kinds}


def column_signs(head: GradeHead) -> list[int]:
    """Return the sign that each column's coefficient must keep; 0 where it is free."""
    return [FEATURES[name].better for name in head.scaling.names]


def choose_head(
    head: GradeHead,
    rows: Sequence[Features],
    rung: NDArray,
    stones: Sequence[str],
    rng: np.random.Generator,
    fitted: Callable[[], None] = lambda: None,
) -> tuple[GradeHead, tuple[Candidate, ...]]:
    """Return the head fitted to all faces, of the kind that does best with faces held out, with its grade sets; and
    the kinds compared.

    stones : what each face is of; faces of one stone are held out together.
    fitted : told after each fit, of which there are :func:`fits`.
    """
    kinds = _kinds(head, len(set(stones)))
    fold = folds_of(stones, FOLDS, rng)
    with one_thread(trees=TREES in kinds):
        faces = _Faces.of(head, rows, rung, stones)
        chances, sure = _held_out(kinds, head, faces, fold, fitted)
        table = compare(chances, rung, stones)
        kind = next(c.kind for c in table if c.taken)
        chosen = _fit((kind,), head, faces)[kind]
        fitted()
    sets, average = set_rule(chances[kind], rung, stones), _average(head, rows)
    return replace(_as_sure_as(chosen, sure[kind]), sets=sets, average=average), table


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
    """Simplest first: what is taken over from before the calls is simpler than what is learned from them."""
    crowd = [] if head.crowd is None else [LOGIT_AND_CROWD]
    if crowd and stones < LEAST_TO_CHOOSE:
        return (LOGIT_AND_CROWD,)
    rules = [RULES_ALONE] if stones >= LEAST_FOR_RULES else []
    trees = [TREES] if stones >= LEAST_FOR_TREES else []
    return (*rules, *crowd, LOGIT, *trees)


def _held_out(
    kinds: Sequence[str],
    head: GradeHead,
    faces: _Faces,
    fold: NDArray,
    fitted: Callable[[], None],
) -> tuple[dict[str, NDArray], dict[str, float]]:
    """Probabilities of each face by heads that have not seen its stone, and by what factor the odds are to be less
    sure (or more) than they were fitted, as the calls held out show. Few calls make a fit too sure of itself."""
    away = {kind: np.zeros((len(faces.rows), len(head.grades) - 1)) for kind in kinds}
    for k in np.unique(fold):
        held = np.flatnonzero(fold == k)
        heads = _fit(kinds, head, faces.take(np.flatnonzero(fold != k)))
        some = [faces.rows[i] for i in held]
        for kind, one in heads.items():
            away[kind][held] = one.away(some)
        fitted()
    # The crowd is as unsure as the calls leave it.
    sure = {
        kind: 1.0 if kind == LOGIT_AND_CROWD else _as_sure(off, faces.rung, SURE_SPREAD)
        for kind, off in away.items()
    }
    return {kind: grade_probabilities(0.0, sure[kind] * off) for kind, off in away.items()}, sure


def _mean_and_se(values: NDArray, stones: Sequence[str]) -> tuple[float, float]:
    """Mean over faces, with its standard error over stones."""
    _, stone = np.unique(np.asarray(stones), return_inverse=True)
    sums = np.bincount(stone, values - values.mean())
    return float(values.mean()), float(np.sqrt((sums**2).sum()) / len(values))


def _as_sure(away: NDArray, rung: NDArray, spread: float) -> float:
    """The likeliest factor on (n, K - 1) distances of faces from the cuts, drawn to 1 (spread of its logarithm)."""
    from scipy.optimize import minimize_scalar

    rows = np.arange(len(rung))

    def cost(log_scale: float) -> float:
        chance = grade_probabilities(0.0, np.exp(log_scale) * away)[rows, rung]
        return -np.log(np.maximum(chance, 1e-300)).sum() + 0.5 * (log_scale / spread) ** 2

    return float(np.exp(minimize_scalar(cost, bounds=(-4.0, 2.0), method="bounded").x))


def _as_sure_as(head: GradeHead, factor: float) -> GradeHead:
    """The head with the log-odds of what proposes that many times as large."""
    if head.trees is not None:
        return replace(head, trees=head.trees.times(factor))
    return replace(head, ordinal=_times(head.ordinal, factor))


def _times(ordinal: Ordinal, factor: float) -> Ordinal:
    return Ordinal(
        *(rounded(factor * np.array(part)) for part in (ordinal.coefficients, ordinal.cuts))
    )


def _holds(names: Sequence[str]) -> NDArray[np.float64]:
    """The (p, p) price of moving coefficients: the inverse of how they are expected to vary."""
    spread = [
        LEAD_SPREAD if n in LEADS else RULES_SPREAD if n.endswith("_position") else OTHER_SPREAD
        for n in names
    ]
    together = np.array([FEATURES[n].better * (n in LEADS) * TOGETHER_SPREAD for n in names])
    return np.linalg.inv(np.diag(np.square(spread)) + np.outer(together, together))
