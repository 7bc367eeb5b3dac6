"""A model: grade head and scene head, kept in a folder of readable JSON that runs no code.

grade.json    scaling, coefficients and cuts of the grade head, its trees if it has any, its grade sets
crowd.json    simulated sellers on the same columns, and how likely each is
scene.json    scaling, coefficients and range of the scene head
sample.json   some faces with the output that the model must give for them
known.json    what the stones look like that it knows
card.md       what it was made from, how good it is, what it cannot do
"""

import hashlib
import json
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property, lru_cache
from importlib import metadata
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError
from grader.files import write_text
from grader.grading.crowd import Crowd
from grader.grading.features import FEATURES, with_scene
from grader.grading.grade_set import LEVEL, WHOLE_LADDER, SetRule
from grader.grading.ordinal import Ordinal, grade_probabilities, logistic, median_grade
from grader.grading.rules import Features
from grader.grading.scaling import Scaling
from grader.grading.scene_head import SceneHead
from grader.grading.strangers import Known
from grader.grading.trees import Boosted, Tree, Trees
from grader.measures import MEASUREMENT_VERSION
from grader.photo.net import starter_folder
from grader.profile import Profile

#: Raised when the files of a model folder change their form.
FORMAT = 4

#: Score of one grade where the rules alone grade: 0.85 sure in the middle of a grade.
RULES_SLOPE = 5.0

#: Kinds of grade head, in words.
RULES_ALONE, LOGIT_AND_CROWD, LOGIT, TREES = (
    "rules alone", "logit and crowd", "cumulative logit", "trees",
)  # fmt: skip

#: As many calls as this count as much as the whole crowd does.
CROWD_CALLS = 80

#: Below this a chance of the crowd has no log-odds worth telling.
LEAST_BELOW = 1e-9

_PARTS = ("grade", "crowd", "scene", "known", "sample")
_LIBRARIES = ("numpy", "scipy", "opencv-python-headless")


@dataclass(frozen=True)
class GradeHead:
    """What proposes a grade of one ladder, lowest first: proportional odds on scaled features, once there are calls
    together with a crowd of sellers; or, where there are trees, the trees. Odds and crowd stay beside those as what a
    later retraining starts from.

    crowd : simulated sellers, on the same columns; ``None`` for a ladder that they do not know.
    calls : how many stones with a call the crowd has heard of.   alone : the crowd has no say, since the seller is none
    of it.   sets : which grades belong to a grade set.
    average : of the stones that it knows, by feature, unknown ones as 0; the training mean where no seller has called
    yet.
    """

    grades: tuple[str, ...]
    scaling: Scaling
    ordinal: Ordinal
    crowd: Crowd | None = None
    calls: int = 0
    alone: bool = False
    trees: Trees | None = None
    sets: SetRule = WHOLE_LADDER
    average: tuple[float, ...] = ()

    @property
    def usual(self) -> dict[str, float]:
        """The average stone, by feature."""
        return dict(zip(self.scaling.names, self.average or self.scaling.mean, strict=True))

    @property
    def crowd_share(self) -> float:
        """How much of a proposal is the crowd's: nothing before any call, then the less the more calls there are."""
        if self.crowd is None or self.calls == 0 or self.alone:
            return 0.0
        return CROWD_CALLS / (CROWD_CALLS + self.calls)

    @property
    def unheard(self) -> "GradeHead":
        """The same with a crowd that has heard of no call."""
        return replace(self, crowd=self.crowd and self.crowd.unheard, calls=0)

    @property
    def kind(self) -> str:
        """What it is, in words."""
        if self.trees is not None:
            return TREES
        if self.crowd_share > 0:
            return LOGIT_AND_CROWD
        by_rules = zip(self.scaling.names, self.ordinal.coefficients, strict=True)
        alone = all(value == 0 or name == "rules_position" for name, value in by_rules)
        return RULES_ALONE if alone else LOGIT

    def away(self, rows: Sequence[Features]) -> NDArray:
        """Return (n, K - 1): the log-odds of lying below each border of the ladder."""
        if self.trees is not None:
            return -self.trees.log_odds(rows)
        x = self.scaling.design(rows)
        away = np.array(self.ordinal.cuts) - self.ordinal.score(x)[:, None]
        share = self.crowd_share
        if share == 0:
            return away
        below = share * self.crowd.below(x) + (1 - share) * logistic(away)
        below = np.clip(below, LEAST_BELOW, 1 - LEAST_BELOW)
        return np.log(below / (1 - below))

    def probabilities(self, rows: Sequence[Features]) -> NDArray:
        """Return (n, K) probabilities, lowest grade first."""
        return grade_probabilities(0.0, self.away(rows))

    def places(self, rows: Sequence[Features]) -> NDArray:
        """Return the (n,) mean places on the ladder, 0 the lowest grade to K - 1."""
        return self.probabilities(rows) @ np.arange(len(self.grades))

    def rungs(self, rows: Sequence[Features]) -> NDArray[np.intp]:
        """Return the (n,) proposed rungs: the median of the probabilities."""
        return median_grade(self.probabilities(rows))


@dataclass(frozen=True)
class Made:
    """Where a model comes from: hash and words of its data, hashes of the stones it has seen, date,
    library versions."""

    data_sha256: str
    data: str
    date: str
    versions: dict[str, str]
    stones: tuple[str, ...] = ()


@dataclass(frozen=True)
class Model:
    """Both heads and where they come from; ``known`` is what its stones look like, without it none is a stranger."""

    name: str
    grade: GradeHead
    scene: SceneHead
    made: Made
    known: Known | None = None

    @cached_property
    def label(self) -> str:
        """Name and short hash of the parameters (not of the files, which hold a date)."""
        parameters = json.dumps(
            [asdict(part) for part in (self.grade, self.scene, self.known) if part], sort_keys=True
        )
        return f"{self.name} {hashlib.sha256(parameters.encode()).hexdigest()[:8]}"

    def complete(self, values: Features, profile: Profile) -> dict[str, float | None]:
        """Return the features with the scene head's score in place of the plain sum: what the grade
        head sees."""
        return with_scene(values, float(self.scene.values([values])[0]), profile)

    def for_ladder(self, profile: Profile) -> "Model":
        """Return this model, or, for a ladder that it has not learned, the profile's rules with the
        same scene head."""
        if self.grade.grades == profile.grades:
            return self
        return replace(
            self,
            name=f"rules of {profile.name}",
            grade=rules_head(profile.grades, self.grade.scaling),
        )


def rules_head(grades: Sequence[str], scaling: Scaling) -> GradeHead:
    """Return a grade head that follows the written rules alone, for any ladder."""
    at = scaling.names.index("rules_position")
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
    at = head.scaling.names.index("rules_position")
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


def save_model(
    model: Model, folder: Path, samples: Sequence[Features], card: str, profile: Profile
) -> None:
    """Write the files into ``folder``, made where it is missing; ``samples`` are features of
    some faces."""
    head = {
        "format": FORMAT,
        "measurement_version": MEASUREMENT_VERSION,
        "name": model.name,
        "label": model.label,
        "made": asdict(model.made),
    }
    grade = {
        **head,
        "ladder": list(model.grade.grades),
        "features": [
            row | {"usual": model.grade.usual[row["name"]]}
            for row in _features_json(model.grade.scaling, model.grade.ordinal.coefficients)
        ],
        "cuts": list(model.grade.ordinal.cuts),
        "calls": model.grade.calls,
        "alone": model.grade.alone,
        "set": {"level": LEVEL, **asdict(model.grade.sets)},
        "trees": model.grade.trees and asdict(model.grade.trees),
    }
    scene = {
        **head,
        "features": _features_json(model.scene.scaling, model.scene.coefficients),
        "base": model.scene.base,
        "below": model.scene.below,
        "above": model.scene.above,
    }
    faces = [model.complete(values, profile) for values in samples]
    sample = {**head, "faces": [{"features": f, **_expected(model, f)} for f in faces]}
    known = {**head, "known": model.known and asdict(model.known)}
    parts = (("grade", grade), ("scene", scene), ("known", known), ("sample", sample))
    for name, content in parts:
        write_text(folder / f"{name}.json", json.dumps(content, indent=1, allow_nan=False) + "\n")
    write_text(folder / "crowd.json", _crowd_json(head, model.grade))
    write_text(folder / "card.md", card)


def set_aside(folder: Path, label: str) -> Path | None:
    """Move a folder that holds another model than that of this label beside itself, and return where it lies now;
    ``None`` where there is none. No model that was made is lost by making a new one of its name."""
    try:
        there = json.loads((folder / "grade.json").read_text("utf-8"))["label"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    beside = aside_of(folder, there)
    if there == label or beside.exists():
        return None
    folder.rename(beside)
    return beside


def aside_of(folder: Path, label: str) -> Path:
    """Return where a model of that label is kept that was in this folder before."""
    return folder.with_name(f"{folder.name}-{label.rsplit(' ', 1)[-1]}")


def load_model(folder: str | Path | None = None) -> Model:
    """Return the model of that folder; ``None`` is the starter that ships.

    Raises
    ------
    ModelError
        No model there, another format or measurement version, unknown features, or a sample that
        does not
        come out as written: one line with the command that makes the folder anew.
    """
    where = starter_folder() if folder is None else Path(folder)
    stamps = tuple(_stamp(where / f"{name}.json") for name in _PARTS)
    return _load(where, stamps, _mend(folder))


@lru_cache(maxsize=4)
def _load(folder: Path, stamps: tuple, mend: str) -> Model:
    grade, crowd, scene, known, sample = (_read(folder / f"{name}.json", mend) for name in _PARTS)
    try:
        model = Model(
            name=grade["name"],
            grade=_grade_head(grade, crowd),
            scene=_scene_head(scene),
            made=Made(**{**grade["made"], "stones": tuple(grade["made"]["stones"])}),
            known=_known(known["known"]),
        )
        grown = model.grade.trees.names if model.grade.trees else ()
        unknown = {*model.grade.scaling.names, *model.scene.scaling.names, *grown} - set(FEATURES)
        if unknown:
            raise ModelError(
                f"{folder}: the model wants {min(unknown)!r}, which is not measured; {mend}"
            )
        _check_units(grade, scene, folder, mend)
        _check_sample(model, sample["faces"], folder, mend)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as err:
        raise ModelError(
            f"{folder}: the model's files do not hold what they should ({err}); {mend}"
        ) from err
    return model


def _mend(folder: str | Path | None) -> str:
    command = "python -m grader.starter" if folder is None else "grader retrain"
    return f"make it anew with `{command}`"


def _stamp(path: Path) -> tuple[int, int]:
    try:
        stat = path.stat()
    except OSError:
        return (0, 0)
    return stat.st_mtime_ns, stat.st_size


def _read(path: Path, mend: str) -> dict:
    try:
        content = json.loads(path.read_text("utf-8"))
    except FileNotFoundError as err:
        if not path.parent.is_dir():
            raise ModelError(
                f"{path.parent}: no such folder; grader models lists those here"
            ) from err
        raise ModelError(f"{path}: no model can be read there ({err.strerror}); {mend}") from err
    except OSError as err:
        raise ModelError(f"{path}: no model can be read there ({err.strerror}); {mend}") from err
    except ValueError as err:
        raise ModelError(f"{path}: not a model file ({err}); {mend}") from err
    for key, ours in (("format", FORMAT), ("measurement_version", MEASUREMENT_VERSION)):
        theirs = content.get(key) if isinstance(content, dict) else None
        if theirs != ours:
            words = key.replace("_", " ")
            raise ModelError(f"{path}: made for {words} {theirs}, this program has {ours}; {mend}")
    return content


def _features_json(scaling: Scaling, coefficients: Sequence[float]) -> list[dict]:
    """One readable row per feature, in order."""
    return [
        {
            "name": name,
            "unit": FEATURES[name].unit,
            "mean": mean,
            "spread": spread,
            "coefficient": coefficient,
        }
        for name, mean, spread, coefficient in zip(
            scaling.names, scaling.mean, scaling.spread, coefficients, strict=True
        )
    ]


def _scaling(rows: Sequence[Mapping]) -> tuple[Scaling, tuple[float, ...]]:
    names = tuple(row["name"] for row in rows)
    mean, spread, coefficients = (
        tuple(float(row[key]) for row in rows) for key in ("mean", "spread", "coefficient")
    )
    return Scaling(names, mean, spread), coefficients


def _crowd_json(head: Mapping, grade: GradeHead) -> str:
    """The crowd, each seller on a line of its own: coefficients, cuts, and how likely he is."""
    columns = [*grade.scaling.names, *(f"cut {k + 1}" for k in range(len(grade.grades) - 1))]
    rows = [] if grade.crowd is None else grade.crowd.rows
    lines = ",\n".join(json.dumps(row, allow_nan=False) for row in rows)
    top = json.dumps({**head, "columns": [*columns, "chance"]}, indent=1, allow_nan=False)
    return top.removesuffix("\n}") + f',\n "sellers": [\n{lines}\n]\n}}\n'


def _crowd(content: Mapping, columns: int, cuts: int) -> Crowd | None:
    rows = [tuple(map(float, row)) for row in content["sellers"]]
    if not rows:
        return None
    if any(len(row) != columns + cuts + 1 for row in rows):
        raise ValueError(f"a seller of the crowd needs {columns + cuts + 1} numbers")
    return Crowd(
        tuple(row[:columns] for row in rows),
        tuple(row[columns:-1] for row in rows),
        tuple(row[-1] for row in rows),
    )


def _grade_head(content: Mapping, crowd: Mapping) -> GradeHead:
    scaling, coefficients = _scaling(content["features"])
    grades, cuts = tuple(content["ladder"]), tuple(float(cut) for cut in content["cuts"])
    if len(cuts) != len(grades) - 1 or list(cuts) != sorted(cuts):
        raise ValueError(f"{len(grades)} grades need {len(grades) - 1} rising cuts")
    sets = SetRule(float(content["set"]["least"]), int(content["set"]["n"]))
    usual = tuple(float(row["usual"]) for row in content["features"])
    return GradeHead(
        grades,
        scaling,
        Ordinal(coefficients, cuts),
        _crowd(crowd, len(coefficients), len(cuts)),
        int(content["calls"]),
        content["alone"] is True,
        _trees(content["trees"], grades),
        sets,
        () if usual == scaling.mean else usual,
    )


def _known(content: Mapping | None) -> Known | None:
    if content is None:
        return None
    inverse = tuple(tuple(float(v) for v in row) for row in content["inverse"])
    return Known(
        tuple(content["names"]),
        *(tuple(map(float, content[name])) for name in ("mean", "spread")),
        inverse,
        float(content["far"]),
        tuple(map(float, content["weights"])),
        float(content["likelier"]),
    )


def _trees(content: Mapping | None, grades: Sequence[str]) -> Trees | None:
    if content is None:
        return None
    borders = tuple(
        Boosted(float(border["base"]), tuple(_tree(tree) for tree in border["trees"]))
        for border in content["borders"]
    )
    if len(borders) != len(grades) - 1:
        raise ValueError(f"{len(grades)} grades need trees for {len(grades) - 1} borders")
    return Trees(tuple(content["names"]), borders)


def _tree(content: Mapping) -> Tree:
    """Columns as they are written; a node leads only to later ones, so that reading it always ends."""
    tree = Tree(**{name: tuple(column) for name, column in content.items()})
    for node, asked in enumerate(tree.feature):
        if asked >= 0 and not (node < tree.left[node] and node < tree.right[node]):
            raise ValueError(f"node {node} of a tree leads back")
    return tree


def _scene_head(content: Mapping) -> SceneHead:
    scaling, coefficients = _scaling(content["features"])
    return SceneHead(
        scaling,
        coefficients,
        float(content["base"]),
        float(content["below"]),
        float(content["above"]),
    )


def _expected(model: Model, complete: Features) -> dict:
    return {
        "probabilities": [round(float(p), 6) for p in model.grade.probabilities([complete])[0]],
        "scene": round(float(model.scene.values([complete])[0]), 4),
    }


def _check_units(grade: Mapping, scene: Mapping, folder: Path, mend: str) -> None:
    for row in (*grade["features"], *scene["features"]):
        if row["unit"] != FEATURES[row["name"]].unit:
            unit = FEATURES[row["name"]].unit
            raise ModelError(
                f"{folder}: {row['name']} is in {row['unit']!r} there and in {unit!r} here; {mend}"
            )


def _check_sample(model: Model, faces: Sequence[Mapping], folder: Path, mend: str) -> None:
    for number, face in enumerate(faces, start=1):
        got = _expected(model, face["features"])
        off = np.abs(np.subtract(got["probabilities"], face["probabilities"])).max()
        if not off <= 1e-5 or not abs(got["scene"] - face["scene"]) <= 1e-2:
            raise ModelError(
                f"{folder}: face {number} of the model's own sample comes out otherwise; {mend}"
            )
    if not faces:
        raise ModelError(f"{folder}: the model's sample is empty; {mend}")
