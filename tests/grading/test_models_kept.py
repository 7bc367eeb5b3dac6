"""A model is saved whole or not at all, and none that was made is lost by making another of its name."""

import dataclasses
import errno
import json
import os
import shutil
import subprocess
import sys

import pytest

from grader.errors import GraderError, ModelError
from grader.grading.models.model_files import (
    FILES,
    aside_of,
    check_place,
    load_model,
    load_model_as,
    save_model,
)

#: What saving asks of the system: a kill can fall on any of these.
STEPS = ("open", "mkdir", "rename", "replace", "fsync", "chmod", "rmdir", "unlink")


@pytest.fixture(scope="module")
def models(small_model):
    scene = dataclasses.replace(small_model.scene, base=small_model.scene.base + 1)
    return small_model, dataclasses.replace(small_model, scene=scene)


@pytest.fixture
def save(faces, profile):
    return lambda model, folder: save_model(model, folder, faces[0][:3], "# Card\n", profile)


def at_step(monkeypatch, number, do):
    """Do something in place of that step of those that follow; return how many have been."""
    steps = []

    def instead(call):
        def step(*args, **named):
            steps.append(call)
            if len(steps) == number:
                do()
            return call(*args, **named)

        return step

    for name in STEPS:
        monkeypatch.setattr(os, name, instead(getattr(os, name)))
    return steps


def steps_of(monkeypatch, save, model, folder):
    with monkeypatch.context() as patched:
        steps = at_step(patched, -1, None)
        save(model, folder)
    return len(steps)


def test_a_model_of_the_same_name_is_kept_beside_it(tmp_path, models, save):
    old, new = models
    assert save(old, tmp_path / "my") is None
    kept = save(new, tmp_path / "my")
    assert kept == aside_of(tmp_path / "my", old.label)
    assert load_model(kept) == old and load_model(tmp_path / "my") == new
    assert {path.name for path in (tmp_path / "my").iterdir()} == FILES
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["my", kept.name])


def test_the_same_model_made_again_leaves_one_folder(tmp_path, models, save):
    save(models[0], tmp_path / "my")
    assert save(models[0], tmp_path / "my") is None
    assert [path.name for path in tmp_path.iterdir()] == ["my"]


def test_models_that_take_turns_in_a_folder_are_all_kept(tmp_path, models, save):
    for model in (*models, *models):
        save(model, tmp_path / "my")
    assert load_model_as(tmp_path / "my", models[0].label) == models[0]
    assert load_model_as(tmp_path / "my", models[1].label) == models[1]
    second = aside_of(tmp_path / "my", models[0].label)
    assert load_model(f"{second}-2") == models[0]


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is killed in the midst")
def test_killed_at_any_step_the_old_or_the_new_model_is_in_use(tmp_path, monkeypatch, models, save):
    old, new = models
    first = tmp_path / "first"
    save(old, first)
    shutil.copytree(first, tmp_path / "count" / "my")
    steps = steps_of(monkeypatch, save, new, tmp_path / "count" / "my")
    assert steps > 20
    gone = 0
    for number in range(1, steps + 1):
        folder = tmp_path / str(number) / "my"
        shutil.copytree(first, folder)
        child = os.fork()
        if child == 0:
            at_step(monkeypatch, number, lambda: os._exit(9))
            save(new, folder)
            os._exit(0)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
        gone += not folder.exists()
        # Whoever knows which model was in use gets it, whole; and the next training can be saved.
        assert load_model_as(folder, old.label) == old, number
        if folder.exists():
            assert load_model(folder) in (old, new), number
        if number % 5 == 0:
            save(new, folder)
            assert load_model_as(folder, new.label) == new
    assert gone == 1, "between the two renames, and only there"


@pytest.mark.slow
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES])
def test_a_step_that_fails_leaves_the_old_model_where_it_was(
    tmp_path, monkeypatch, models, save, code
):
    old, new = models
    first = tmp_path / "first"
    save(old, first)
    shutil.copytree(first, tmp_path / "count" / "my")
    steps = steps_of(monkeypatch, save, new, tmp_path / "count" / "my")

    def fail():
        raise OSError(code, os.strerror(code))

    refused = 0
    for number in range(1, steps + 1):
        folder = tmp_path / str(number) / "my"
        shutil.copytree(first, folder)
        with monkeypatch.context() as patched:
            at_step(patched, number, fail)
            try:
                save(new, folder)
                expected = new
            except GraderError as err:
                expected, refused = old, refused + 1
                assert "\n" not in str(err) and str(err).startswith(f"{folder}: cannot be")
        assert load_model(folder) == expected, number
        assert load_model_as(folder, old.label) == old, number
        assert [p for p in folder.parent.iterdir() if p.name.endswith(".part")] == [], number
    assert refused > steps / 2


@pytest.mark.skipif(shutil.which("unshare") is None, reason="a disk of our own to fill")
def test_a_disk_that_is_full_leaves_the_old_model(tmp_path, models, save):
    for model, name in zip(models, ("old", "new"), strict=True):
        save(model, tmp_path / name)
    script = f"""
import os, sys
from pathlib import Path
from grader.errors import GraderError
from grader.grading.models import model_files as m
from grader.profile import load_profile
import json
old, new = (m.load_model(f"{tmp_path}/{{name}}") for name in ("old", "new"))
faces = [f["features"] for f in json.loads(Path("{tmp_path}/old/sample.json").read_text())["faces"]]
save = lambda model: m.save_model(model, Path("my"), faces, "# Card", load_profile())
os.chdir("{tmp_path}/disk")
save(old)
room = os.statvfs(".").f_bavail * os.statvfs(".").f_frsize
told = []
for left in (0, 4096, 12288, 20480):
    Path("fill").write_bytes(bytes(room - left))
    try:
        save(new)
    except GraderError as err:
        told.append(str(err))
    Path("fill").unlink()
    assert m.load_model("my") == old, left
    assert os.listdir(".") == ["my"], os.listdir(".")
print(told[-1])
save(new)
assert m.load_model_as("my", old.label) == old and m.load_model("my") == new
"""
    (tmp_path / "disk").mkdir()
    mount = (
        f"mount -t tmpfs -o size=600k none {tmp_path}/disk && exec {sys.executable} -c '{script}'"
    )
    if subprocess.run(
        ["unshare", "-rm", "mount", "-t", "tmpfs", "none", tmp_path / "disk"]
    ).returncode:
        pytest.skip("no disk of our own can be mounted here")
    done = subprocess.run(["unshare", "-rm", "sh", "-c", mount], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "No space left on device" in done.stdout and len(done.stdout.splitlines()) == 1


@pytest.mark.parametrize("name", ["card.md", "a.jpg", ".hidden"])
def test_a_folder_that_holds_files_of_the_sellers_is_refused_and_left(tmp_path, models, save, name):
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / name).write_text("mine")
    with pytest.raises(GraderError, match=rf"notes: holds files that are no model, as {name};"):
        save(models[0], tmp_path / "notes")
    assert [(p.name, p.read_text()) for p in (tmp_path / "notes").iterdir()] == [(name, "mine")]


@pytest.mark.parametrize("folder", [".", "..", "a/.."])
def test_the_folder_one_stands_in_is_no_place_for_a_model(folder):
    with pytest.raises(GraderError, match="give the model a folder of its own"):
        check_place(folder)


@pytest.mark.parametrize("label", ["a/../b", "../x 0123456", 5, None, "my 2adf8056/x"])
def test_a_label_that_is_none_is_no_model_of_ours(tmp_path, models, save, label):
    # It would name the place where the folder is moved to.
    (tmp_path / "my").mkdir()
    (tmp_path / "my" / "grade.json").write_text(json.dumps({"label": label}))
    with pytest.raises(GraderError, match="holds files that are no model"):
        save(models[0], tmp_path / "my")


def test_an_empty_folder_is_taken(tmp_path, models, save):
    (tmp_path / "my").mkdir()
    assert save(models[0], tmp_path / "my") is None
    assert load_model(tmp_path / "my") == models[0]


def test_a_model_that_is_nowhere_is_told_in_one_line(tmp_path, models, save):
    save(models[0], tmp_path / "my")
    for folder, label, why in (
        ("my", models[1].label, "it holds another model than"),
        ("gone", models[0].label, "no such folder"),
        ("my", "../my", "it holds another model than"),
    ):
        with pytest.raises(ModelError, match=why) as err:
            load_model_as(tmp_path / folder, label)
        assert "\n" not in str(err.value) and "grader models --use" in str(err.value)


def test_the_starter_is_what_ships_whatever_it_was_called():
    assert load_model_as(None, "starter 00000000") == load_model()
