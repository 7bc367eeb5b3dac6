"""A model that follows calls and comparisons, judged beside the old one on stones held out from the fit.

How many of them the old one has learned from before is told.
"""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray

from grader.errors import CallsError
from grader.grading.calls.calls import RowRemark
from grader.grading.calls.comparisons_csv import Stone
from grader.grading.features.rules import Features
from grader.grading.learning.agreement import bootstrap, mean_of, side_by_side
from grader.grading.learning.called_faces import CalledFaces, called_faces, stone_key
from grader.grading.learning.candidates import FOLDS, Candidate, fits, folds_of, learn_head
from grader.grading.learning.retrain_record import LearnedFrom, Moved, RetrainReport
from grader.grading.learning.threads import one_thread
from grader.grading.models.model import Model, Provenance, library_versions
from grader.grading.models.scene_head import Pair, SceneHead, compared_right, refit_scene
from grader.grading.proposal import Call
from grader.profile import Profile

#: Fewer called stones than this say nothing of how good a model is.
LEAST_STONES = 8

#: Fewer comparisons than this say nothing of how well the scene score follows them.
LEAST_COMPARISONS = 10

#: The better stone of two, and the other one.
Comparison = tuple[Stone, Stone]


@dataclass(frozen=True)
class Retrained:
    """The new model, how it does beside the old one, and which calls could not be used.

    points : of the scene score by one whole unit of each feature, in the old and the new model.
    learned : what it was made from; in the model itself that stands in words, see :meth:`named`.
    """

    model: Model
    report: RetrainReport
    refused: tuple[RowRemark, ...]
    points: dict[str, tuple[float, float]]
    learned: LearnedFrom

    def named(self, name: str, date: str, data: str) -> "Retrained":
        """Return the same with a name for the model, the day on which it was made, ISO 8601, and its data in words."""
        provenance = replace(self.model.provenance, date=date, data=data)
        return replace(self, model=replace(self.model, name=name, provenance=provenance))


@dataclass(frozen=True)
class _Compared:
    """Comparisons as stones, the better one first, and as features."""

    stones: list[Comparison]
    pairs: list[Pair]

    def take(self, keep: Sequence[bool]) -> "_Compared":
        index = np.flatnonzero(keep)
        return _Compared([self.stones[i] for i in index], [self.pairs[i] for i in index])

    def without(self, stones: set[Stone]) -> "_Compared":
        return self.take([not stones & set(two) for two in self.stones])


#: The calls and comparisons that may be learned from, to the model and how the parts of its grade head do.
_Fit = Callable[[CalledFaces, _Compared], tuple[Model, tuple[Candidate, ...]]]


@one_thread()
def retrain(
    calls: Sequence[Call],
    measured: Mapping[Stone, Features],
    profile: Profile,
    base: Model,
    seed: int = 0,
    *,
    comparisons: Sequence[Comparison] = (),
    appearances: Mapping[Stone, Mapping[str, float]] | None = None,
    on_step: Callable[[int, int], None] = lambda done, total: None,
) -> Retrained:
    """Return a model drawn from ``base`` towards the calls: few move it a little, many a lot.

    Parameters
    ----------
    calls : placed calls (hash and piece known), in the order of making; of several calls on one
        stone the last word counts.
    measured : features of each stone by (photo hash, piece), from :func:`features`.
    seed : of the split into held-out groups and of the bootstrap. The same calls, features and
        seed give the same parameters.
    comparisons : (better stone, other stone), from :func:`~grader.grading.calls.comparisons_csv.paired`; only the
        scene score learns from them.
    appearances : of stones in the same way; those that were called are known from then on.
    on_step : told how many fits of grade heads are done, of how many, after each of them; all the rest takes a moment.

    Raises
    ------
    CallsError
        No call and no comparison can be used.
    """
    called, refused = called_faces(calls, measured, profile)
    pairs = [(measured[better], measured[other]) for better, other in comparisons]
    compared = _Compared(list(comparisons), pairs)
    if not called.stones and not compared.stones:
        raise CallsError(
            "no call and no comparison could be used; call some stones first, or mend the rows refused"
        )
    base = base.for_ladder(profile)
    start = base
    if called.take(called.rung >= 0).learned_by(base):
        # The table has grown: it tells the old calls again, and the ensemble must not learn from them twice.
        start = replace(base, grade=base.grade.prior)
    rng = np.random.default_rng(seed)
    fold = folds_of(called.names, FOLDS, rng) if called.names else np.zeros(0, int)
    done, total = count(1), _fits(called, fold)

    def fit(called: CalledFaces, compared: _Compared) -> tuple[Model, tuple[Candidate, ...]]:
        return _fit(called, compared, start, profile, seed, lambda: on_step(next(done), total))

    model, kinds = fit(called, compared)
    learned = {stone_key(stone) for two in comparisons for stone in two} | called.keys
    provenance = Provenance(
        data_sha256=_data_hash(called, compared, profile),
        data="",
        date="",
        versions=library_versions(),
        stones=tuple(sorted(learned.union(base.provenance.stones))),
    )
    report = _judge(called, compared, base, profile, fold, fit, rng)
    report = replace(report, kinds=kinds, moved=_moved(called, compared, base, model, profile))
    report = _with_comparisons(report, called, compared, base, np.random.default_rng([seed, 1]))
    old, new = base.scene.points, model.scene.points
    points = {name: (old[name], new[name]) for name in new}
    if model.familiarity is not None and appearances:
        own = [appearances[stone] for stone in called.stones if stone in appearances]
        model = replace(model, familiarity=model.familiarity.with_own(own))
    model = replace(model, name="retrained", provenance=provenance)
    made_from = LearnedFrom(len(called.stones), len(comparisons), base.label)
    return Retrained(model, report, refused, points, made_from)


def _moved(
    called: CalledFaces, compared: _Compared, old: Model, new: Model, profile: Profile
) -> Moved:
    pairs = zip(compared.stones, compared.pairs, strict=True)
    rows = dict(zip(called.stones, called.rows, strict=True))
    rows |= {stone: row for two, pair in pairs for stone, row in zip(two, pair, strict=True)}
    before, after = ([m.complete(row, profile) for row in rows.values()] for m in (old, new))
    scenes = [np.array([row["scene_score"] for row in faces]) for faces in (before, after)]
    otherwise = old.grade.rungs(before) != new.grade.rungs(after)
    spans = [(float(s.min()), float(s.max())) for s in scenes]
    points = float(np.abs(scenes[1] - scenes[0]).mean())
    return Moved(len(rows), int(otherwise.sum()), points, *spans)


def _fits(called: CalledFaces, fold: NDArray) -> int:
    """How many fits of grade heads it takes: for the model, and for one without each group held out."""
    learned = [np.full(len(fold), True), *(fold != k for k in np.unique(fold))]
    return sum(fits(len(set(called.take(part & (called.rung >= 0)).names))) for part in learned)


def _fit(
    called: CalledFaces,
    compared: _Compared,
    base: Model,
    profile: Profile,
    seed: int,
    fitted: Callable[[], None],
) -> tuple[Model, tuple[Candidate, ...]]:
    """Scene head first: the grade head sees its score. With how its parts do."""
    model = replace(base, scene=_fit_scene(called, compared, base))
    graded = called.take(called.rung >= 0)
    if not graded.stones:
        return model, ()
    rows = [model.complete(row, profile) for row in graded.rows]
    rng = np.random.default_rng(seed)
    head, kinds = learn_head(base.grade, rows, graded.rung, graded.names, rng, fitted)
    return replace(model, grade=head), kinds


def _fit_scene(called: CalledFaces, compared: _Compared, base: Model) -> SceneHead:
    with_scene = called.take(~np.isnan(called.scene))
    return refit_scene(
        base.scene, with_scene.rows, with_scene.scene, with_scene.names, compared.pairs
    )


def _judge(
    called: CalledFaces,
    compared: _Compared,
    base: Model,
    profile: Profile,
    fold: NDArray,
    fit: _Fit,
    rng: np.random.Generator,
) -> RetrainReport:
    graded, with_scene = called.rung >= 0, ~np.isnan(called.scene)
    by_rung = np.bincount(called.rung[graded], minlength=len(profile.grades))
    report = RetrainReport(
        grades=int(graded.sum()),
        scenes=int(with_scene.sum()),
        by_grade=dict(zip(profile.grades, map(int, by_rung), strict=True)),
        old=None,
        new=None,
        gain=None,
        scene_old=None,
        scene_new=None,
        learned_before=called.learned_by(base),
    )
    models = {}
    for k in np.unique(fold):
        held = {stone for stone, at in zip(called.stones, fold, strict=True) if at == k}
        models[k], _ = fit(called.take(fold != k), compared.without(held))
    if graded.sum() >= LEAST_STONES and (by_rung > 0).sum() >= 2:
        old, new = (_rungs(called, fold, m, profile) for m in ([base] * FOLDS, models))
        report = _with_grades(report, called, old, new, len(profile.grades), rng)
    if with_scene.sum() >= LEAST_STONES:
        old, new = (_scenes(called, fold, m) for m in ([base] * FOLDS, models))
        off = [np.abs(s - called.scene)[with_scene] for s in (old, new)]
        stones = called.take(with_scene).names
        figures = [bootstrap(mean_of(o), stones, rng) for o in off]
        report = replace(report, scene_old=figures[0], scene_new=figures[1])
    return report


def _with_comparisons(
    report: RetrainReport,
    called: CalledFaces,
    compared: _Compared,
    base: Model,
    rng: np.random.Generator,
) -> RetrainReport:
    report = replace(report, comparisons=len(compared.stones))
    if len(compared.stones) < LEAST_COMPARISONS:
        return report
    # Both ways of naming two stones are one comparison: they are held out together.
    names = [" ".join(sorted(map(stone_key, two))) for two in compared.stones]
    comparison = np.unique(names, return_inverse=True)[1]
    fold = (rng.permutation(comparison.max() + 1) % FOLDS)[comparison]
    old, new = compared_right(base.scene, compared.pairs), np.zeros(len(fold))
    for k in np.unique(fold):
        held = called.of_same_pieces(
            {stone for two in compared.take(fold == k).stones for stone in two}
        )
        outside = called.take(np.array([stone not in held for stone in called.stones], bool))
        scene = _fit_scene(outside, compared.without(held), base)
        new[fold == k] = compared_right(scene, compared.take(fold == k).pairs)
    figures = [bootstrap(mean_of(v), names, rng) for v in (old, new, new - old)]
    return replace(
        report, comparisons_old=figures[0], comparisons_new=figures[1], comparison_gain=figures[2]
    )


def _with_grades(
    report: RetrainReport, called: CalledFaces, old: NDArray, new: NDArray, n_grades: int, rng
) -> RetrainReport:
    graded = called.rung >= 0
    truth, old, new = called.rung[graded], old[graded], new[graded]
    stones = called.take(graded).names
    both = side_by_side(old, new, truth, n_grades, stones, rng)
    return replace(report, old=both.first, new=both.second, gain=both.gain)


def _rungs(called: CalledFaces, fold: NDArray, models, profile: Profile) -> NDArray[np.intp]:
    """Rungs proposed for each stone by the model that has not seen its group."""
    rungs = np.zeros(len(called.stones), int)
    for k in np.unique(fold):
        held = np.flatnonzero(fold == k)
        rows = [models[k].complete(called.rows[i], profile) for i in held]
        rungs[held] = models[k].grade.rungs(rows)
    return rungs


def _scenes(called: CalledFaces, fold: NDArray, models) -> NDArray[np.float64]:
    scenes = np.zeros(len(called.stones))
    for k in np.unique(fold):
        held = np.flatnonzero(fold == k)
        scenes[held] = models[k].scene.values([called.rows[i] for i in held])
    return scenes


def _data_hash(called: CalledFaces, compared: _Compared, profile: Profile) -> str:
    """Hash of what was learned from: features and calls of every stone, comparisons, and the profile."""
    rows = [
        [list(stone), dict(row), int(rung), None if np.isnan(scene) else float(scene)]
        for stone, row, rung, scene in zip(
            called.stones, called.rows, called.rung, called.scene, strict=True
        )
    ]
    learned = [profile.sha256, rows]
    if compared.stones:
        pairs = zip(compared.stones, compared.pairs, strict=True)
        learned.append([[*map(list, stones), *map(dict, pair)] for stones, pair in pairs])
    text = json.dumps(learned, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
