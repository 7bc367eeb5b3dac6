"""A folder of photos: one record each, nothing measured twice, and nothing that stops the rest."""

import csv
import hashlib
import json
import os
from dataclasses import replace
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest

from grader import looking, looks
from grader.batch import FolderRun, find_photos, grade_folder
from grader.calling import save_calls
from grader.errors import GraderError
from grader.grading.models.model_files import load_model
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.facts import SavedLineWord
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.report.result import result_schema
from grader.settings import Settings
from grader.workers.pool import Pool

TIME = "2026-03-02T10:11:12+01:00"
BOX = (40, 40, 200, 100)


@pytest.fixture
def folder(tmp_path, measuring, ledgers_copied):
    """A folder whose photos are text files, as ``measuring`` reads them, and a ledger."""
    photos = tmp_path / "photos"
    photos.mkdir()

    with open_ledger(default_path()) as ledger:

        def run(profile=None, model=None, mm_per_px=None, whole=False, **given):
            measuring.clear()
            how = {key: given.pop(key) for key in ("anew", "on_photo") if key in given}
            workers = given.pop("workers", 1)
            done = grade_folder(
                photos,
                profile or load_profile(),
                model or load_model(),
                **{"ledger": ledger, "terms": PhotoTerms(mm_per_px, whole=whole)} | given,
                run=FolderRun(Pool(workers), **how),
            )
            return SimpleNamespace(
                done=done,
                measured=[one.photo.name for one in measuring],
                out=given.get("out", photos / "graded"),
            )

        yield SimpleNamespace(path=photos, run=run, ledger=ledger)


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
    assert (ran.out / "sheet.html").read_text("utf-8").count('class="tile"') == 3


def test_every_record_follows_the_schema(folder):
    write(folder, a="0", b="2 line", c="bad", d="crash", e="retake")
    save_calls([call(hashlib.sha256(b"2 line").hexdigest())], folder.ledger)
    for record in records(folder.run(mm_per_px=0.2).out):
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


def test_a_second_run_measures_nothing(folder):
    write(folder, a="1", b="2")
    first = folder.run()
    before = {path.name: path.read_bytes() for path in first.out.iterdir()}
    second = folder.run()
    assert second.measured == []
    assert (first.done.known, second.done.known) == (0, 2)
    assert {path.name: path.read_bytes() for path in second.out.iterdir()} == before


def test_a_new_photo_alone_is_measured(folder):
    write(folder, a="1")
    folder.run()
    write(folder, b="2")
    assert folder.run().measured == ["b.jpg"]


def test_a_photo_with_other_content_is_measured_again(folder):
    write(folder, a="1", b="2")
    folder.run()
    write(folder, a="3")
    again = folder.run()
    assert again.measured == ["a.jpg"]
    assert len(table(again.out)) == 5


@pytest.mark.parametrize("terms", [{"mm_per_px": 0.1}, {"whole": True}, {"anew": True}])
def test_other_terms_measure_everything_again(folder, terms):
    write(folder, a="1", b="2")
    folder.run()
    assert folder.run(**terms).measured == ["a.jpg", "b.jpg"]
    # What was measured on the first terms is still known.
    assert folder.run().measured == []


def test_another_model_measures_nothing_and_grades_all(folder):
    write(folder, a="1", b="2")
    folder.run()
    other = replace(load_model(), name="mine")
    ran = folder.run(model=other)
    assert ran.measured == []
    models = [piece["proposal"]["model"] for r in records(ran.out) for piece in r["pieces"]]
    assert models == [other.label] * 3


def test_another_profile_measures_everything_again(folder, tmp_path):
    text = (resources.files("grader") / "profiles" / "banded.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(text.replace("glare_share = 0.25", "glare_share = 0.2"))
    write(folder, a="1")
    folder.run()
    assert folder.run(profile=load_profile(tmp_path / "mine.toml")).measured == ["a.jpg"]


def test_another_measurement_version_measures_everything_again(folder, monkeypatch):
    write(folder, a="1")
    folder.run()
    monkeypatch.setattr(looks, "MEASUREMENT_VERSION", 99)
    assert folder.run().measured == ["a.jpg"]


def test_a_removed_photo_leaves_the_results_and_stays_in_the_ledger(folder):
    write(folder, a="1", b="2")
    folder.run()
    pictures = folder.ledger.pictures.names()
    (folder.path / "b.jpg").unlink()
    ran = folder.run()
    assert [record["photo"]["file"] for record in records(ran.out)] == ["a.jpg"]
    assert folder.ledger.pictures.names() == pictures
    write(folder, b="2")
    assert folder.run().measured == []


def test_a_renamed_photo_is_one_record_under_its_new_name(folder):
    write(folder, a="1")
    folder.run()
    (folder.path / "a.jpg").rename(folder.path / "z.jpg")
    ran = folder.run()
    assert ran.measured == []
    assert [record["photo"]["file"] for record in records(ran.out)] == ["z.jpg"]
    assert records(ran.out)[0]["photos"][0]["file"] == "z.jpg"


def test_the_same_photo_twice_is_measured_once_and_told(folder):
    write(folder, a="1", b="1")
    ran = folder.run()
    assert ran.measured == ["a.jpg"]
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


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_a_pipe_or_a_device_by_the_name_of_a_photo_is_told_and_never_waited_for(folder):
    write(folder, a="1")
    os.mkfifo(folder.path / "pipe.jpg")
    (folder.path / "zero.jpg").symlink_to("/dev/zero")
    failed = folder.run().done.failed
    assert [one["error"]["text"] for one in failed] == [
        f"{name}.jpg: not a file on a disk; give a JPEG, PNG, TIFF, WebP or HEIC photo"
        for name in ("pipe", "zero")
    ]


def test_what_failed_is_tried_again(folder):
    write(folder, a="bad", b="2")
    folder.run()
    assert folder.run().measured == ["a.jpg"]


def test_after_a_power_cut_only_what_was_not_done_is_measured(folder, monkeypatch):
    write(folder, a="1", b="2", c="3")
    measure_file = looking.measure_file

    def cut(photo, terms, profile, calls=()):
        if Path(photo).name == "c.jpg":
            raise KeyboardInterrupt
        return measure_file(photo, terms, profile, calls)

    monkeypatch.setattr(looking, "measure_file", cut)
    with pytest.raises(KeyboardInterrupt):
        folder.run()
    assert len([e for e in folder.ledger.entries() if e.fact.kind == "measured"]) == 2
    monkeypatch.setattr(looking, "measure_file", measure_file)
    ran = folder.run()
    assert ran.measured == ["c.jpg"]
    assert [record["photo"]["file"] for record in records(ran.out)] == ["a.jpg", "b.jpg", "c.jpg"]


def test_the_sheet_of_known_photos_holds_their_pictures_without_measuring(folder):
    write(folder, a="1", b="2")
    first = (folder.run().out / "sheet.html").read_text("utf-8")
    again = folder.run()
    assert again.measured == []
    assert (again.out / "sheet.html").read_text("utf-8") == first
    assert first.count('src="data:image/jpeg;base64,') == 3
    assert first.count('"regions": "iVBOR') == 3


@pytest.fixture
def cut_from(monkeypatch, make_graded):
    """Let photos that are text files be read as pictures, and return which were."""
    read = []

    def read_photo(path):
        read.append(Path(path).name)
        sha256 = hashlib.sha256(Path(path).read_bytes()).hexdigest()
        return replace(make_graded(3).photo, sha256=sha256)

    monkeypatch.setattr("grader.batch.read_photo", read_photo)
    return read


def test_large_pictures_are_cut_once_and_held_in_the_sheet(folder, cut_from):
    write(folder, a="1", b="2")
    ran = folder.run()
    lying = sorted(path.name for path in (ran.out / "pictures").iterdir())
    hashes = [record["photo"]["sha256"] for record in records(ran.out)]
    assert lying == sorted(
        f"{sha256[:16]}-40-{top}-200-100.jpg"
        for sha256, top in [(hashes[0], 40), (hashes[1], 40), (hashes[1], 180)]
    )
    assert cut_from == ["a.jpg", "b.jpg"]
    assert (ran.out / "sheet.html").read_text("utf-8").count('"large": "/9j/') == 3
    (folder.path / "b.jpg").unlink()
    folder.run()
    assert cut_from == ["a.jpg", "b.jpg"]
    assert [path.name for path in (ran.out / "pictures").iterdir()] == [
        f"{hashes[0][:16]}-40-40-200-100.jpg"
    ]


def test_too_many_large_pictures_for_a_mail_lie_beside_the_sheet(folder, cut_from, monkeypatch):
    monkeypatch.setattr("grader.batch.MOST_BYTES_HELD", 1000)
    write(folder, a="1")
    ran = folder.run()
    page = (ran.out / "sheet.html").read_text("utf-8")
    (picture,) = (ran.out / "pictures").iterdir()
    assert f'"beside": "pictures/{picture.name}"' in page and '"large": null' in page


def test_a_photo_that_is_gone_meanwhile_costs_only_its_large_picture(folder):
    # The text files of these tests are no pictures.
    write(folder, a="1")
    page = (folder.run().out / "sheet.html").read_text("utf-8")
    assert '"large": null' in page and '"beside": null' in page


def test_a_photo_whose_pictures_are_gone_is_measured_again(folder):
    write(folder, a="1", b="2")
    folder.run()
    (look,) = [
        e.fact
        for e in folder.ledger.entries()
        if e.fact.kind == "measured" and e.fact.record["photo"]["file"] == "b.jpg"
    ]
    folder.ledger.pictures.path(look.pictures[2]["sheet"]).unlink()
    # All hand-made stones look alike: one picture serves the first stone of both photos, the other the second.
    assert folder.run().measured == ["b.jpg"]
    assert folder.run().measured == []


def call(sha256, box=BOX, grade="select", by="Mira"):
    return Call("a.jpg", sha256, 1, box, grade, 71, by, TIME, None)


def test_calls_are_joined_anew_without_measuring(folder):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    assert records(folder.path / "graded")[0]["pieces"][0]["call"] is None
    save_calls([call(sha256)], folder.ledger)
    with_call = folder.run()
    assert with_call.measured == []
    (piece,) = records(with_call.out)[0]["pieces"]
    called = {"grade": "select", "scene": 71, "by": "Mira", "time": TIME, "note": None}
    assert {key: piece["call"][key] for key in called} == called
    row = table(with_call.out)[0]
    assert (row["called_grade"], row["grade"]) == ("select", "")
    assert row["proposed_grade"] == piece["proposal"]["grade"]


@pytest.mark.parametrize(("decider", "grade"), [(None, "waste"), ("Mira", "select")])
def test_the_deciders_word_counts_in_the_results(folder, decider, grade):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    save_calls([call(sha256), call(sha256, grade="waste", by="Nell")], folder.ledger)
    ran = folder.run(settings=Settings(decider=decider))
    (piece,) = records(ran.out)[0]["pieces"]
    assert piece["call"]["grade"] == grade
    assert [one["by"] for one in piece["calls"]] == ["Mira", "Nell"]
    assert table(ran.out)[0]["called_grade"] == grade


def test_a_call_whose_stone_is_gone_is_listed(folder):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    save_calls([call(sha256, (0, 0, 30, 30))], folder.ledger)
    ran = folder.run()
    ((lost, _),) = ran.done.lost_calls
    assert lost.box == (0, 0, 30, 30)
    (record,) = records(ran.out)
    assert record["pieces"][0]["call"] is None
    assert "call_without_stone" in [w["code"] for w in record["photo"]["warnings"]]


def test_a_dry_run_neither_reads_nor_keeps_anything(folder):
    write(folder, a="1")
    sha256 = records(folder.run().out)[0]["photo"]["sha256"]
    save_calls([call(sha256)], folder.ledger)
    before = list(folder.ledger.entries())
    dry = folder.run(ledger=None)
    assert dry.measured == ["a.jpg"] and dry.done.known == 0
    assert records(dry.out)[0]["pieces"][0]["call"] is None
    assert list(folder.ledger.entries()) == before


def test_each_photo_is_shown_by_a_batch(folder):
    write(folder, a="1", b="2")
    folder.run()
    shown = views.last_looks(folder.ledger)
    assert set(shown) == {hashlib.sha256(content).hexdigest() for content in (b"1", b"2")}
    again = folder.run(mm_per_px=0.2)
    assert again.measured and set(views.last_looks(folder.ledger).values()).isdisjoint(
        shown.values()
    )


def test_progress_counts_up_to_all_photos(folder):
    write(folder, a="1", b="2", c="bad")
    counts = []
    folder.run(on_photo=lambda done, total: counts.append((done, total)))
    assert counts == [(0, 3), (1, 3), (2, 3), (3, 3)]


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
    graded = folder.path / "graded"
    with pytest.raises(GraderError, match="graded: holds results of a batch"):
        grade_folder(graded, load_profile(), load_model(), folder.ledger, terms=PhotoTerms())


def test_results_of_another_folder_are_not_written_over(folder, tmp_path):
    write(folder, a="1")
    folder.run(out=tmp_path / "results")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "a.jpg").write_text("2")
    before = (tmp_path / "results" / "results.jsonl").read_bytes()
    with pytest.raises(GraderError, match=r"results: holds the results of .*photos"):
        grade_folder(
            tmp_path / "other", load_profile(), load_model(), folder.ledger,
            terms=PhotoTerms(), out=tmp_path / "results",
        )  # fmt: skip
    assert (tmp_path / "results" / "results.jsonl").read_bytes() == before


def test_what_a_person_put_in_place_of_a_result_is_kept_aside(folder):
    write(folder, a="1")
    folder.run()
    (folder.path / "graded" / "results.csv").write_text("mine")
    ran = folder.run()
    (kept,) = ran.done.kept_aside
    assert kept.name == "results.csv" and kept.path.read_text() == "mine"
    assert len(table(ran.out)) == 1


def test_a_run_of_other_terms_that_ended_meanwhile_is_followed_and_not_taken_for_the_sellers(
    folder,
):
    write(folder, a="1", b="2")

    def other(looks):
        if len(others) < 1:
            others.append(None)
            folder.run(mm_per_px=0.1)

    others = []
    done = grade_folder(
        folder.path, load_profile(), load_model(), folder.ledger, terms=PhotoTerms(whole=True),
        run=FolderRun(Pool(1), on_looks=other),
    )  # fmt: skip
    assert others and done.kept_aside == ()
    records = (folder.path / "graded" / "results.jsonl").read_text("utf-8").splitlines()
    assert [json.loads(line) for line in records] == json.loads(json.dumps(done.records))


def named_in_bytes(folder, name: bytes, content: bytes) -> None:
    """Write a photo whose name need not be UTF-8."""
    try:
        with open(os.fsencode(folder.path) + b"/" + name, "wb") as file:
            file.write(content)
    except OSError:
        pytest.skip("this file system takes UTF-8 names only")


def test_a_name_that_is_not_utf8_is_graded_all_the_same(folder):
    named_in_bytes(folder, b"caf\xe9.jpg", b"1")
    assert [row["photo"] for row in table(folder.run().out)] == ["caf\\udce9.jpg"]
    assert folder.run().measured == []


def test_two_names_that_are_written_alike_are_two_photos(folder):
    named_in_bytes(folder, b"\xff.jpg", b"1")
    named_in_bytes(folder, b"\\udcff.jpg", b"1 other")
    assert [row["photo"] for row in table(folder.run().out)] == [
        "\\udcff.jpg", "\\udcff.jpg (another)",
    ]  # fmt: skip


def test_results_are_not_put_where_photos_would_not_be_graded_any_more(folder):
    write(folder, a="1")
    (folder.path / "sub" / "deep").mkdir(parents=True)
    (folder.path / "sub" / "deep" / "b.jpg").write_text("2")
    with pytest.raises(GraderError, match=r"sub: photos lie there \(deep/b.jpg\), which would not"):
        folder.run(out=folder.path / "sub")
    assert [path.name for path in (folder.path / "sub").rglob("*")] == ["deep", "b.jpg"]
    # Its own pictures are no photos that it would miss.
    empty = folder.path / "empty"
    empty.mkdir()
    folder.run(out=empty)
    (empty / "seen.jpg").write_text("1")
    assert len(folder.run(out=empty).done.records) == 2


@pytest.mark.parametrize("mode", [0o000, 0o600])
def test_a_folder_that_cannot_be_opened_is_named_and_the_rest_is_done(folder, mode, monkeypatch):
    write(folder, a="1")
    closed = folder.path / "haul 2"
    closed.mkdir()
    (closed / "b.jpg").write_text("2")
    # To whoever runs tests as the system's owner every folder is open: as another would meet it.
    listed = os.scandir

    def refuse(what, of_mode):
        def ask(path, *args, **named):
            if isinstance(path, str | Path) and mode == of_mode and "haul 2" in str(path):
                raise PermissionError(13, "Permission denied", str(path))
            return what(path, *args, **named)

        return ask

    monkeypatch.setattr(os, "scandir", refuse(listed, 0o000))
    monkeypatch.setattr(os, "access", lambda path, how: Path(path) != closed)
    monkeypatch.setattr("grader.batch.is_out_folder", refuse(lambda path: False, 0o600))
    failed = folder.run().done.failed
    assert [(one["photo"]["file"], one["error"]["text"]) for one in failed] == [
        ("haul 2", "haul 2: a folder that cannot be opened; check its permissions")
    ]


def test_a_folder_that_cannot_be_opened_itself_is_one_line(folder, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(os, "scandir", refuse)
    with pytest.raises(GraderError, match="photos: a folder that cannot be opened; check its perm"):
        folder.run()


def test_copies_of_a_bad_photo_are_each_listed(folder):
    write(folder, a="bad", b="bad", c="1")
    ran = folder.run()
    assert [record["photo"]["file"] for record in ran.done.failed] == ["a.jpg", "b.jpg"]
    assert ran.done.duplicates == ()


@pytest.mark.slow
def test_a_photo_that_ends_its_process_is_listed_and_the_others_are_measured(folder, monkeypatch):
    def work(profile, to_keep, ask):
        import os

        from grader.errors import PhotoError

        if "kill" in ask.file:
            os._exit(1)
        return PhotoError(f"{ask.file}: read elsewhere", "empty")

    # Nested, so that it travels to the other processes as it is.
    monkeypatch.setattr(looking, "_work", work)
    write(folder, a="1", b="2", kill="3", z="4")
    codes = {r["photo"]["file"]: r["error"]["code"] for r in folder.run(workers=2).done.records}
    assert codes == {"a.jpg": "empty", "b.jpg": "empty", "kill.jpg": "internal", "z.jpg": "empty"}


def test_a_word_on_a_line_measures_its_photo_anew_and_no_other(folder):
    write(folder, a="1 line", b="2 line")
    folder.run()
    sha256 = hashlib.sha256(b"1 line").hexdigest()
    word = SavedLineWord(
        sha256=sha256, photo="a.jpg", piece_id=1, box=BOX,
        line=1, points=((80, 91), (160, 91)), says="pattern",
    )  # fmt: skip
    folder.ledger.add(word, author="Mira")
    ran = folder.run()
    assert ran.measured == ["a.jpg"]
    (piece,) = records(ran.out)[0]["pieces"]
    assert [line["source"] for line in piece["cracks"]["lines"]] == ["seller"]
    assert piece["call"] is None
    assert folder.run().measured == []
