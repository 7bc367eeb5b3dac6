"""A folder of photos: one record each, nothing done twice, and nothing that stops the rest."""

import csv
import hashlib
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest

from grader import batch
from grader.batch import find_photos, grade_folder
from grader.errors import GraderError, PhotoError
from grader.face.line_words import LineWord
from grader.grading.proposal import Call
from grader.report.result import result_schema

TIME = "2026-03-02T10:11:12+01:00"


@pytest.fixture
def folder(tmp_path, monkeypatch, make_graded):
    """A folder whose photos say in plain text what they hold: a number, "bad" or "crash"."""
    graded = []

    def grade(path, **terms):
        content = Path(path).read_bytes()
        graded.append(Path(path).name)
        if content.startswith(b"bad"):
            raise PhotoError(f"{Path(path).name}: not a photo; give a JPEG", "not_a_photo")
        if content.startswith(b"crash"):
            raise ZeroDivisionError("division by zero")
        made = make_graded(int(content[:1]), name=Path(path).name, mm_per_px=terms["mm_per_px"])
        sha256 = hashlib.sha256(content).hexdigest()
        return replace(made, photo=replace(made.photo, sha256=sha256))

    monkeypatch.setattr(batch, "grade_photo", grade)
    monkeypatch.setattr(
        batch, "load_model", lambda folder: SimpleNamespace(label=f"{folder} 0123abcd")
    )
    photos = tmp_path / "photos"
    photos.mkdir()

    def run(**terms):
        graded.clear()
        done = grade_folder(photos, **{"workers": 1} | terms)
        return SimpleNamespace(
            done=done, graded=list(graded), out=terms.get("out", photos / "graded")
        )

    return SimpleNamespace(path=photos, run=run)


def write(folder, **photos):
    for name, content in photos.items():
        (folder.path / f"{name}.jpg").write_text(content)


def records(out):
    return [json.loads(line) for line in (out / "results.jsonl").read_text("utf-8").splitlines()]


def table(out):
    with open(out / "results.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_records_rows_and_sheet_are_written_in_the_order_of_the_files(folder):
    write(folder, b="2", a="1")
    ran = folder.run()
    assert [record["photo"]["file"] for record in records(ran.out)] == ["a.jpg", "b.jpg"]
    assert [(row["photo"], row["piece"]) for row in table(ran.out)] == [
        ("a.jpg", "1"),
        ("b.jpg", "1"),
        ("b.jpg", "2"),
    ]
    assert ran.done.sheet == ran.out / "sheet.html"
    assert (ran.out / "sheet.html").read_text("utf-8").count("<article") == 3


def test_every_record_follows_the_schema(folder):
    write(folder, a="0", b="2", c="bad", d="crash")
    for record in records(folder.run().out):
        jsonschema.Draft202012Validator(result_schema()).validate(record)


def test_photos_are_found_below_the_folder_by_their_endings(folder):
    (folder.path / "haul 1" / "deep").mkdir(parents=True)
    for name in ("a.JPG", "b.jpeg", "haul 1/c.heic", "haul 1/deep/d.Tiff", "e.webp", "f.png"):
        (folder.path / name).write_text("1")
    for name in ("note.txt", ".hidden.jpg", "a.jpg.part", "haul 1/x.gif"):
        (folder.path / name).write_text("1")
    assert list(find_photos(folder.path, folder.path / "graded")) == [
        "a.JPG",
        "b.jpeg",
        "e.webp",
        "f.png",
        "haul 1/c.heic",
        "haul 1/deep/d.Tiff",
    ]


def test_results_are_never_graded_themselves_wherever_they_lie(folder):
    write(folder, a="1")
    first = folder.run()
    (first.out / "seen.jpg").write_text("1")
    second = folder.run(out=folder.path / "elsewhere")
    (second.out / "seen.jpg").write_text("1")
    assert list(find_photos(folder.path, folder.path / "third")) == ["a.jpg"]


def test_a_second_run_grades_nothing(folder):
    write(folder, a="1", b="2")
    first = folder.run()
    before = (first.out / "results.jsonl").read_text("utf-8")
    second = folder.run()
    assert second.graded == []
    assert second.done.reused == 2
    assert (second.out / "results.jsonl").read_text("utf-8") == before


def test_a_new_photo_alone_is_graded(folder):
    write(folder, a="1")
    folder.run()
    write(folder, b="2")
    assert folder.run().graded == ["b.jpg"]


def test_a_photo_with_other_content_is_graded_again(folder):
    write(folder, a="1", b="2")
    folder.run()
    write(folder, a="3")
    again = folder.run()
    assert again.graded == ["a.jpg"]
    assert len(table(again.out)) == 5


@pytest.mark.parametrize("terms", [{"mm_per_px": 0.1}, {"model": "mine"}, {"whole": True}])
def test_other_terms_grade_everything_again(folder, terms):
    write(folder, a="1", b="2")
    folder.run()
    assert folder.run(**terms).graded == ["a.jpg", "b.jpg"]


def test_another_profile_grades_everything_again(folder, tmp_path):
    from importlib import resources

    text = (resources.files("grader") / "profiles" / "banded.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(text.replace("glare_share = 0.25", "glare_share = 0.2"))
    write(folder, a="1")
    folder.run()
    assert folder.run(profile=tmp_path / "mine.toml").graded == ["a.jpg"]


def test_another_measurement_version_grades_everything_again(folder, monkeypatch):
    write(folder, a="1")
    folder.run()
    monkeypatch.setattr(batch, "MEASUREMENT_VERSION", 99)
    assert folder.run().graded == ["a.jpg"]


def test_a_removed_photo_leaves_results_and_pictures(folder):
    write(folder, a="1", b="2")
    folder.run()
    (folder.path / "b.jpg").unlink()
    ran = folder.run()
    assert [record["photo"]["file"] for record in records(ran.out)] == ["a.jpg"]
    assert len(list((ran.out / ".pictures").iterdir())) == 1


def test_a_renamed_photo_is_one_record_under_its_new_name(folder):
    write(folder, a="1")
    folder.run()
    (folder.path / "a.jpg").rename(folder.path / "z.jpg")
    ran = folder.run()
    assert ran.graded == []
    assert [record["photo"]["file"] for record in records(ran.out)] == ["z.jpg"]


def test_the_same_photo_twice_is_graded_once_and_told(folder):
    write(folder, a="1", b="1")
    ran = folder.run()
    assert ran.graded == ["a.jpg"]
    assert ran.done.duplicates == (("b.jpg", "a.jpg"),)
    (record,) = records(ran.out)
    assert [w["text"] for w in record["photo"]["warnings"] if w["code"] == "duplicate"] == [
        "b.jpg holds the same photo; graded once"
    ]


def test_a_copy_that_is_gone_is_no_longer_told(folder):
    write(folder, a="1", b="1")
    folder.run()
    (folder.path / "b.jpg").unlink()
    (record,) = records(folder.run().out)
    assert "duplicate" not in [w["code"] for w in record["photo"]["warnings"]]


@pytest.mark.parametrize(("content", "code"), [("bad", "not_a_photo"), ("crash", "internal")])
def test_one_bad_photo_never_stops_the_rest(folder, content, code):
    write(folder, a=content, b="2")
    ran = folder.run()
    (failed,) = ran.done.failed
    assert failed["photo"] == {"file": "a.jpg"}
    assert failed["pieces"] == []
    assert failed["error"]["code"] == code
    assert failed["error"]["text"].startswith("a.jpg")
    assert [(row["photo"], row["error"] != "") for row in table(ran.out)] == [
        ("a.jpg", True),
        ("b.jpg", False),
        ("b.jpg", False),
    ]


def test_what_failed_is_tried_again(folder):
    write(folder, a="bad", b="2")
    folder.run()
    assert folder.run().graded == ["a.jpg"]


def test_after_a_power_cut_only_what_was_not_done_is_graded(folder, monkeypatch):
    write(folder, a="1", b="2", c="3")
    grade = batch.grade_photo

    def cut(path, **terms):
        if Path(path).name == "c.jpg":
            raise KeyboardInterrupt
        return grade(path, **terms)

    monkeypatch.setattr(batch, "grade_photo", cut)
    with pytest.raises(KeyboardInterrupt):
        folder.run()
    results = folder.path / "graded" / "results.jsonl"
    assert len(results.read_text("utf-8").splitlines()) == 2
    # A line of which only a part reached the disk.
    with open(results, "a", encoding="utf-8") as file:
        file.write('{"schema": 1, "photo": {"file": "c.j')
    monkeypatch.setattr(batch, "grade_photo", grade)
    ran = folder.run()
    assert ran.graded == ["c.jpg"]
    assert [record["photo"]["file"] for record in records(ran.out)] == ["a.jpg", "b.jpg", "c.jpg"]


def test_a_record_without_its_pictures_is_graded_again(folder):
    write(folder, a="1")
    first = folder.run()
    for picture in (first.out / ".pictures").iterdir():
        picture.unlink()
    assert folder.run().graded == ["a.jpg"]


def call(sha256, box, grade="select"):
    return Call("a.jpg", sha256, 1, box, grade, 71, "Mira", TIME, None)


def test_calls_are_joined_anew_without_grading(folder):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    with_call = folder.run(calls=[call(sha256, (40, 40, 200, 100))])
    assert with_call.graded == []
    assert records(with_call.out)[0]["pieces"][0]["call"] == {
        "grade": "select", "scene": 71, "by": "Mira", "time": TIME, "note": None,
    }  # fmt: skip
    row = table(with_call.out)[0]
    assert (row["called_grade"], row["grade"], row["proposed_grade"]) == ("select", "", "cabbing")
    assert records(folder.run().out)[0]["pieces"][0]["call"] is None


def test_a_call_whose_stone_is_gone_is_listed(folder):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    ran = folder.run(calls=[call(sha256, (0, 0, 30, 30))])
    ((lost, _),) = ran.done.lost_calls
    assert lost.box == (0, 0, 30, 30)
    (record,) = records(ran.out)
    assert record["pieces"][0]["call"] is None
    assert "call_without_stone" in [w["code"] for w in record["photo"]["warnings"]]
    assert "call_without_stone" not in [
        w["code"] for w in records(folder.run().out)[0]["photo"]["warnings"]
    ]


def test_progress_counts_up_to_all_photos(folder):
    write(folder, a="1", b="2", c="bad")
    told = []
    folder.run(on_photo=lambda done, total: told.append((done, total)))
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]


def test_a_folder_without_photos_is_told_and_results_of_before_stay(folder):
    with pytest.raises(GraderError, match=r"photos: no photo in it .*; name the folder of the"):
        folder.run()
    assert not (folder.path / "graded").exists()
    write(folder, a="1")
    folder.run()
    (folder.path / "a.jpg").unlink()
    with pytest.raises(GraderError, match="no photo in it"):
        folder.run()
    assert len(records(folder.path / "graded")) == 1


def test_results_are_no_folder_of_photos(folder):
    write(folder, a="1")
    with pytest.raises(GraderError, match="would lie in one folder"):
        folder.run(out=folder.path)
    folder.run()
    with pytest.raises(GraderError, match="graded: holds results of a batch"):
        grade_folder(folder.path / "graded", workers=1)


def test_a_name_that_is_not_utf8_is_graded_all_the_same(folder):
    import os

    try:
        with open(os.fsencode(folder.path) + b"/caf\xe9.jpg", "wb") as file:
            file.write(b"1")
    except OSError:
        pytest.skip("this file system takes UTF-8 names only")
    assert [row["photo"] for row in table(folder.run().out)] == ["caf\\udce9.jpg"]


def test_copies_of_a_bad_photo_are_each_listed(folder):
    write(folder, a="bad", b="bad", c="1")
    ran = folder.run()
    assert [record["photo"]["file"] for record in ran.done.failed] == ["a.jpg", "b.jpg"]
    assert ran.done.duplicates == ()


def test_a_photo_that_ends_its_process_is_listed_and_the_others_are_graded(folder, monkeypatch):
    def work(path, file, terms):
        import os

        from grader.errors import PhotoError
        from grader.report.result import failed_record

        if "kill" in file:
            os._exit(1)
        return failed_record(file, PhotoError(f"{file}: read elsewhere", "empty")), {}

    # Nested, so that it travels to the other processes as it is.
    monkeypatch.setattr(batch, "_work", work)
    write(folder, a="1", b="2", kill="3", z="4")
    codes = {r["photo"]["file"]: r["error"]["code"] for r in folder.run(workers=2).done.records}
    assert codes == {"a.jpg": "empty", "b.jpg": "empty", "kill.jpg": "internal", "z.jpg": "empty"}


def test_a_word_on_a_line_grades_its_photo_anew_and_no_other(folder):
    write(folder, a="1", b="2")
    folder.run()
    sha256 = hashlib.sha256(b"1").hexdigest()
    word = LineWord(1, ((50, 60), (90, 60)), "crack", "open")
    call = Call("a.jpg", sha256, 1, (40, 40, 200, 100), None, None, None, TIME, None, word)
    ran = folder.run(calls=[call])
    assert ran.graded == ["a.jpg"]
    assert records(ran.out)[0]["made_with"]["line_words"][0]["says"] == "crack"
    assert records(ran.out)[0]["pieces"][0]["call"] is None
    assert folder.run(calls=[call]).graded == []
    assert folder.run().graded == ["a.jpg"]
