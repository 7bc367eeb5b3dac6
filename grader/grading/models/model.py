"""A model: what proposes a grade, what scores the scene, what stones it knows, and where all that comes from."""

import hashlib
import json
import platform
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from importlib import metadata

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.features import with_scene
from grader.grading.features.rules import Features
from grader.grading.features.scaling import Scaling
from grader.grading.models.familiarity import FamiliarityModel
from grader.grading.models.ordinal import (
    Ordinal,
    grade_probabilities,
    likeliest_grade,
    log_odds,
    logistic,
)
from grader.grading.models.plain import plain_design
from grader.grading.models.prediction_set import WHOLE_LADDER, PredictionSetRule
from grader.grading.models.scene_head import SceneHead
from grader.grading.models.seller_ensemble import SellerEnsemble
from grader.profile import Profile

#: Score of one grade where the rules alone grade: 0.85 sure in the middle of a grade.
RULES_SLOPE = 5.0

#: What a proposal is made of, in words.
RULES_ALONE, SELLERS, DRAWN, PLAIN = (
    "rules alone", "simulated sellers", "drawn odds", "plain weights",
)  # fmt: skip

#: Below this a chance has no log-odds worth telling.
LEAST_BELOW = 1e-9

_LIBRARIES = ("numpy", "scipy", "opencv-python-headless")


@dataclass(frozen=True)
class GradeHead:
    """What proposes a grade of one ladder, lowest first: what was known before the calls, and plain weights.

    Before any call the proportional odds propose. With calls an ensemble of sellers does, where there is one, else the
    odds drawn to the calls; and beside it the plain weights, by the share that held-out calls give them.

    ordinal : odds on scaled features.
    ensemble : simulated sellers, on the same columns; ``None`` for a ladder that they do not know.
    calls : how many stones with a call it has learned from.
    plain, plain_share : odds on :func:`~grader.grading.models.plain.plain_design`, and how much of the chances is
    theirs, 0 to 1; ``None`` and 0 before any call.
    set_rule : which grades belong to a grade set.
    average : of the stones that it knows, by feature, unknown ones as 0; the training mean where no seller has called
    yet.
    """

    grades: tuple[str, ...]
    scaling: Scaling
    ordinal: Ordinal
    ensemble: SellerEnsemble | None = None
    calls: int = 0
    plain: Ordinal | None = None
    plain_share: float = 0.0
    set_rule: PredictionSetRule = WHOLE_LADDER
    average: tuple[float, ...] = ()

    @property
    def usual(self) -> dict[str, float]:
        """The average stone, by feature."""
        return dict(zip(self.scaling.names, self.average or self.scaling.mean, strict=True))

    @property
    def ensemble_share(self) -> float:
        """How much of a proposal is the ensemble's, 0 to 1."""
        return 0.0 if self.ensemble is None or self.calls == 0 else 1.0 - self.plain_share

    @property
    def prior(self) -> "GradeHead":
        """The same as if it had learned from no call, but for the odds of a ladder without an ensemble."""
        ensemble = self.ensemble and self.ensemble.prior
        return replace(self, ensemble=ensemble, calls=0, plain=None, plain_share=0.0)

    @property
    def kind(self) -> str:
        """What it is made of, in words."""
        first = SELLERS if self.ensemble_share > 0 else self._kind_of_odds
        return first if self.plain is None else f"{first} and {PLAIN}"

    @property
    def _kind_of_odds(self) -> str:
        weights = zip(self.scaling.names, self.ordinal.coefficients, strict=True)
        by_rules = all(weight == 0 or name == "rules_grade" for name, weight in weights)
        return RULES_ALONE if by_rules else DRAWN

    def below(self, x: NDArray) -> tuple[NDArray, NDArray | None]:
        """Return (n, K - 1) chances of lying below each border by what was known before, and by the plain weights."""
        if self.ensemble is not None and self.calls:
            first = self.ensemble.below(x)
        else:
            first = logistic(np.array(self.ordinal.cuts) - self.ordinal.score(x)[:, None])
        if self.plain is None:
            return first, None
        score = self.plain.score(plain_design(self.scaling.names, x))
        return first, logistic(np.array(self.plain.cuts) - score[:, None])

    def log_odds_below(self, rows: Sequence[Features]) -> NDArray:
        """Return the (n, K - 1) log-odds of lying below each border of the ladder."""
        first, plain = self.below(self.scaling.design(rows))
        if plain is not None:
            first = (1 - self.plain_share) * first + self.plain_share * plain
        return log_odds(np.clip(first, LEAST_BELOW, 1 - LEAST_BELOW))

    def probabilities(self, rows: Sequence[Features]) -> NDArray:
        """Return (n, K) probabilities, lowest grade first."""
        return grade_probabilities(0.0, self.log_odds_below(rows))

    def expected_grade(self, rows: Sequence[Features]) -> NDArray:
        """Return the (n,) expected grades sum_k k P(grade k), 0 the lowest to K - 1."""
        return self.probabilities(rows) @ np.arange(len(self.grades))

    def rungs(self, rows: Sequence[Features]) -> NDArray[np.intp]:
        """Return the (n,) proposed rungs: the likeliest."""
        return likeliest_grade(self.probabilities(rows))


@dataclass(frozen=True)
class Provenance:
    """Where a model comes from: hash and words of its data, hashes of the stones it has seen, date, versions."""

    data_sha256: str
    data: str
    date: str
    versions: dict[str, str]
    stones: tuple[str, ...] = ()


@dataclass(frozen=True)
class Model:
    """Both heads and where they come from; without ``familiarity`` no stone is unfamiliar to it."""

    name: str
    grade: GradeHead
    scene: SceneHead
    provenance: Provenance
    familiarity: FamiliarityModel | None = None

    @cached_property
    def label(self) -> str:
        """Name and short hash of the parameters (not of the files, which hold a date)."""
        parts = [part for part in (self.grade, self.scene, self.familiarity) if part]
        # Written field by field: a copy of so many numbers takes longer than all else here.
        parameters = json.dumps(parts, default=_fields_of, sort_keys=True)
        return f"{self.name} {hashlib.sha256(parameters.encode()).hexdigest()[:8]}"

    def complete(self, values: Features, profile: Profile) -> dict[str, float | None]:
        """Return the features with the scene head's score in place of the written one: what the grade head sees."""
        return with_scene(values, float(self.scene.values([values])[0]), profile)

    def for_ladder(self, profile: Profile) -> "Model":
        """Return this model, or, for a ladder that it has not learned, the profile's rules with its scene head."""
        if self.grade.grades == profile.grades:
            return self
        return replace(
            self,
            name=f"rules of {profile.name}",
            grade=rules_head(profile.grades, self.grade.scaling),
        )


def rules_head(grades: Sequence[str], scaling: Scaling) -> GradeHead:
    """Return a grade head that follows the written rules alone, for any ladder."""
    at = scaling.names.index("rules_grade")
    # The scaling stops at its reach; a longer ladder than the trained one needs more room.
    room = max(len(grades) / 3.0, scaling.spread[at])
    wide = replace(
        scaling,
        mean=tuple(0.5 * (len(grades) - 1) if i == at else m for i, m in enumerate(scaling.mean)),
        spread=tuple(room if i == at else s for i, s in enumerate(scaling.spread)),
    )
    head = GradeHead(tuple(grades), wide, Ordinal((), ()))
    return replace(head, ordinal=rules_ordinal(head))


def rules_ordinal(head: GradeHead) -> Ordinal:
    """Return the odds that follow the written rules alone, on the scaling of that head."""
    at = head.scaling.names.index("rules_grade")
    mean, spread = head.scaling.mean[at], head.scaling.spread[at]
    coefficients = tuple(
        RULES_SLOPE * spread if i == at else 0.0 for i in range(len(head.scaling.names))
    )
    return Ordinal(
        coefficients, tuple(RULES_SLOPE * (k + 0.5 - mean) for k in range(len(head.grades) - 1))
    )


def library_versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that a model's numbers hang on."""
    return {
        "python": platform.python_version(),
        **{name: metadata.version(name) for name in _LIBRARIES},
    }


def _fields_of(part) -> dict:
    return {field.name: getattr(part, field.name) for field in fields(part)}
