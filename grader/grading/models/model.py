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
import os
import platform
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property, lru_cache
from importlib import metadata
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from grader.errors import GraderError, ModelError, told
from grader.files import new_folder, parse_json, regular_bytes, sync_folder, write_text
from grader.grading.features.features import FEATURES, with_scene
from grader.grading.features.rules import Features
from grader.grading.features.scaling import Scaling
from grader.grading.models import model_values as held
from grader.grading.models.familiarity import LOOK_NAMES, Known, check_known
from grader.grading.models.ordinal import Ordinal, grade_probabilities, logistic, median_grade
from grader.grading.models.prediction_set import LEVEL, WHOLE_LADDER, SetRule
from grader.grading.models.scene_head import SceneHead
from grader.grading.models.seller_ensemble import Crowd
from grader.grading.models.trees import Boosted, Tree, Trees
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
#: Far above what the largest crowd takes (the starter's has 0.3 MB).
MOST_PART_BYTES = 20_000_000
#: What a model's folder holds.
FILES = frozenset((*(f"{name}.json" for name in _PARTS), "card.md"))
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
) -> Path | None:
    """Make ``folder`` the model's, whole or not at all, and return where the model that was there is kept now;
    ``None`` where there was none, or the same.

    A kill, a power cut or a full disk at any step leaves the old model or the new one readable:
    :func:`load_model_as` finds it. ``samples`` are features of some faces.

    Raises
    ------
    GraderError
        The folder is no place for a model (:func:`check_place`), or it cannot be written to: one line.
    """
    folder = Path(folder)
    check_place(folder)
    before, kept, part = _written_label(folder), None, None
    texts = model_files(model, samples, card, profile)
    try:
        part = new_folder(folder)
        for name, text in texts.items():
            write_text(part / name, text)
        sync_folder(part)
        if before is not None:
            kept = next(path for path in _asides(folder, before) if not path.exists())
            os.rename(folder, kept)
        elif folder.exists():
            folder.rmdir()
        try:
            os.rename(part, folder)
        except OSError:
            if kept is not None:
                os.rename(kept, folder)
            raise
        sync_folder(folder.parent)
    except (OSError, GraderError) as err:
        _forget(part)
        reason = err.strerror if isinstance(err, OSError) else err.__cause__.strerror
        raise GraderError(
            f"{folder}: cannot be written ({reason}), so it is as it was; make room there, "
            "or choose another folder",
            "output",
        ) from err
    if before == model.label:
        _forget(kept)
        return None
    return kept


def check_place(folder: Path) -> None:
    """Refuse a folder that a model must not be written into: one that holds what is no model of ours.

    Raises
    ------
    GraderError
        One line naming the folder and a file in it.
    """
    if Path(folder).name in ("", ".."):
        raise GraderError(f"{folder}: give the model a folder of its own, as my-model", "output")
    try:
        there = sorted(os.listdir(folder))
    except FileNotFoundError:
        return
    except OSError as err:
        raise GraderError(
            f"{folder}: cannot be written ({err.strerror}); choose another folder", "output"
        ) from err
    if there and _written_label(folder) is None:
        raise GraderError(
            f"{folder}: holds files that are no model, as {there[0]}; choose another folder",
            "output",
        )


def _written_label(folder: Path) -> str | None:
    """What the files of a folder call their model; ``None`` where they are no model of ours."""
    try:
        label = parse_json(regular_bytes(folder / "grade.json", MOST_PART_BYTES))["label"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return label if isinstance(label, str) and _LABEL.fullmatch(label) else None


#: Name and short hash: what a folder is called after must hold no sign of a path.
_LABEL = re.compile(r"(?s).* [0-9a-f]{8}")


def _asides(folder: Path, label: str) -> Iterator[Path]:
    """Where a model of that label may be kept that was in this folder before, the first place first."""
    first = aside_of(folder, label)
    yield first
    for number in range(2, 1000):
        yield first.with_name(f"{first.name}-{number}")


def _forget(folder: Path | None) -> None:
    """Remove the files of a model, and its folder where nothing else is in it."""
    if folder is None:
        return
    try:
        if folder.is_symlink():
            folder.unlink()
            return
        for path in folder.iterdir():
            if path.name in FILES or path.suffix == ".part":
                path.unlink()
        folder.rmdir()
    except OSError:  # what is left does no harm, and the model is saved
        return


def model_files(
    model: Model, samples: Sequence[Features], card: str, profile: Profile
) -> dict[str, str]:
    """Return the text of each file of a model by its name."""
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
    texts = {
        f"{name}.json": json.dumps(content, indent=1, allow_nan=False) + "\n"
        for name, content in parts
    }
    return texts | {"crowd.json": _crowd_json(head, model.grade), "card.md": card}


def aside_of(folder: Path, label: str) -> Path:
    """Return where a model of that label is kept that was in this folder before."""
    return folder.with_name(f"{folder.name}-{label.rsplit(' ', 1)[-1]}")


def place_of(folder: Path, label: str) -> Path:
    """Return where the model of that label lies that was put into that folder: there, or kept beside it.

    Raises
    ------
    ModelError
        As :func:`load_model_as`.
    """
    load_model_as(folder, label)
    places = (folder, *(_asides(folder, label) if _LABEL.fullmatch(label) else ()))
    return next(place for place in places if _written_label(place) == label)


def load_model_as(folder: str | Path | None, label: str) -> Model:
    """Return the model of that label: that of the folder, else the one that was there and is kept beside it.

    What ships has changed where the tool was installed anew, and is taken as it is: ``None`` is the starter, whatever
    its label.

    Raises
    ------
    ModelError
        Neither is that model: one line that says why not.
    """
    if folder is None:
        return load_model()
    why = f"it holds another model than {label}"
    try:
        model = load_model(folder)
        if model.label == label:
            return model
    except ModelError as err:
        why = str(err).removeprefix(f"{folder}: ")
    for kept in _asides(Path(folder), label) if _LABEL.fullmatch(label) else ():
        if not kept.exists():
            break
        try:
            model = load_model(kept)
        except ModelError:
            continue
        if model.label == label:
            return model
    raise ModelError(
        f"{folder}: the model in use is not there, nor kept beside it ({why}); "
        "name another with `grader models --use`"
    )


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
        if len({told(part["label"]) for part in (grade, crowd, scene, known, sample)}) > 1:
            raise ModelError(f"{folder}: its files are of different models; {mend}")
        model = Model(
            name=held.text("name", grade["name"]),
            grade=_grade_head(grade, crowd),
            scene=_scene_head(scene),
            made=_made(grade["made"]),
            known=_known(known["known"]),
        )
        grown = model.grade.trees.names if model.grade.trees else ()
        unknown = {*model.grade.scaling.names, *model.scene.scaling.names, *grown} - set(FEATURES)
        if unknown:
            raise ModelError(
                f"{folder}: the model wants {told(min(unknown))}, which is not measured; {mend}"
            )
        _check_units(grade, scene, folder, mend)
        _check_sample(model, sample["faces"], folder, mend)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError) as err:
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
        content = parse_json(regular_bytes(path, MOST_PART_BYTES).decode("utf-8"))
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
            raise ModelError(
                f"{path}: made for {words} {told(theirs)}, this program has {ours}; {mend}"
            )
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


def _scaling(rows: object) -> tuple[Scaling, tuple[float, ...]]:
    if not isinstance(rows, list):
        raise ValueError("features is no list")
    names = held.texts("features", [row["name"] for row in rows])
    return Scaling(
        names,
        tuple(held.number(f"mean of {row['name']}", row["mean"]) for row in rows),
        tuple(held.number(f"spread of {row['name']}", row["spread"], 1e-6) for row in rows),
    ), tuple(held.number(f"coefficient of {row['name']}", row["coefficient"]) for row in rows)


def _crowd_json(head: Mapping, grade: GradeHead) -> str:
    """The crowd, each seller on a line of its own: coefficients, cuts, and how likely he is."""
    columns = [*grade.scaling.names, *(f"cut {k + 1}" for k in range(len(grade.grades) - 1))]
    rows = [] if grade.crowd is None else grade.crowd.rows
    lines = ",\n".join(json.dumps(row, allow_nan=False) for row in rows)
    top = json.dumps({**head, "columns": [*columns, "chance"]}, indent=1, allow_nan=False)
    return top.removesuffix("\n}") + f',\n "sellers": [\n{lines}\n]\n}}\n'


def _crowd(content: Mapping, columns: int, cuts: int) -> Crowd | None:
    if not content["sellers"]:
        return None
    width = columns + cuts + 1
    rows = np.array(content["sellers"])
    if rows.ndim != 2 or rows.shape[1] != width or rows.dtype.kind not in "if":
        raise ValueError(f"a seller of the crowd needs {width} numbers")
    if not (np.abs(rows) <= held.MOST).all():
        raise ValueError("the numbers of a seller of the crowd are too large")
    chances = rows[:, -1]
    if not ((chances >= 0) & (chances <= 1)).all() or not 0.5 <= chances.sum() <= 1.5:
        raise ValueError("the chances of the crowd do not add up to 1")
    # The numbers as they stand: those of numpy would be other ones in the model's label.
    rows = [tuple(map(float, row)) for row in content["sellers"]]
    return Crowd(
        tuple(row[:columns] for row in rows),
        tuple(row[columns:-1] for row in rows),
        tuple(row[-1] for row in rows),
    )


def _made(content: Mapping) -> Made:
    versions = content["versions"]
    if not isinstance(versions, dict):
        raise ValueError("versions are not by name")
    return Made(
        held.text("data_sha256", content["data_sha256"]),
        held.text("data", content["data"], held.MOST_WORDS),
        held.text("date", content["date"]),
        {held.text("a version", k): held.text("a version", v) for k, v in versions.items()},
        held.texts("stones", content["stones"]),
    )


def _grade_head(content: Mapping, crowd: Mapping) -> GradeHead:
    scaling, coefficients = _scaling(content["features"])
    grades, cuts = held.texts("ladder", content["ladder"]), held.numbers("cuts", content["cuts"])
    if len(grades) < 2 or len(cuts) != len(grades) - 1 or list(cuts) != sorted(cuts):
        raise ValueError(f"{len(grades)} grades need {len(grades) - 1} rising cuts")
    sets = SetRule(
        held.number("least of the set", content["set"]["least"], 0, 1),
        held.whole("n of the set", content["set"]["n"]),
    )
    usual = held.numbers("usual", [row["usual"] for row in content["features"]])
    return GradeHead(
        grades,
        scaling,
        Ordinal(coefficients, cuts),
        _crowd(crowd, len(coefficients), len(cuts)),
        held.whole("calls", content["calls"]),
        content["alone"] is True,
        _trees(content["trees"], grades),
        sets,
        () if usual == scaling.mean else usual,
    )


def _known(content: Mapping | None) -> Known | None:
    if content is None:
        return None
    names = held.texts("names of looks", content["names"], LOOK_NAMES)
    n = len(names)
    if n == 0 or not isinstance(content["inverse"], list) or len(content["inverse"]) != n:
        raise ValueError(f"{n} looks need an inverse of {n} rows")
    known = Known(
        names,
        held.numbers("mean of looks", content["mean"], n),
        held.numbers("spread of looks", content["spread"], n, 1e-6),
        tuple(held.numbers("inverse of looks", row, n) for row in content["inverse"]),
        held.number("far", content["far"], 0),
        held.numbers("weights of looks", content["weights"], 2 * n + 1),
        held.number("likelier", content["likelier"]),
    )
    check_known(known)
    return known


def _trees(content: Mapping | None, grades: Sequence[str]) -> Trees | None:
    if content is None:
        return None
    names = held.texts("names of trees", content["names"])
    borders = tuple(
        Boosted(
            held.number("base of a border", border["base"]),
            tuple(_tree(tree, len(names)) for tree in border["trees"]),
        )
        for border in content["borders"]
    )
    if len(borders) != len(grades) - 1:
        raise ValueError(f"{len(grades)} grades need trees for {len(grades) - 1} borders")
    return Trees(names, borders)


def _tree(content: Mapping, columns: int) -> Tree:
    """Columns as they are written; a node leads only to later ones, so that reading it always ends."""
    n = len(content["feature"])
    if n == 0 or any(len(column) != n for column in content.values()):
        raise ValueError("the columns of a tree are not of one length")
    tree = Tree(
        tuple(held.whole("feature of a tree", v, -1, columns - 1) for v in content["feature"]),
        # The largest threshold there is parts what is known from what is not.
        held.numbers(
            "at_most of a tree", content["at_most"], n, -np.finfo(float).max, np.finfo(float).max
        ),
        tuple(bool(v) for v in content["unknown_left"]),
        tuple(held.whole("left of a tree", v, 0, n - 1) for v in content["left"]),
        tuple(held.whole("right of a tree", v, 0, n - 1) for v in content["right"]),
        held.numbers("value of a tree", content["value"], n),
    )
    for node, asked in enumerate(tree.feature):
        if asked >= 0 and not (node < tree.left[node] and node < tree.right[node]):
            raise ValueError(f"node {node} of a tree leads back")
    return tree


def _scene_head(content: Mapping) -> SceneHead:
    scaling, coefficients = _scaling(content["features"])
    return SceneHead(
        scaling,
        coefficients,
        held.number("base", content["base"]),
        held.number("below", content["below"], 0, 100),
        held.number("above", content["above"], 0, 100),
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
                f"{folder}: {row['name']} is in {told(row['unit'])} there and in {unit!r} here; {mend}"
            )


def _check_sample(model: Model, faces: Sequence[Mapping], folder: Path, mend: str) -> None:
    for number, face in enumerate(faces, start=1):
        got = _expected(model, held.features(f"face {number}", face["features"], FEATURES))
        off = np.abs(np.subtract(got["probabilities"], face["probabilities"])).max()
        if not off <= 1e-5 or not abs(got["scene"] - face["scene"]) <= 1e-2:
            raise ModelError(
                f"{folder}: face {number} of the model's own sample comes out otherwise; {mend}"
            )
    if not faces:
        raise ModelError(f"{folder}: the model's sample is empty; {mend}")
