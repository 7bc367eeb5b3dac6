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


PRICES = """
currency = "USD"
begins = {begins}
per = "lb"
[by_weight]
select = {select}
cabbing = 12
tumbling = 6
[by_hand]
"07-001" = 220
"07-002" = 160
"07-003" = 80
[chips]
"2lb" = 8
"""


@pytest.fixture
def grader(cli):
    """Run a command of the tool and return what it says; with ``--json`` as data."""

    def run(*args, fails=False, typed=None):
        from grader.cli.main import app

        ran = CliRunner().invoke(app, [str(arg) for arg in args], input=typed)
        if fails:
            assert ran.exit_code in (1, 2), ran.output
            assert ran.stderr.count("\n") == 1
            return ran.stderr
        assert ran.exit_code == 0, ran.output
        return json.loads(ran.stdout) if "--json" in args else ran.stdout

    def prices(begins="2025-03-01", select=24, more=""):
        table = PRICES.format(begins=begins, select=select) + more
        (cli.folder / "PRICES.toml").write_text(table)
        run("prices", "set", "PRICES.toml")

    run.folder, run.cli, run.prices = cli.folder, cli, prices
    return run


@pytest.fixture
def example(grader):
    """A worked example, invented: raw 120 lb, three singles of 4 lb, and the rest by weight."""
    grader("trip", "new", "North bench", "--spot", "upper seam", "--hours", "6", "--hands", "3")
    grader("haul", "new", "07", "--trip", "1", "--raw", "120lb")
    for number in (1, 2, 3):
        grader("weigh", f"07-{number}", "4 lb", "--new")
    for what, weight, *grade in (
        ("waste", "36lb"),
        ("chips", "8lb"),
        ("sorted", "12lb", "--grade", "select"),
        ("sorted", "30 lb", "--grade", "cabbing"),
        ("sorted", "22lbs", "--grade", "tumbling"),
    ):
        grader("haul", "add", "07", what, weight, *grade)
    grader.prices()
    return grader
