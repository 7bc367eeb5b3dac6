"""A model that follows calls and picks, judged beside the old one on stones held out from the fit; how many of them
the old one has learned from before is told."""

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
from grader.grading.calls.joining import standing_call
from grader.grading.features.rules import Features
from grader.grading.learning.agreement import (
    Agreement,
    Figure,
    beside,
    bootstrap,
    mean_of,
    side_by_side,
)
from grader.grading.learning.candidates import FOLDS, Candidate, choose_head, fits, folds_of
from grader.grading.learning.threads import one_thread
from grader.grading.models.model import Made, Model, library_versions
from grader.grading.models.scene_head import Pair, SceneHead, picked_right, refit_scene
from grader.grading.proposal import Call
from grader.profile import Profile

#: Fewer called stones than this say nothing of how good a model is.
LEAST_STONES = 8

#: Fewer picks than this say nothing of how well the scene score follows them.
LEAST_PICKS = 10

#: The better stone of two, and the other one.
Pick = tuple[Stone, Stone]


@dataclass(frozen=True)
class Retrained:
    """The new model, how it does beside the old one, and which calls could not be used.

    points : of the scene score by one whole unit of each feature, in the old and the new model.
    """

    model: Model
    report: "RetrainReport"
    refused: tuple[RowRemark, ...]
    points: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class RetrainReport:
    """Old and new on the same held-out calls; agreements are ``None`` with too few stones.

    grades, scenes : how many stones have a called grade, a called scene score.
    gain : kappa of the new less kappa of the old, on the same stones.
    scene_old, scene_new : mean distance in points from the called scene score.
    seen_before : stones that the old model was already trained on; on these it looks too good.
    picks : how many side-by-side picks; picks_old, picks_new : share of held-out picks that the
    scene score agrees with, half a one where it is alike; pick_gain : new less old.
    kinds : of grade head, compared on held-out calls.   moved : by how much what is proposed changes.
    """

    grades: int
    scenes: int
    by_grade: dict[str, int]
    old: Agreement | None
    new: Agreement | None
    gain: Figure | None
    scene_old: Figure | None
    scene_new: Figure | None
    seen_before: int
    picks: int = 0
    moved: "Moved | None" = None
    picks_old: Figure | None = None
    picks_new: Figure | None = None
    pick_gain: Figure | None = None
    kinds: tuple[Candidate, ...] = ()

    @property
    def verdict(self) -> str:
        """The first thing to be told, in one line."""
        if self.grades == 0 and self.picks:
            return self._pick_verdict
        if self.gain is None or self.gain.value is None:
            return (
                f"too few calls to judge ({_counted(self.grades, 'stone')} with a grade, in "
                f"{_counted(sum(n > 0 for n in self.by_grade.values()), 'grade')}): "
                "look at its proposals before you use the new model"
            )
        if self.gain.low is None:
            return "too few calls to tell whether the new model is better"
        if self.gain.low > 0:
            return "the new model is better, beyond the uncertainty"
        if self.gain.high < 0:
            return "the new model is worse, beyond the uncertainty: keep the old one"
        return "no difference beyond the uncertainty"

    @property
    def _pick_verdict(self) -> str:
        if self.pick_gain is None or self.pick_gain.low is None:
            return (
                f"too few picks to judge ({self.picks}): the scene score stays close to the old one"
            )
        if self.pick_gain.low > 0:
            return "the new scene score follows your picks better, beyond the uncertainty"
        if self.pick_gain.high < 0:
            return "the new scene score follows your picks worse, beyond the uncertainty: keep the old one"
        return "the scene score: no difference beyond the uncertainty"

    def lines(self) -> list[str]:
        """Return the report as plain lines, the verdict first; 95 % intervals in brackets."""
        told = [self.verdict]
        if self.old is not None and self.new is not None:
            told.append(f"on {self.new.n} held-out calls, 95 % interval in brackets:")
            told.append(f"{'':28}{'old':<24}new")
            told += beside(self.old, self.new, self.gain)
        if self.scene_old is not None:
            told.append(f"{'scene, mean points off':<28}{self.scene_old!s:<24}{self.scene_new}")
        if self.picks_old is not None:
            told.append(f"on {self.picks} picks, held out in turn:")
            told.append(f"{'scene agrees with the pick':<28}{self.picks_old!s:<24}{self.picks_new}")
        if self.seen_before:
            told.append(
                f"the old model has seen {self.seen_before} of these stones: "
                "it looks better here than it is"
            )
        if self.moved is not None:
            told.append(str(self.moved))
        return told


@dataclass(frozen=True)
class Moved:
    """What the new model says otherwise than the old one of the stones called or picked.

    otherwise : how many of them get another grade.   points : by how many a scene score moves, in the mean.
    old, new : least and greatest scene score.
    """

    stones: int
    otherwise: int
    points: float
    old: tuple[float, float]
    new: tuple[float, float]

    def __str__(self) -> str:
        spans = [f"{low:.0f} to {high:.0f}" for low, high in (self.new, self.old)]
        return (
            f"of {_counted(self.stones, 'stone')} called or picked, {self.otherwise} would be graded otherwise than "
            f"before; scenes move {self.points:.0f} points in the mean: {spans[0]}, before {spans[1]}"
        )


@dataclass(frozen=True)
class CalledFaces:
    """Called faces as rows: features, rung (-1 without a grade), scene (nan without).

    names : of the piece that each is a face of: the seller's own, else the photo's and the number.
    """

    stones: list[Stone]
    names: list[str]
    rows: list[Features]
    rung: NDArray[np.intp]
    scene: NDArray[np.float64]

    @property
    def keys(self) -> set[str]:
        """What is kept of them in a model: a key of each face, and of each piece that has a name of the
        seller's."""
        return {key for face in zip(self.stones, self.names, strict=True) for key in _keys(*face)}

    def seen_by(self, model: Model) -> int:
        """How many of them are of a piece that the model was trained on, in this photo or another."""
        return int(self._seen([model]).sum())

    def unseen_by(self, models: Sequence[Model]) -> "CalledFaces":
        """Return those of pieces that none of the models was trained on."""
        return self.take(~self._seen(models))

    def _seen(self, models: Sequence[Model]) -> NDArray[np.bool_]:
        known = {key for model in models for key in model.made.stones}
        faces = zip(self.stones, self.names, strict=True)
        names = {name for stone, name in faces if known & _keys(stone, name)}
        return np.array([name in names for name in self.names], bool)

    def of_same_pieces(self, stones: set[Stone]) -> set[Stone]:
        """Return these stones with every called face of the same pieces."""
        faces = list(zip(self.stones, self.names, strict=True))
        names = {name for stone, name in faces if stone in stones}
        return stones | {stone for stone, name in faces if name in names}

    def take(self, keep: NDArray) -> "CalledFaces":
        index = np.flatnonzero(keep)
        rows = [self.rows[i] for i in index]
        stones, names = [self.stones[i] for i in index], [self.names[i] for i in index]
        return CalledFaces(stones, names, rows, self.rung[index], self.scene[index])


@dataclass(frozen=True)
class _Picked:
    """Picks as stones, the better one first, and as features."""

    stones: list[Pick]
    pairs: list[Pair]

    def take(self, keep: Sequence[bool]) -> "_Picked":
        index = np.flatnonzero(keep)
        return _Picked([self.stones[i] for i in index], [self.pairs[i] for i in index])

    def without(self, stones: set[Stone]) -> "_Picked":
        return self.take([not stones & set(pick) for pick in self.stones])


@one_thread()
def retrain(
    calls: Sequence[Call],
    measured: Mapping[Stone, Features],
    profile: Profile,
    base: Model,
    seed: int = 0,
    *,
    picks: Sequence[Pick] = (),
    name: str = "retrained",
    date: str = "",
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
    picks : (better stone, other stone), from :func:`~grader.grading.calls.comparisons_csv.paired`; only the
        scene score learns from them.
    name, date : of the new model; told in its folder.
    on_step : told how many fits of grade heads are done, of how many, after each of them; all the rest takes a moment.

    Raises
    ------
    CallsError
        No call and no pick can be used.
    """
    called, refused = _called(calls, measured, profile)
    picked = _Picked(list(picks), [(measured[better], measured[other]) for better, other in picks])
    if not called.stones and not picked.stones:
        raise CallsError(
            "no call could be used, and no pick; call some stones first, or mend the rows refused"
        )
    base = base.for_ladder(profile)
    start = base
    if called.take(called.rung >= 0).seen_by(base):
        # The table has grown: it tells the old calls again, and the crowd must not hear them twice.
        start = replace(base, grade=base.grade.unheard)
    rng = np.random.default_rng(seed)
    fold = folds_of(called.names, FOLDS, rng) if called.names else np.zeros(0, int)
    done, total = count(1), _fits(called, fold)

    def fit(called: CalledFaces, picked: _Picked) -> tuple[Model, tuple[Candidate, ...]]:
        return _fit(called, picked, start, profile, seed, lambda: on_step(next(done), total))

    model, kinds = fit(called, picked)
    seen = {_stone_key(stone) for pick in picks for stone in pick} | called.keys
    also = f" and {_counted(len(picks), 'pick')}" if picks else ""
    made = Made(
        data_sha256=_data_hash(called, picked, profile),
        data=f"{_counted(len(called.stones), 'called stone')}{also}, from {base.label}",
        date=date,
        versions=library_versions(),
        stones=tuple(sorted(seen.union(base.made.stones))),
    )
    report = _judge(called, picked, base, profile, fold, fit, rng)
    report = replace(report, kinds=kinds, moved=_moved(called, picked, base, model, profile))
    report = _with_picks(report, called, picked, base, profile, np.random.default_rng([seed, 1]))
    old, new = base.scene.points, model.scene.points
    points = {name: (old[name], new[name]) for name in new}
    return Retrained(replace(model, name=name, made=made), report, refused, points)


def _moved(called: CalledFaces, picked: _Picked, old: Model, new: Model, profile: Profile) -> Moved:
    pairs = zip(picked.stones, picked.pairs, strict=True)
    rows = dict(zip(called.stones, called.rows, strict=True))
    rows |= {stone: row for pick, pair in pairs for stone, row in zip(pick, pair, strict=True)}
    before, after = ([m.complete(row, profile) for row in rows.values()] for m in (old, new))
    scenes = [np.array([row["scene_score"] for row in some]) for some in (before, after)]
    otherwise = old.grade.rungs(before) != new.grade.rungs(after)
    spans = [(float(s.min()), float(s.max())) for s in scenes]
    points = float(np.abs(scenes[1] - scenes[0]).mean())
    return Moved(len(rows), int(otherwise.sum()), points, *spans)


def called_rungs(
    calls: Sequence[Call], measured: Mapping[Stone, Features], profile: Profile
) -> CalledFaces:
    """Return the faces with a called grade that stands, in a fixed order; calls as for :func:`retrain`."""
    called, _ = _called(calls, measured, profile)
    return called.take(called.rung >= 0)


def heard_of(calls: Sequence[Call], model: Model) -> list[bool]:
    """Return whether the crowd of the model has heard of each call's stone, in this photo or by its name."""
    known = set(model.made.stones) if model.grade.calls else set()
    stones = [(call.sha256, call.piece) for call in calls]
    names = [call.stone or _own_name(stone) for call, stone in zip(calls, stones, strict=True)]
    return [bool(known & _keys(*face)) for face in zip(stones, names, strict=True)]


def _called(
    calls: Sequence[Call], measured: Mapping[Stone, Features], profile: Profile
) -> tuple[CalledFaces, tuple[RowRemark, ...]]:
    """Called stones in a fixed order, and the calls that cannot be used by their place."""
    said: dict[Stone, list[Call]] = {}
    refused = []
    for number, call in enumerate(calls, start=1):
        stone = (call.sha256, call.piece)
        if call.grade is not None and call.grade not in profile.grades:
            text = f"{call.photo}: grade {call.grade!r} is not on the ladder; call it again"
            refused.append(RowRemark(number, text))
        elif stone not in measured:
            text = f"{call.photo} piece {call.piece}: not measured; retake the photo or put it back"
            refused.append(RowRemark(number, text))
        else:
            said.setdefault(stone, []).append(call)
    standing = {stone: standing_call(said[stone]) for stone in sorted(said)}
    kept = [(s, c) for s, c in standing.items() if c.grade is not None or c.scene is not None]
    rung = [-1 if c.grade is None else profile.grades.index(c.grade) for _, c in kept]
    scene = [np.nan if c.scene is None else float(c.scene) for _, c in kept]
    stones = [stone for stone, _ in kept]
    rows = [measured[stone] for stone in stones]
    names = [call.stone or _own_name(stone) for stone, call in kept]
    return CalledFaces(stones, names, rows, np.array(rung, int), np.array(scene, float)), tuple(
        refused
    )


def _fits(called: CalledFaces, fold: NDArray) -> int:
    """How many fits of grade heads it takes: for the model, and for one without each group held out."""
    learned = [np.full(len(fold), True), *(fold != k for k in np.unique(fold))]
    return sum(fits(len(set(called.take(some & (called.rung >= 0)).names))) for some in learned)


def _fit(
    called: CalledFaces,
    picked: _Picked,
    base: Model,
    profile: Profile,
    seed: int,
    fitted: Callable[[], None],
) -> tuple[Model, tuple[Candidate, ...]]:
    """Scene head first: the grade head sees its score. With the kinds of grade head compared."""
    model = replace(base, scene=_fit_scene(called, picked, base))
    graded = called.take(called.rung >= 0)
    if not graded.stones:
        return model, ()
    rows = [model.complete(row, profile) for row in graded.rows]
    rng = np.random.default_rng(seed)
    head, kinds = choose_head(base.grade, rows, graded.rung, graded.names, rng, fitted)
    return replace(model, grade=head), kinds


def _fit_scene(called: CalledFaces, picked: _Picked, base: Model) -> SceneHead:
    with_scene = called.take(~np.isnan(called.scene))
    return refit_scene(
        base.scene, with_scene.rows, with_scene.scene, with_scene.names, picked.pairs
    )


def _judge(
    called: CalledFaces,
    picked: _Picked,
    base: Model,
    profile: Profile,
    fold: NDArray,
    fit: Callable[[CalledFaces, _Picked], tuple[Model, tuple[Candidate, ...]]],
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
        seen_before=called.seen_by(base),
    )
    models = {}
    for k in np.unique(fold):
        held = {stone for stone, at in zip(called.stones, fold, strict=True) if at == k}
        models[k], _ = fit(called.take(fold != k), picked.without(held))
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


def _with_picks(
    report: RetrainReport, called: CalledFaces, picked: _Picked, base: Model, profile: Profile, rng
) -> RetrainReport:
    report = replace(report, picks=len(picked.stones))
    if len(picked.stones) < LEAST_PICKS:
        return report
    # Both ways of naming two stones are one comparison: they are held out together.
    names = [" ".join(sorted(map(_stone_key, pick))) for pick in picked.stones]
    comparison = np.unique(names, return_inverse=True)[1]
    fold = (rng.permutation(comparison.max() + 1) % FOLDS)[comparison]
    old, new = picked_right(base.scene, picked.pairs), np.zeros(len(fold))
    for k in np.unique(fold):
        held = called.of_same_pieces(
            {stone for pick in picked.take(fold == k).stones for stone in pick}
        )
        outside = called.take(np.array([stone not in held for stone in called.stones], bool))
        scene = _fit_scene(outside, picked.without(held), base)
        new[fold == k] = picked_right(scene, picked.take(fold == k).pairs)
    figures = [bootstrap(mean_of(v), names, rng) for v in (old, new, new - old)]
    return replace(report, picks_old=figures[0], picks_new=figures[1], pick_gain=figures[2])


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


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _stone_key(stone: Stone) -> str:
    return f"{stone[0][:16]}-{stone[1]}"


def _own_name(stone: Stone) -> str:
    """Name of a face whose piece the seller gave none."""
    return f"{stone[0]}-{stone[1]}"


def _keys(stone: Stone, name: str) -> set[str]:
    """Keys of a face and of the name of its piece, hashed: a model that is handed on tells no names."""
    if name == _own_name(stone):
        return {_stone_key(stone)}
    return {_stone_key(stone), f"name-{hashlib.sha256(name.encode()).hexdigest()[:16]}"}


def _data_hash(called: CalledFaces, picked: _Picked, profile: Profile) -> str:
    """Hash of what was learned from: features and calls of every stone, picks, and the profile."""
    rows = [
        [list(stone), dict(row), int(rung), None if np.isnan(scene) else float(scene)]
        for stone, row, rung, scene in zip(
            called.stones, called.rows, called.rung, called.scene, strict=True
        )
    ]
    learned = [profile.sha256, rows]
    if picked.stones:
        pairs = zip(picked.stones, picked.pairs, strict=True)
        learned.append([[*map(list, stones), *map(dict, pair)] for stones, pair in pairs])
    text = json.dumps(learned, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
