"""``grader backup``, ``restore`` and ``take-in`` on ledgers that are filled with facts: nothing is measured."""

import json
import shutil
import zipfile
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from grader.errors import LedgerError
from grader.grading.models.model_files import load_model, save_model, starter_folder
from grader.ledger import views
from grader.ledger.backup import backup, restore
from grader.ledger.facts import ModelUse, SavedCall
from grader.ledger.merge import take_in_file
from grader.ledger.store import open_ledger
from grader.profile import load_profile

HASH, BOX = "a" * 64, (0, 0, 100, 80)
MADE = "# A model made up for tests\n"


def call(grade="select"):
    return SavedCall(HASH, "lake.jpg", 1, BOX, grade=grade)


@pytest.fixture
def run(tmp_path, monkeypatch):
    from grader.cli.main import app

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))

    def run(*args, ledger="mine/ledger.sqlite"):
        return CliRunner().invoke(app, [*map(str, args), "--ledger", ledger])

    return run


@pytest.fixture
def mine(run, tmp_path):
    """A ledger of one call and one picture."""
    with open_ledger("mine/ledger.sqlite") as ledger:
        ledger.add(call(), author="Nell")
        ledger.pictures.put(b"\xff\xd8 a picture", "jpg")
        yield ledger


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A model with a name of its own, in a folder."""
    folder = tmp_path_factory.mktemp("made") / "spring"
    sample = json.loads((starter_folder() / "sample.json").read_text("utf-8"))
    samples = [face["features"] for face in sample["faces"][:2]]
    model = replace(load_model(), name="spring")
    save_model(model, folder, samples, MADE, load_profile())
    return folder, model.label


def facts_of(path):
    with open_ledger(path) as ledger:
        return [(entry.fact, entry.author, entry.time) for entry in ledger.entries()]


def test_a_backup_restored_is_the_same_ledger_with_its_pictures(run, mine, tmp_path):
    ran = run("backup", "--out", "kept.zip")
    assert ran.exit_code == 0
    first, second = ran.stdout.splitlines()
    assert "1 fact (1 call), 1 picture kept of stones" in first
    assert second == "not in it, copy them too: your photos"
    ran = run("restore", "kept.zip", ledger="new/ledger.sqlite")
    assert "1 fact (1 call), 1 picture" in ran.stdout
    assert facts_of("new/ledger.sqlite") == facts_of("mine/ledger.sqlite")
    with open_ledger("new/ledger.sqlite") as ledger:
        assert ledger.pictures.names() == mine.pictures.names()


def test_a_backup_is_never_written_over_another_file(run, mine, tmp_path):
    (tmp_path / "kept.zip").write_text("mine")
    ran = run("backup", "--out", "kept.zip")
    assert ran.exit_code == 1 and "name a new file" in ran.stderr
    assert (tmp_path / "kept.zip").read_text() == "mine"


def test_the_ledger_that_was_there_is_kept_beside(run, mine, tmp_path):
    run("backup", "--out", "kept.zip")
    mine.add(call("waste"), author="Ole")
    mine.close()
    before = facts_of("mine/ledger.sqlite")
    ran = run("restore", "kept.zip")
    (aside,) = (tmp_path / "mine").glob("ledger.before-*.sqlite")
    assert f"the ledger that was there is kept as {aside}" in ran.stdout
    assert facts_of(aside) == before
    assert len(facts_of("mine/ledger.sqlite")) == 1


def test_what_is_no_backup_changes_nothing(run, mine, tmp_path):
    (tmp_path / "calls.csv").write_text("photo,piece,grade,scene\n")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as file:
        file.writestr("ledger.sqlite", b"")
        file.writestr("../escaped.json", b"{}")
    before = facts_of("mine/ledger.sqlite")
    for name in ("calls.csv", "other.zip", "none.zip"):
        ran = run("restore", name)
        assert ran.exit_code == 1 and ran.stderr.count("\n") <= 2, name
    assert facts_of("mine/ledger.sqlite") == before
    assert not (tmp_path.parent / "escaped.json").exists()


def test_a_dry_look_restores_nothing(run, mine):
    run("backup", "--out", "kept.zip")
    from grader.cli.main import app

    ran = CliRunner().invoke(app, ["restore", "kept.zip", "--no-ledger"])
    assert ran.exit_code == 1 and "leave --no-ledger out" in ran.stderr


# ---- the model in use


def test_the_model_in_use_comes_along_and_is_used_from_beside_the_ledger(run, mine, made, tmp_path):
    folder, label = made
    copied = shutil.copytree(folder, tmp_path / "models" / "spring")
    mine.add(ModelUse(folder=str(copied), label=label))
    (tmp_path / "grader.toml").write_text("")
    ran = run("backup", "--out", "kept.zip")
    assert f"the model in use ({label})" in ran.stdout
    assert f"copy them too: your photos, {tmp_path / 'grader.toml'}" in ran.stdout
    # Another machine: the folder is not there.
    shutil.rmtree(copied)
    ran = run("restore", "kept.zip", ledger="new/ledger.sqlite")
    beside = tmp_path / "new" / "ledger.models" / "spring"
    assert f"in use from now on: {label} ({beside})" in ran.stdout
    assert (beside / "card.md").read_text() == MADE
    assert load_model(beside).label == label
    # And where it is there, nothing is put beside.
    shutil.copytree(beside, copied)
    ran = run("restore", "kept.zip", ledger="third/ledger.sqlite")
    assert "in use from now on" not in ran.stdout
    assert not (tmp_path / "third" / "ledger.models").exists()


def test_a_model_in_use_that_is_gone_is_told_and_the_rest_is_kept(run, mine, tmp_path):
    mine.add(ModelUse(folder=str(tmp_path / "gone"), label="gone 01234567"))
    ran = run("backup", "--out", "kept.zip")
    assert ran.exit_code == 0
    assert "the model in use cannot be put in" in ran.stderr
    assert zipfile.is_zipfile("kept.zip")


def test_other_models_are_named_to_be_copied(run, mine, made):
    folder, label = made
    mine.add(ModelUse(folder=str(folder), label=label))
    mine.add(ModelUse(folder=None, label="starter 01234567"))
    assert str(folder) in run("backup", "--out", "kept.zip").stdout


def test_a_model_file_that_is_too_large_is_refused(mine, tmp_path, made, monkeypatch):
    folder, label = made
    mine.add(ModelUse(folder=str(folder), label=label))
    backup(mine, tmp_path / "kept.zip", folder)
    monkeypatch.setattr("grader.ledger.backup._MOST_MODEL_BYTES", 10)
    with pytest.raises(LedgerError, match="is no backup of a ledger"):
        restore(tmp_path / "kept.zip", tmp_path / "new.sqlite")


# ---- taking another ledger in


@pytest.fixture
def other(run, made):
    """Ole's: two calls, a picture and a model of his own."""
    folder, label = made
    with open_ledger("his/ledger.sqlite") as ledger:
        ledger.add(call("waste"), call("cabbing"), author="Ole")
        ledger.add(ModelUse(folder=str(folder), label=label))
        ledger.pictures.put(b"\xff\xd8 another picture", "jpg")
        yield ledger


@pytest.mark.parametrize("as_backup", [False, True])
def test_taking_in_tells_what_came_and_twice_is_once(run, mine, other, as_backup):
    file = "his/ledger.sqlite"
    if as_backup:
        file = "his.zip"
        run("backup", "--out", file, ledger="his/ledger.sqlite")
    ran = run("take-in", file)
    assert ran.exit_code == 0
    assert f"taken in from {file}: 3 facts (2 calls), 1 picture" in ran.stdout
    assert "count as said later" in ran.stdout
    assert [one.grade for one in views.calls(mine)] == ["select", "waste", "cabbing"]
    assert len(mine.pictures.names()) == 2
    before = facts_of("mine/ledger.sqlite")
    ran = run("take-in", file)
    assert ran.stdout == f"{file}: nothing new, all of its facts are here (3)\n"
    assert facts_of("mine/ledger.sqlite") == before


def test_the_model_in_use_stays_ones_own(run, mine, other, made):
    run("take-in", "his/ledger.sqlite")
    last = views.model_uses(mine)[-1].fact
    assert (last.folder, last.label) == (None, load_model().label)
    own = ModelUse(folder=str(made[0].parent / "own"), label="own 01234567")
    with open_ledger("third/ledger.sqlite") as ledger:
        ledger.add(own)
        take_in_file(ledger, "his/ledger.sqlite", own)
        last = views.model_uses(ledger)[-1].fact
    assert (last.folder, last.label) == (own.folder, own.label)


def test_what_is_no_ledger_is_not_taken_in(run, mine, tmp_path):
    (tmp_path / "calls.csv").write_text("photo,piece,grade,scene\n")
    with zipfile.ZipFile(tmp_path / "photos.zip", "w") as file:
        file.writestr("a.jpg", b"")
    before = facts_of("mine/ledger.sqlite")
    for name in ("calls.csv", "photos.zip", "none.sqlite"):
        assert run("take-in", name).exit_code == 1, name
    assert facts_of("mine/ledger.sqlite") == before


# ---- the place of a new ledger, and pictures beside one


def test_a_folder_kept_on_other_machines_is_told_once_when_the_ledger_is_new(run):
    outputs = [run("calls", ledger="cloud/ledger.sqlite").stderr for _ in range(2)]
    assert ["copied to other machines" in text for text in outputs] == [True, False]


def test_pictures_of_a_ledger_among_photos_are_no_photos(mine, tmp_path):
    from grader.batch import find_photos

    folder = tmp_path / "mine"
    (folder / "lake.jpg").write_text("a photo")
    (folder / "trip.pictures").mkdir()
    (folder / "trip.pictures" / "shore.jpg").write_text("a seller's own folder of that name")
    (folder / "trip.txt").write_text("notes")
    assert list(find_photos(folder, folder / "graded")) == ["lake.jpg", "trip.pictures/shore.jpg"]
