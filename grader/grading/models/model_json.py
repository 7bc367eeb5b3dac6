"""A model as plain data, part by part, and back again with every value checked.

grade            ladder, scaling, coefficients and cuts of the grade head, its plain weights if any, its grade sets
seller_ensemble  simulated sellers on the same columns, and how likely each is
scene            scaling, coefficients and range of the scene head
familiarity      what the stones look like that it knows
sample           some faces with the output that the model must give for them
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict

import numpy as np

from grader.errors import ModelError, quoted
from grader.grading.features.features import FEATURES
from grader.grading.features.rules import Features
from grader.grading.features.scaling import Scaling
from grader.grading.models import model_values as held
from grader.grading.models.familiarity import (
    APPEARANCE_NAMES,
    FamiliarityModel,
    check_familiarity,
)
from grader.grading.models.model import GradeHead, Model, Provenance
from grader.grading.models.ordinal import Ordinal
from grader.grading.models.plain import plain_columns
from grader.grading.models.prediction_set import LEVEL, PredictionSetRule
from grader.grading.models.scene_head import SceneHead
from grader.grading.models.seller_ensemble import SellerEnsemble
from grader.measures import MEASUREMENT_VERSION
from grader.profile import Profile

#: Raised when the files of a model folder change their form.
FORMAT = 7

#: The parts of a model, each a file of that name.
PARTS = ("grade", "seller_ensemble", "scene", "familiarity", "sample")


def model_texts(model: Model, samples: Sequence[Features], profile: Profile) -> dict[str, str]:
    """Return the JSON text of each part of a model by its name; ``samples`` are features of some faces."""
    head = {
        "format": FORMAT,
        "measurement_version": MEASUREMENT_VERSION,
        "name": model.name,
        "label": model.label,
        "provenance": asdict(model.provenance),
    }
    faces = [model.complete(values, profile) for values in samples]
    parts = {
        "grade": _grade_json(model.grade),
        "scene": {
            "features": _features_json(model.scene.scaling, model.scene.coefficients),
            "base": model.scene.base,
            "below": model.scene.below,
            "above": model.scene.above,
        },
        "sample": {"faces": [{"features": f, **_expected(model, f)} for f in faces]},
    }
    texts = {
        name: json.dumps({**head, **content}, indent=1, allow_nan=False) + "\n"
        for name, content in parts.items()
    }
    return texts | {
        "seller_ensemble": _ensemble_json(head, model.grade),
        "familiarity": _familiarity_json(head, model.familiarity),
    }


def model_from(parts: Mapping[str, Mapping]) -> Model:
    """Return the model of parts by name, as read from their JSON.

    Raises
    ------
    KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError
        A value is missing or is not what it should be.
    """
    grade = parts["grade"]
    return Model(
        name=held.text("name", grade["name"]),
        grade=_grade_head(grade, parts["seller_ensemble"]),
        scene=_scene_head(parts["scene"]),
        provenance=_provenance(grade["provenance"]),
        familiarity=_familiarity(parts["familiarity"]["familiarity"]),
    )


def check_parts(model: Model, parts: Mapping[str, Mapping]) -> None:
    """Refuse a model that asks for what is not measured, counts in other units, or misses its own sample.

    Raises
    ------
    ModelError
        One line without the folder's name and without what to do.
    """
    unknown = {*model.grade.scaling.names, *model.scene.scaling.names} - set(FEATURES)
    if unknown:
        raise ModelError(f"the model wants {quoted(min(unknown))}, which is not measured")
    for row in (*parts["grade"]["features"], *parts["scene"]["features"]):
        unit = FEATURES[row["name"]].unit
        if row["unit"] != unit:
            raise ModelError(
                f"{row['name']} is in {quoted(row['unit'])} there and in {unit!r} here"
            )
    faces = parts["sample"]["faces"]
    for number, face in enumerate(faces, start=1):
        got = _expected(model, held.features(f"face {number}", face["features"], FEATURES))
        off = np.abs(np.subtract(got["probabilities"], face["probabilities"])).max()
        if not off <= 1e-5 or not abs(got["scene"] - face["scene"]) <= 1e-2:
            raise ModelError(f"face {number} of the model's own sample comes out otherwise")
    if not faces:
        raise ModelError("the model's sample is empty")


def _grade_json(head: GradeHead) -> dict:
    rows = _features_json(head.scaling, head.ordinal.coefficients)
    return {
        "ladder": list(head.grades),
        "features": [row | {"usual": head.usual[row["name"]]} for row in rows],
        "cuts": list(head.ordinal.cuts),
        "calls": head.calls,
        "grade_set": {"level": LEVEL, **asdict(head.set_rule)},
        "plain": head.plain and _plain_json(head),
    }


def _plain_json(head: GradeHead) -> dict:
    """Coefficients by the names of their columns, the cuts, and how much of a proposal they are."""
    names = plain_columns(head.scaling.names)
    return {
        "share": head.plain_share,
        "coefficients": dict(zip(names, head.plain.coefficients, strict=True)),
        "cuts": list(head.plain.cuts),
    }


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


def _ensemble_json(head: Mapping, grade: GradeHead) -> str:
    """The ensemble, each seller on a line of its own: coefficients, cuts, and how likely he is."""
    columns = [*grade.scaling.names, *(f"cut {k + 1}" for k in range(len(grade.grades) - 1))]
    rows = [] if grade.ensemble is None else grade.ensemble.rows
    lines = ",\n".join(json.dumps(row, allow_nan=False) for row in rows)
    top = json.dumps({**head, "columns": [*columns, "chance"]}, indent=1, allow_nan=False)
    return top.removesuffix("\n}") + f',\n "sellers": [\n{lines}\n]\n}}\n'


def _ensemble(content: Mapping, columns: int, cuts: int) -> SellerEnsemble | None:
    if not content["sellers"]:
        return None
    width = columns + cuts + 1
    rows = np.array(content["sellers"])
    if rows.ndim != 2 or rows.shape[1] != width or rows.dtype.kind not in "if":
        raise ValueError(f"a seller of the ensemble needs {width} numbers")
    if not (np.abs(rows) <= held.MOST).all():
        raise ValueError("the numbers of a seller of the ensemble are too large")
    chances = rows[:, -1]
    if not ((chances >= 0) & (chances <= 1)).all() or not 0.5 <= chances.sum() <= 1.5:
        raise ValueError("the chances of the ensemble do not add up to 1")
    # The numbers as they stand: those of numpy would be other ones in the model's label.
    rows = [tuple(map(float, row)) for row in content["sellers"]]
    return SellerEnsemble(
        tuple(row[:columns] for row in rows),
        tuple(row[columns:-1] for row in rows),
        tuple(row[-1] for row in rows),
    )


def _provenance(content: Mapping) -> Provenance:
    versions = content["versions"]
    if not isinstance(versions, dict):
        raise ValueError("versions are not by name")
    return Provenance(
        held.text("data_sha256", content["data_sha256"]),
        held.text("data", content["data"], held.MOST_WORDS),
        held.text("date", content["date"]),
        {held.text("a version", k): held.text("a version", v) for k, v in versions.items()},
        held.texts("stones", content["stones"]),
    )


def _grade_head(content: Mapping, ensemble: Mapping) -> GradeHead:
    scaling, coefficients = _scaling(content["features"])
    grades, cuts = held.texts("ladder", content["ladder"]), held.numbers("cuts", content["cuts"])
    if len(grades) < 2 or len(cuts) != len(grades) - 1 or list(cuts) != sorted(cuts):
        raise ValueError(f"{len(grades)} grades need {len(grades) - 1} rising cuts")
    rule = content["grade_set"]
    usual = held.numbers("usual", [row["usual"] for row in content["features"]])
    return GradeHead(
        grades,
        scaling,
        Ordinal(coefficients, cuts),
        _ensemble(ensemble, len(coefficients), len(cuts)),
        held.whole("calls", content["calls"]),
        *_plain(content["plain"], scaling.names, len(cuts)),
        PredictionSetRule(
            held.number("min_probability of the set", rule["min_probability"], 0, 1),
            held.whole("n of the set", rule["n"]),
        ),
        () if usual == scaling.mean else usual,
    )


def _familiarity_json(head: Mapping, model: FamiliarityModel | None) -> str:
    """What the stones look like, each list of numbers on a line of its own: hundreds of faces are thousands of them."""
    plain = json.dumps(model and asdict(model), indent=1, allow_nan=False)
    # No word in it holds a bracket: the names are those of measures.
    rows = re.sub(r'\[([^][{}"]+)\]', lambda row: f"[{' '.join(row[1].split())}]", plain)
    top = json.dumps(head, indent=1, allow_nan=False).removesuffix("\n}")
    return top + ',\n "familiarity": ' + rows.replace("\n", "\n ") + "\n}\n"


def _familiarity(content: Mapping | None) -> FamiliarityModel | None:
    if content is None:
        return None
    names = held.texts("names of appearances", content["names"], APPEARANCE_NAMES)
    n = len(names)
    inverse = content["inverse_covariance"]
    if n == 0 or not isinstance(inverse, list) or len(inverse) != n:
        raise ValueError(f"{n} numbers of appearances need an inverse of {n} rows")
    model = FamiliarityModel(
        names,
        held.numbers("mean of appearances", content["mean"], n),
        held.numbers("spread of appearances", content["spread"], n, 1e-6),
        tuple(held.numbers("inverse of appearances", row, n) for row in inverse),
        held.number("max_squared_distance", content["max_squared_distance"], 0),
        tuple(held.numbers("stones known", row, n) for row in content["stones"]),
        tuple(held.numbers("others known", row, n) for row in content["others"]),
        held.number("max_log_ratio", content["max_log_ratio"]),
        held.number("own_reach", content["own_reach"], 0),
        tuple(held.numbers("own stones", row, n) for row in content["own"]),
    )
    check_familiarity(model)
    return model


def _plain(
    content: Mapping | None, names: Sequence[str], cuts: int
) -> tuple[Ordinal | None, float]:
    """The plain weights and their share of a proposal."""
    if content is None:
        return None, 0.0
    columns = plain_columns(names)
    if tuple(content["coefficients"]) != columns:
        raise ValueError("the plain weights are of other measures")
    weights = held.numbers("plain weights", list(content["coefficients"].values()), len(columns))
    borders = held.numbers("plain cuts", content["cuts"], cuts)
    if list(borders) != sorted(borders):
        raise ValueError("plain cuts do not rise")
    return Ordinal(weights, borders), held.number("share of plain weights", content["share"], 0, 1)


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
