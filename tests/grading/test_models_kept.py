"""No model that was made is lost by making another of the same name."""

import json

import pytest

from grader.grading.model import aside_of, set_aside


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "my_model"
    folder.mkdir()
    (folder / "grade.json").write_text(json.dumps({"label": "my_model 2adf8056"}), "utf-8")
    return folder


def test_a_model_of_the_same_name_is_moved_aside(folder):
    kept = set_aside(folder, "my_model df88a23f")
    assert kept == aside_of(folder, "my_model 2adf8056") == folder.with_name("my_model-2adf8056")
    assert (kept / "grade.json").exists()
    assert not folder.exists()


def test_the_same_model_made_again_stays_where_it_is(folder):
    assert set_aside(folder, "my_model 2adf8056") is None
    assert folder.exists()


@pytest.mark.parametrize("there", [None, "no model at all", "[]"])
def test_a_folder_without_a_model_is_left_alone(tmp_path, there):
    folder = tmp_path / "new"
    if there is not None:
        folder.mkdir()
        (folder / "grade.json").write_text(there, "utf-8")
    assert set_aside(folder, "new 12345678") is None
    assert folder.exists() == (there is not None)
