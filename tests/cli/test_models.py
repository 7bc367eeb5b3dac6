"""``grader models``: a list, a choice that is a dated fact, and the way back."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from grader import calling
from grader.calling import MeasuredCalls
from grader.cli.main import app
from grader.grading import model
from grader.grading.calls import ReadCalls
from grader.grading.features import FEATURES
from grader.grading.model import load_model, save_model
from grader.grading.proposal import Call
from grader.profile import load_profile


@pytest.fixture(scope="module")
def two_models(tmp_path_factory):
    """A working folder with two model folders, told apart by their scene's base."""
    folder, starter, profile = tmp_path_factory.mktemp("work"), load_model(), load_profile()
    samples = json.loads((Path("models/starter/sample.json")).read_text())["faces"][:2]
    for name in ("spring", "summer"):
        scene = replace(starter.scene, base=starter.scene.base + len(name))
        model = replace(starter, name=name, scene=scene)
        save_model(
            model, folder / name, [face["features"] for face in samples], "# card\n", profile
        )
    return folder


@pytest.fixture
def run(two_models, tmp_path, monkeypatch):
    for name in ("spring", "summer"):
        (tmp_path / name).symlink_to(two_models / name)
    monkeypatch.chdir(tmp_path)
    return lambda *args: CliRunner().invoke(app, ["models", *map(str, args)])


def in_use(told: str) -> str:
    return next(line for line in told.splitlines() if line.startswith("in use"))


def test_the_list_marks_the_model_in_use(run):
    told = run().stdout
    assert all(line == line.rstrip() for line in told.splitlines())
    assert "starter" in in_use(told) and "spring (spring " in told and "summer (summer " in told
    assert run("--use", "summer").exit_code == 0
    assert "summer" in in_use(run().stdout)


def test_a_model_named_with_a_dot_before_it_is_listed_once(run, tmp_path):
    (tmp_path / "grader.toml").write_text('model = "./summer"\n', "utf-8")
    told = run().stdout
    assert told.count("summer (summer ") == 1 and "summer" in in_use(told)


def test_back_goes_to_the_one_before_and_each_change_is_a_dated_line(run, tmp_path):
    run("--use", "spring")
    run("--use", "summer")
    assert run("--back").stdout.startswith("in use from now on: spring ")
    facts = [json.loads(line) for line in (tmp_path / "models.jsonl").read_text().splitlines()]
    assert [fact["model"] for fact in facts] == [None, "spring", "summer", "spring"]
    assert facts[0]["time"] is None and facts[0]["label"].startswith("starter ")
    assert all(fact["time"][4] == "-" and fact["label"] for fact in facts[1:])
    run("--use", "starter")
    assert "starter" in in_use(run().stdout)


def test_back_from_the_first_model_is_the_starter(run):
    run("--use", "spring")
    assert "the starter" in run("--back").stdout


def test_back_from_the_first_change_is_what_the_settings_named_before(run, tmp_path):
    (tmp_path / "grader.toml").write_text('model = "spring"\n')
    run("--use", "summer")
    assert run("--back").stdout.startswith("in use from now on: spring ")


def test_a_folder_made_anew_since_is_told(run, tmp_path):
    run("--use", "spring")
    before = load_model("spring").label
    run("--use", "summer")
    (tmp_path / "spring").unlink()
    (tmp_path / "spring").symlink_to((tmp_path / "summer").resolve())
    ran = run("--back")
    assert ran.exit_code == 0
    assert f"spring: made anew since; {before} was in use before" in ran.stderr


def test_a_half_written_change_is_told_and_the_list_stands(run, tmp_path):
    run("--use", "spring")
    with open(tmp_path / "models.jsonl", "a") as log:
        log.write('{"model": "su')
    ran = run()
    assert ran.exit_code == 0 and "line 3 is only half there" in ran.stderr
    assert "spring" in in_use(ran.stdout)


def test_nothing_to_go_back_to_is_one_line(run):
    ran = run("--back")
    assert ran.exit_code == 2 and "no other model was in use" in ran.stderr


def test_a_folder_that_holds_no_model_is_refused_and_nothing_changes(run, tmp_path):
    (tmp_path / "empty").mkdir()
    assert run("--use", "empty").exit_code == 2
    assert not (tmp_path / "models.jsonl").exists()


def test_a_model_that_cannot_be_read_is_listed_as_such(run, tmp_path):
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "grade.json").write_text("{")
    assert "cannot be read" in run().stdout


@pytest.mark.parametrize("name", ["season [red] 1", "a[/red]", "[link=x]y[/link]"])
def test_names_and_words_of_models_are_shown_as_they_are_and_never_read_as_markup(
    run, two_models, tmp_path, name
):
    shutil.copytree(two_models / "spring", tmp_path / name.replace("/", "|"))
    for part in (tmp_path / name.replace("/", "|")).glob("*.json"):
        content = json.loads(part.read_text("utf-8"))
        content["made"]["data"] = f"{name} and [/] {name}"
        part.write_text(json.dumps(content), "utf-8")
    ran = run()
    assert ran.exit_code == 0, ran.exception
    (line,) = [line for line in ran.stdout.splitlines() if f"{name} and [/] {name}" in line]
    assert f"{name.replace('/', '|')} (spring " in line


def test_one_folder_that_others_made_does_not_break_the_list(run, tmp_path):
    for number, text in enumerate(("[" * 100_000, '{"format": NaN}', "[]", "")):
        (tmp_path / f"odd{number}").mkdir()
        (tmp_path / f"odd{number}" / "grade.json").write_text(text)
    ran = run()
    assert ran.exit_code == 0, ran.exception
    assert ran.stdout.count("cannot be read") == 4 and "summer (summer " in ran.stdout


@pytest.mark.parametrize("named", ["spring", "starter"])
def test_the_model_in_use_is_not_held_against_itself(run, tmp_path, named):
    run("--use", named)
    (tmp_path / "haul").mkdir()
    (tmp_path / "c.csv").write_text("photo,piece,grade,scene\na.jpg,1,select,\n", "utf-8")
    ran = run("--compare", named, "--calls", "c.csv", "--photos", "haul")
    assert "is the model in use; name another" in ran.stderr + str(ran.exception)


def test_one_thing_at_a_time(run):
    assert run("--use", "spring", "--back").exit_code == 2
    assert run("--compare", "spring").exit_code == 2


def test_models_are_compared_on_stones_that_neither_has_seen(run, tmp_path, monkeypatch):
    rng = np.random.default_rng(0)
    profile, starter = load_profile(), load_model()
    (tmp_path / "tray").mkdir()
    names = starter.grade.scaling.names
    rows = {
        (f"{i:016x}" + 48 * "0", 1): dict.fromkeys(FEATURES, 0.0)
        | dict.fromkeys(names, rng.random())
        for i in range(30)
    }
    calls = [
        Call(f"{i}.jpg", key[0], 1, (0, 0, 9, 9), profile.grades[i % 4], None, None, "2026", None)
        for i, key in enumerate(rows)
    ]
    placed = MeasuredCalls((ReadCalls(tuple(calls), tuple(range(30))),), rows)
    monkeypatch.setattr(calling, "measure_called", lambda *a, **k: placed)
    (tmp_path / "CALLS.csv").write_text("photo,piece,grade,scene\n")
    args = ("--compare", "spring", "--calls", "CALLS.csv", "--photos", "tray")
    # The two differ in their scene's base alone.
    told = run(*args).stdout
    assert "spring" in told.splitlines()[0] and "30 called faces" in told
    assert "quadratic weighted kappa" in told and "gain in kappa" in told
    seen = tuple(f"{key[0][:16]}-1" for key in rows)
    made = replace(starter.made, stones=seen[:10])
    monkeypatch.setattr(model, "load_model", lambda folder=None: replace(starter, made=made))
    ran = run(*args)
    assert (
        "20 called faces" in ran.stdout
        and "left out, since a model has learned from them: 10" in ran.stderr
    )
    monkeypatch.setattr(
        model, "load_model", lambda folder=None: replace(starter, made=replace(made, stones=seen))
    )
    assert "has learned from all of these" in run(*args).stderr


def test_results_in_another_form_are_told_in_one_line(run, tmp_path):
    (tmp_path / "results.csv").write_text("photo,piece\na.jpg,1\n")
    ran = run("--stones", "results.csv")
    assert ran.exit_code == 1 and "give its results.jsonl" in ran.stderr
    assert len(ran.stderr.strip().splitlines()) == 1
