"""``grader models``: a list, a choice that is a dated fact, and the way back."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.grading.model import load_model, save_model
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
    assert "starter" in in_use(told) and "spring (spring " in told and "summer (summer " in told
    assert run("--use", "summer").exit_code == 0
    assert "summer" in in_use(run().stdout)


def test_back_goes_to_the_one_before_and_each_change_is_a_dated_line(run, tmp_path):
    run("--use", "spring")
    run("--use", "summer")
    assert run("--back").stdout.startswith("in use from now on: spring ")
    facts = [json.loads(line) for line in (tmp_path / "models.jsonl").read_text().splitlines()]
    assert [fact["model"] for fact in facts] == ["spring", "summer", "spring"]
    assert all(fact["time"][4] == "-" and fact["label"] for fact in facts)
    run("--use", "starter")
    assert "starter" in in_use(run().stdout)


def test_back_from_the_first_model_is_the_starter(run):
    run("--use", "spring")
    assert "the starter" in run("--back").stdout


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


def test_one_thing_at_a_time(run):
    assert run("--use", "spring", "--back").exit_code == 2
    assert run("--compare", "spring").exit_code == 2
