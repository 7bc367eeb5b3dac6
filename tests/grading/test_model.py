import dataclasses
import json
import os
import shutil
import subprocess
import sys
import time

import numpy as np
import pytest

from grader.errors import ModelError
from grader.grading.features.rules import grade_by_rules
from grader.grading.models.familiarity import APPEARANCE_NAMES, appearance_features, fit_familiarity
from grader.grading.models.model import rules_head
from grader.grading.models.model_files import load_model, save_model
from grader.grading.models.prediction_set import PredictionSetRule
from grader.profile import Rule, Rung


@pytest.fixture
def folder(tmp_path, small_model, faces, profile):
    save_model(small_model, tmp_path / "model", faces[0][:5], "# Card\n", profile)
    return tmp_path / "model"


def test_a_saved_model_comes_back_the_same(folder, small_model, faces):
    loaded = load_model(folder)
    assert loaded == small_model
    assert loaded.label == small_model.label
    assert loaded.grade.probabilities(faces[0]) == pytest.approx(
        small_model.grade.probabilities(faces[0])
    )


def test_the_label_is_of_the_parameters_and_not_of_the_date(small_model):
    later = dataclasses.replace(
        small_model, provenance=dataclasses.replace(small_model.provenance, date="2030-01-01")
    )
    assert later.label == small_model.label
    other = dataclasses.replace(
        small_model, scene=dataclasses.replace(small_model.scene, base=small_model.scene.base + 1)
    )
    assert other.label != small_model.label


def test_files_are_readable_json_in_the_order_of_the_features(folder, small_model):
    content = json.loads((folder / "grade.json").read_text())
    assert [row["name"] for row in content["features"]] == list(small_model.grade.scaling.names)
    assert content["ladder"] == ["waste", "tumbling", "cabbing", "select"]


def _edit(path, change):
    content = json.loads(path.read_text())
    change(content)
    path.write_text(json.dumps(content))


@pytest.mark.parametrize(
    ("file", "change", "words"),
    [
        ("grade", lambda c: c.update(format=99), "made for format 99, this program has 7"),
        ("scene", lambda c: c.update(measurement_version=0), "made for measurement version 0"),
        ("grade", lambda c: c["features"][0].update(name="luck"), "'luck'"),
        ("grade", lambda c: c["features"][1].update(unit="acre"), "is in 'acre' there"),
        ("grade", lambda c: c["features"][0].update(coefficient=9.0), "face 1 of the model's own"),
        ("grade", lambda c: c.update(cuts=[1.0]), "4 grades need 3 rising cuts"),
        ("scene", lambda c: c.pop("base"), "do not hold what they should"),
        ("sample", lambda c: c.update(faces=[]), "sample is empty"),
        (
            "seller_ensemble",
            lambda c: c.update(sellers=[[1.0, 2.0]]),
            "a seller of the ensemble needs 23 numbers",
        ),
    ],
)
def test_a_model_that_does_not_fit_is_refused_in_one_line(folder, file, change, words):
    _edit(folder / f"{file}.json", change)
    with pytest.raises(ModelError) as caught:
        load_model(folder)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith("make it anew with `grader retrain`")


def test_a_missing_or_broken_file_is_named(folder):
    (folder / "scene.json").write_text("{")
    with pytest.raises(ModelError, match=r"scene\.json: not a model file"):
        load_model(folder)
    (folder / "scene.json").unlink()
    with pytest.raises(ModelError, match=r"scene\.json: no model can be read there"):
        load_model(folder)


def test_loading_is_quick_and_needs_no_training_library(folder):
    start = time.perf_counter()
    load_model(folder)
    assert time.perf_counter() - start < 0.05
    code = (
        "import sys; from grader.grading.models.model_files import load_model; "
        f"load_model({str(folder)!r}); "
        "assert not {'scipy', 'sklearn', 'skimage'} & set(sys.modules), 'heavy'"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_ladder_that_the_model_has_not_learned_is_graded_by_the_rules(
    small_model, profile, faces
):
    longer = dataclasses.replace(
        profile,
        ladder=(*profile.ladder, Rung("best of all", "more scene still", "single")),
        rules=(
            Rule("best of all", {"pattern_share": 0.7, "scene_score": 70.0}, {}),
            *profile.rules,
        ),
    )
    other = small_model.for_ladder(longer)
    assert other.label.startswith("rules of banded ")
    assert small_model.for_ladder(profile) is small_model
    rows = [other.complete(row, longer) for row in faces[0]]
    by_rules = [longer.grades.index(grade_by_rules(row, longer)[0]) for row in rows]
    assert other.grade.rungs(rows).tolist() == by_rules


def test_rules_alone_are_unsure_at_a_border(small_model, profile):
    head = rules_head(profile.grades, small_model.grade.scaling)
    at_border = {name: 0.0 for name in head.scaling.names} | {"rules_grade": 1.5}
    assert head.probabilities([at_border])[0, 2:].sum() == pytest.approx(0.5)


def test_a_model_with_an_ensemble_comes_back_the_same(
    tmp_path, ensemble_model, faces, profile, fit_head
):
    rows, rung = faces
    stones = [str(n) for n in range(30)]
    head = fit_head(ensemble_model.grade, rows[:30], rung[:30], stones)
    led = dataclasses.replace(ensemble_model, grade=head)
    save_model(led, tmp_path / "led", rows[:5], "# Card\n", profile)
    loaded = load_model(tmp_path / "led")
    assert (
        loaded == led
        and loaded.label == led.label
        and loaded.grade.kind == "simulated sellers and plain weights"
    )
    assert (loaded.grade.probabilities(rows) == led.grade.probabilities(rows)).all()
    lines = (tmp_path / "led" / "seller_ensemble.json").read_text().splitlines()
    assert sum(line.startswith("[") for line in lines) == len(head.ensemble.chances)


def test_a_model_with_plain_weights_and_sets_comes_back_the_same(
    tmp_path, small_model, faces, profile, fit_head
):
    rows, rung = faces
    head = fit_head(small_model.grade, rows[:80], rung[:80], [str(n) for n in range(80)])
    head = dataclasses.replace(head, plain_share=0.3, set_rule=PredictionSetRule(0.12, 80))
    grown = dataclasses.replace(small_model, grade=head)
    save_model(grown, tmp_path / "grown", rows[:5], "# Card\n", profile)
    loaded = load_model(tmp_path / "grown")
    assert loaded == grown and loaded.grade.kind == "drawn odds and plain weights"
    assert (loaded.grade.probabilities(rows) == grown.grade.probabilities(rows)).all()
    _edit(tmp_path / "grown" / "grade.json", lambda c: c["plain"]["cuts"].__setitem__(0, 9.0))
    with pytest.raises(ModelError, match="do not rise"):
        load_model(tmp_path / "grown")


def _refused(folder) -> str:
    with pytest.raises(ModelError) as caught:
        load_model(folder)
    text = str(caught.value)
    assert "\n" not in text and len(text) < 500 and text.endswith("`grader retrain`")
    return text


@pytest.fixture(scope="module")
def knowing(small_model, faces, profile, tmp_path_factory):
    """A model that knows appearances: of made-up stones and surfaces, told apart by their lightness."""
    rng = np.random.default_rng(3)
    appearances = [
        dict(zip(APPEARANCE_NAMES, rng.normal(0, 1, len(APPEARANCE_NAMES)), strict=True))
        for _ in range(200)
    ]
    walls = [one | {"lightness": one["lightness"] + 3} for one in appearances]
    known = fit_familiarity(appearances, walls, range(200))
    folder = tmp_path_factory.mktemp("knowing") / "model"
    save_model(
        dataclasses.replace(small_model, familiarity=known), folder, faces[0][:3], "# C\n", profile
    )
    return folder


def test_appearances_have_the_names_that_are_listed():
    lab = np.random.default_rng(0).normal(50, 5, (40, 40, 3)).astype(np.float32)
    assert set(appearance_features(lab, np.ones((40, 40), bool))) == set(APPEARANCE_NAMES)


def _set(*keys):
    """A change that puts the last of the keys in the place that the others lead to."""
    *way, last, value = keys

    def change(content):
        for key in way:
            content = content[key]
        content[last] = value

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_set("familiarity", "names", 0, "nope"), "'nope', which is not known"),
        (_set("familiarity", "names", 1, "lightness"), "names one twice"),
        (_set("familiarity", "names", 0, 5), "names of appearances is 5"),
        (_set("familiarity", "names", []), "need an inverse"),
        (_set("familiarity", "mean", [1.0]), "mean of appearances is no list of 19 numbers"),
        (_set("familiarity", "spread", 0, 0.0), "spread of appearances is 0.0"),
        (_set("familiarity", "spread", 0, "1.0"), "spread of appearances is '1.0'"),
        (_set("familiarity", "inverse_covariance", [[1.0]]), "need an inverse of 19 rows"),
        (_set("familiarity", "inverse_covariance", 3, [1.0]), "inverse of appearances is no list of 19"),
        (_set("familiarity", "inverse_covariance", 0, 0, -1.0), "the inverse is of no covariance"),
        (_set("familiarity", "inverse_covariance", 0, 1, 7.0), "the inverse is of no covariance"),
        (_set("familiarity", "stones", [[1.0]]), "stones known is no list of 19"),
        (_set("familiarity", "others", []), "fewer than 5 stones or others"),
        (_set("familiarity", "own", [[1.0]]), "own stones is no list of 19"),
        (_set("familiarity", "own_reach", -1.0), "own_reach is -1.0"),
        (_set("familiarity", "max_squared_distance", 1e8), "no face can pass it"),
        (_set("familiarity", "max_squared_distance", -1.0), "max_squared_distance is -1.0"),
        (_set("familiarity", "max_log_ratio", 1e8), "no face can pass it"),
        (_set("familiarity", "max_log_ratio", float("nan")), "NaN is no number"),
        (_set("familiarity", "max_log_ratio", True), "max_log_ratio is True"),
        (_set("familiarity", "max_squared_distance", 10**400), "max_squared_distance is 1000"),
        (_set("familiarity", []), "do not hold what they should"),
    ],
)  # fmt: skip
def test_what_a_model_knows_of_stones_is_checked_before_any_photo_is_graded(
    knowing, tmp_path, change, words
):
    folder = tmp_path / "model"
    shutil.copytree(knowing, folder)
    assert load_model(folder).familiarity is not None
    _edit(folder / "familiarity.json", change)
    assert words in _refused(folder)


@pytest.mark.parametrize(
    ("file", "change"),
    [
        ("grade", _set("grade_set", "min_probability", 2)),
        ("grade", _set("grade_set", "min_probability", float("inf"))),
        ("grade", _set("grade_set", "min_probability", -0.1)),
        ("grade", _set("grade_set", "n", 1.5)),
        ("grade", _set("calls", -80)),
        ("grade", _set("calls", 10**400)),
        ("grade", _set("calls", 1e300)),
        ("grade", _set("ladder", ["waste", "waste", "cabbing", "select"])),
        ("grade", _set("ladder", "wxyz")),
        ("grade", _set("features", 0, "spread", 0)),
        ("grade", _set("features", 0, "coefficient", 10**30)),
        ("grade", _set("features", 0, "name", ["x"])),
        ("grade", _set("features", {})),
        ("grade", _set("cuts", 0, "1")),
        ("grade", _set("name", 5)),
        ("grade", _set("name", "x" * 10_000)),
        ("grade", _set("provenance", "date", 5)),
        ("grade", _set("provenance", "data", "two\nlines")),
        ("grade", _set("provenance", "stones", [[]])),
        ("grade", _set("provenance", "versions", [])),
        ("grade", _set("label", "another 01234567")),
        ("grade", _set("plain", {"share": 0.5, "coefficients": {"luck": 1.0}, "cuts": [0, 1, 2]})),
        ("scene", _set("below", -1)),
        ("scene", _set("above", 1e9)),
        ("scene", _set("base", None)),
        ("sample", _set("faces", 0, "features", "luck", 1.0)),
        ("sample", _set("faces", 0, "features", [])),
        ("sample", _set("faces", 0, "probabilities", [1.0])),
        ("sample", _set("faces", 5)),
        ("seller_ensemble", _set("sellers", [["a"] * 19])),
        ("seller_ensemble", _set("sellers", [[0.0] * 18 + [9.0]])),
        ("seller_ensemble", _set("sellers", [[1e12] * 18 + [1.0]])),
        ("seller_ensemble", _set("sellers", 5)),
    ],
)
def test_a_value_that_no_model_has_is_refused_in_one_line(folder, file, change):
    _edit(folder / f"{file}.json", change)
    _refused(folder)


@pytest.mark.parametrize("name", ["grade", "seller_ensemble", "scene", "familiarity", "sample"])
@pytest.mark.parametrize(
    "text", ["[" * 100_000, "9" * 5000, "[]", "null", '{"format": 1e999}', "\xff"]
)
def test_a_file_that_is_nearly_json_is_refused_in_one_line(folder, name, text):
    (folder / f"{name}.json").write_bytes(text.encode("latin-1"))
    _refused(folder)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_what_is_no_file_or_too_large_is_refused_before_it_is_read(folder):
    (folder / "scene.json").unlink()
    os.mkfifo(folder / "scene.json")
    assert "not a file on a disk" in _refused(folder)
    (folder / "scene.json").unlink()
    (folder / "scene.json").symlink_to("/dev/zero")
    assert "not a file on a disk" in _refused(folder)
    (folder / "scene.json").unlink()
    with open(folder / "scene.json", "wb") as file:
        file.truncate(600_000_000)
    assert "larger than 20 MB" in _refused(folder)
