"""``grader batch`` as people see it."""

import json

import pytest


def test_the_results_lie_in_the_folder_and_the_sheet_is_named(cli):
    cli.photo("haul/a.jpg", "2")
    ran = cli.run("batch", "haul", "--workers", 1)
    assert ran.exit_code == 0
    assert ran.stdout.strip().replace("\\", "/") == "haul/graded/sheet.html"
    assert "1 photo graded, 2 stones" in ran.stderr
    names = {path.name for path in (cli.folder / "haul" / "graded").iterdir()}
    assert {"results.jsonl", "results.csv", "sheet.html"} <= names


def test_the_results_go_where_they_are_asked_to(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul", "--out", "there", "--workers", 1)
    assert (cli.folder / "there" / "sheet.html").exists()
    assert not (cli.folder / "haul" / "graded").exists()


def test_failures_are_listed_and_end_with_1(cli):
    cli.photo("haul/a.jpg", "bad")
    cli.photo("haul/b.jpg")
    ran = cli.run("batch", "haul", "--workers", 1)
    assert ran.exit_code == 1
    assert "failed: a.jpg: not a photo; give a JPEG" in ran.stderr
    assert (cli.folder / "haul" / "graded" / "sheet.html").exists()


def test_two_failures_of_one_name_are_told_apart(cli):
    cli.photo("haul/a.jpg", "bad")
    cli.photo("haul/deep down/a.jpg", "bad too")
    told = cli.run("batch", "haul", "--workers", 1).stderr
    assert "failed: a.jpg: not a photo" in told
    assert "failed: deep down/a.jpg: not a photo" in told


def test_what_a_person_should_know_is_told(cli):
    cli.photo("haul/a.jpg", "0")
    cli.photo("haul/b.jpg", "1")
    cli.photo("haul/c.jpg", "1")
    ran = cli.run("batch", "haul", "--workers", 1)
    assert "no stone found: a.jpg" in ran.stderr
    assert "same photo: c.jpg and b.jpg" in ran.stderr


def test_a_second_run_says_that_nothing_changed(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul", "--workers", 1)
    assert "1 photo of before, not changed" in cli.run("batch", "haul", "--workers", 1).stderr


def test_calls_of_the_working_folder_are_joined(cli):
    cli.photo("haul/a.jpg")
    call = {
        "photo": "a.jpg", "sha256": None, "piece": 1, "box": [40, 40, 200, 100],
        "grade": "select", "scene": None, "by": None, "time": "2026-03-02T10:11:12+01:00",
        "note": None,
    }  # fmt: skip
    (cli.folder / "calls.jsonl").write_text(json.dumps(call) + "\n")
    cli.run("batch", "haul", "--workers", 1)
    record = json.loads((cli.folder / "haul" / "graded" / "results.jsonl").read_text())
    assert record["pieces"][0]["call"]["grade"] == "select"


@pytest.mark.parametrize("args", [["nowhere"], ["a.jpg"], [".", "--workers", "0"], []])
def test_what_is_no_folder_of_photos_is_a_usage_error(cli, args):
    cli.photo("a.jpg")
    ran = cli.run("batch", *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1


def test_an_empty_folder_is_told_and_nothing_is_written(cli):
    (cli.folder / "haul").mkdir()
    ran = cli.run("batch", "haul")
    assert ran.exit_code == 1
    assert ran.stderr.splitlines()[-1].startswith("grader: haul: no photo in it")
    assert list((cli.folder / "haul").iterdir()) == []


def test_calls_on_other_photos_are_one_line(cli):
    for name in ("a.jpg", "b.jpg"):
        cli.run(
            "call",
            cli.photo(f"spring/{name}", f"1 {name}"),
            "--grade",
            "waste",
        )
    cli.photo("haul/c.jpg", "1 else")
    told = cli.run("batch", "haul", "--workers", 1).stderr
    assert "2 calls are on photos that are not here: spring/a.jpg, spring/b.jpg" in told
    for name in ("a.jpg", "b.jpg"):
        cli.run("call", f"spring/{name}", "--undo")
    assert "not here" not in cli.run("batch", "haul", "--workers", 1).stderr


def test_a_run_that_is_stopped_says_how_to_go_on(cli, monkeypatch):
    def stop(*args, **terms):
        raise KeyboardInterrupt

    cli.photo("haul/a.jpg")
    monkeypatch.setattr("grader.batch.grade_folder", stop)
    ran = cli.run("batch", "haul")
    assert ran.exit_code == 130
    assert ran.stderr.splitlines()[-1] == "stopped; what is done is kept: run it again to go on"


def test_a_place_that_cannot_be_written_to_is_one_line(cli):
    cli.photo("haul/a.jpg")
    cli.photo("there")
    ran = cli.run("batch", "haul", "--out", "there/in", "--workers", 1)
    assert ran.exit_code == 1
    assert "cannot be written" in ran.stderr.splitlines()[-1]
