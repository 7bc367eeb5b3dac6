"""The command line in a working folder of its own, before hand-made photos and a ledger that is new."""

import json
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import pytest
import typer.main
from typer.testing import CliRunner

from grader.grading.models.model_files import load_model, save_model, starter_folder
from grader.ledger import views
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.profile import load_profile

_command_of = cache(typer.main.get_command)


@pytest.fixture(autouse=True)
def quick_start(monkeypatch, ledgers_copied):
    """The command line is put together once, not for each command that is given; new ledgers are copies."""
    monkeypatch.setattr("typer.testing._get_command", _command_of)


@pytest.fixture
def cli(tmp_path, monkeypatch, measuring, data_folder):
    """Photos are text files, as ``measuring`` reads them; all else is the tool as it is."""
    from grader.cli.main import app

    monkeypatch.chdir(tmp_path)

    def run(*args):
        measuring.clear()
        return CliRunner().invoke(app, [str(arg) for arg in args])

    def photo(name, content="1"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(content)
        return name

    def facts(*kinds, ledger=None):
        """The facts of these kinds in the usual ledger, or in another; none where there is none."""
        path = ledger or default_path()
        if not path.exists():
            return []
        with open_ledger(path) as opened:
            return [entry for entry in opened.entries() if entry.fact.kind in kinds]

    def holding():
        """The calls that hold."""
        if not default_path().exists():
            return []
        with open_ledger(default_path()) as opened:
            return list(views.calls(opened))

    def pieces(*args):
        """The stones that ``check --json`` tells of one photo."""
        ran = run("check", *args, "--json")
        assert ran.exit_code == 0, ran.stderr
        return json.loads(ran.stdout)["pieces"]

    return SimpleNamespace(
        run=run,
        photo=photo,
        folder=tmp_path,
        data=data_folder,
        asked=measuring,
        facts=facts,
        calls=lambda: facts("call"),
        holding=holding,
        pieces=pieces,
    )


@pytest.fixture(scope="session")
def model_folders(tmp_path_factory):
    """A folder with two models, spring and summer, told apart from the starter by their scene's base."""
    folder, starter = tmp_path_factory.mktemp("models"), load_model()
    faces = json.loads((starter_folder() / "sample.json").read_text("utf-8"))["faces"][:2]
    samples = [face["features"] for face in faces]
    for number, name in enumerate(("spring", "summer"), start=1):
        scene = replace(starter.scene, base=starter.scene.base + 3 * number)
        model = replace(starter, name=name, scene=scene)
        save_model(model, folder / name, samples, "# card\n", load_profile())
    return folder
