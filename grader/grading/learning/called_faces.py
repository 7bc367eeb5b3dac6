"""Called faces as rows to learn from, and which of them a model was trained on."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.calls.calls import RowRemark
from grader.grading.calls.comparisons_csv import Stone
from grader.grading.calls.joining import standing_call
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.profile import Profile


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
        """What is kept of them in a model: a key of each face, and of each piece that the seller named."""
        return {key for face in zip(self.stones, self.names, strict=True) for key in _keys(*face)}

    def learned_by(self, model: Model) -> int:
        """How many of them are of a piece that the model was trained on, in this photo or another."""
        return int(self._learned([model]).sum())

    def not_learned_by(self, models: Sequence[Model]) -> "CalledFaces":
        """Return those of pieces that none of the models was trained on."""
        return self.take(~self._learned(models))

    def _learned(self, models: Sequence[Model]) -> NDArray[np.bool_]:
        learned = {key for model in models for key in model.provenance.stones}
        faces = zip(self.stones, self.names, strict=True)
        names = {name for stone, name in faces if learned & _keys(stone, name)}
        return np.array([name in names for name in self.names], bool)

    def of_same_pieces(self, stones: set[Stone]) -> set[Stone]:
        """Return these stones with every called face of the same pieces."""
        faces = list(zip(self.stones, self.names, strict=True))
        names = {name for stone, name in faces if stone in stones}
        return stones | {stone for stone, name in faces if name in names}

    def take(self, keep: NDArray) -> "CalledFaces":
        """Return those faces for which ``keep``, (n,) bool, holds."""
        index = np.flatnonzero(keep)
        rows = [self.rows[i] for i in index]
        stones, names = [self.stones[i] for i in index], [self.names[i] for i in index]
        return CalledFaces(stones, names, rows, self.rung[index], self.scene[index])


def called_faces(
    calls: Sequence[Call], measured: Mapping[Stone, Features], profile: Profile
) -> tuple[CalledFaces, tuple[RowRemark, ...]]:
    """Return called stones in a fixed order, and the calls that cannot be used by their place."""
    by_stone: dict[Stone, list[Call]] = {}
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
            by_stone.setdefault(stone, []).append(call)
    stones, names, rung, scene = [], [], [], []
    for stone in sorted(by_stone):
        call = standing_call(by_stone[stone])
        if call.grade is None and call.scene is None:
            continue
        stones.append(stone)
        names.append(call.stone or _own_name(stone))
        rung.append(-1 if call.grade is None else profile.grades.index(call.grade))
        scene.append(np.nan if call.scene is None else float(call.scene))
    rows = [measured[stone] for stone in stones]
    faces = CalledFaces(stones, names, rows, np.array(rung, int), np.array(scene, float))
    return faces, tuple(refused)


def called_rungs(
    calls: Sequence[Call], measured: Mapping[Stone, Features], profile: Profile
) -> CalledFaces:
    """Return the faces with a called grade that stands, in a fixed order; calls as for ``retrain``."""
    called, _ = called_faces(calls, measured, profile)
    return called.take(called.rung >= 0)


def learned_from(calls: Sequence[Call], model: Model) -> list[bool]:
    """Return whether the model's ensemble has learned from each call's stone, in this photo or by its name."""
    learned = set(model.provenance.stones) if model.grade.calls else set()
    stones = [(call.sha256, call.piece) for call in calls]
    names = [call.stone or _own_name(stone) for call, stone in zip(calls, stones, strict=True)]
    return [bool(learned & _keys(*face)) for face in zip(stones, names, strict=True)]


def stone_key(stone: Stone) -> str:
    """Return what is kept of a face in a model: the beginning of its photo's hash, and its piece."""
    return f"{stone[0][:16]}-{stone[1]}"


def _own_name(stone: Stone) -> str:
    """Name of a face whose piece the seller gave none."""
    return f"{stone[0]}-{stone[1]}"


def _keys(stone: Stone, name: str) -> set[str]:
    """Keys of a face and of the name of its piece, hashed: a model that is handed on tells no names."""
    if name == _own_name(stone):
        return {stone_key(stone)}
    return {stone_key(stone), f"name-{hashlib.sha256(name.encode()).hexdigest()[:16]}"}
