"""``grader call``: what the seller says is a fact in the ledger, and the proposal stays as it was."""

import csv
import hashlib
import json
import os
from dataclasses import replace
from datetime import datetime
from importlib import resources

import pytest

from grader import looks
from grader.face.regions.patch_words import PatchWord
from grader.grading.proposal import Shown
from grader.report.headline import label_words


def test_a_call_holds_stone_place_time_and_what_was_shown(cli):
    photo = cli.photo("a.jpg", "2")
    shown = cli.pieces(photo)[1]
    options = ("--grade", "Select", "--scene", 71, "--by", "Mira", "--note", "two bands")
    ran = cli.run("call", photo, "--piece", 2, *options)
    assert ran.exit_code == 0
    (entry,) = cli.calls()
    assert datetime.fromisoformat(entry.time).utcoffset() is not None
    assert entry.author == "Mira"
    call, (look,) = entry.fact, cli.facts("look")
    assert (call.photo, call.sha256) == ("a.jpg", hashlib.sha256(b"2").hexdigest())
    assert (call.piece_id, call.box) == (2, (40, 180, 200, 100))
    assert call.outline == ((40, 180), (240, 180), (240, 280), (40, 280))
    assert (call.grade, call.scene, call.note) == ("select", 71, "two bands")
    # What the tool said at that time, beside what the seller says, and the measurement that it was said of.
    proposal = shown["proposal"]
    assert call.shown == Shown(
        proposal["grade"], shown["scene"]["score"], proposal["model"], shown["state"]["value"]
    )
    assert call.measured == look.fact.measured


def test_the_answer_tells_stone_grade_and_proposal(cli):
    photo = cli.photo("a.jpg", "2")
    ran = cli.run("call", photo, "--piece", 2, "--grade", "select", "--scene", 71, "--by", "Mira")
    proposal = cli.pieces(photo)[1]["proposal"]
    said = "the model does not know such stones"
    if not proposal["unfamiliar"]:
        said = f"proposed is {label_words(proposal)}"
    assert ran.stdout == (
        f"saved: a.jpg, stone 2: select, scene 71 by Mira; {said}, "
        f"scene {proposal['scene']} ({proposal['model']})\n"
    )
    assert ran.stderr == ""


def test_where_no_grade_is_proposed_the_answer_says_so(cli):
    ran = cli.run("call", cli.photo("a.jpg", "retake"), "--grade", "waste")
    assert ran.stdout.endswith("stone 1: waste; no grade is proposed from this photo\n")
    assert cli.calls()[0].fact.shown.grade is None


def test_calls_are_only_ever_added(cli):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select")
    before = cli.calls()
    cli.run("call", photo, "--grade", "waste")
    assert cli.calls()[:1] == before
    assert [entry.fact.grade for entry in cli.calls()] == ["select", "waste"]


def test_check_shows_the_call_beside_the_proposal(cli):
    photo = cli.photo("a.jpg")
    (before,) = cli.pieces(photo)
    cli.run("call", photo, "--grade", "select")
    (piece,) = cli.pieces(photo)
    assert before["call"] is None and piece["call"]["grade"] == "select"
    assert piece["proposal"] == before["proposal"]


def test_a_scene_alone_is_a_call(cli):
    assert cli.run("call", cli.photo("a.jpg"), "--scene", 0).exit_code == 0
    (entry,) = cli.calls()
    assert (entry.fact.grade, entry.fact.scene) == (None, 0)


def test_who_sorts_here_stands_in_the_settings(cli):
    (cli.folder / "grader.toml").write_text('by = "Nell"\n')
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select")
    cli.run("call", photo, "--grade", "waste", "--by", "Mira")
    assert [entry.author for entry in cli.calls()] == ["Nell", "Mira"]


def test_a_call_stands_on_what_was_shown_last_and_measures_nothing(cli):
    photo = cli.photo("a.jpg")
    cli.run("check", photo, "--mm-per-px", 0.2)
    cli.run("check", photo, "--mm-per-px", 0.3)
    (last,) = [e for e in cli.facts("measured") if e.fact.terms["mm_per_px"] == 0.3]
    ran = cli.run("call", photo, "--grade", "select")
    assert ran.exit_code == 0 and cli.asked == []
    assert cli.calls()[0].fact.measured == last.fact.uid


def test_a_photo_that_nobody_saw_is_looked_at_on_the_terms_of_the_call(cli):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select", "--mm-per-px", 0.2)
    (asked,) = cli.asked
    assert asked.terms.mm_per_px == 0.2
    assert cli.calls()[0].fact.measured == cli.facts("measured")[0].fact.uid


@pytest.mark.parametrize(
    ("args", "reason"),
    [
        (("--grade", "selct"), "grade 'selct' is not on the ladder (did you mean 'select'?)"),
        (("--grade", "select"), "a.jpg: no piece named and it holds 2 stones; give the number"),
        (("--grade", "select", "--piece", "3"), "a.jpg: no piece 3, it holds 2 stones"),
    ],
)
def test_a_call_that_meets_no_stone_or_grade_is_one_line(cli, args, reason):
    ran = cli.run("call", cli.photo("a.jpg", "2"), *args)
    assert ran.exit_code == 1
    assert ran.stderr.startswith(f"grader: {reason}") and ran.stderr.count("\n") == 1
    assert cli.calls() == []


def test_a_call_on_a_photo_that_is_not_there_is_one_line(cli):
    ran = cli.run("call", "gone.jpg", "--grade", "select")
    assert ran.exit_code == 1
    assert "gone.jpg: no such file" in ran.stderr and ran.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["a.jpg"],
        ["a.jpg", "--scene", "101"],
        ["a.jpg", "--piece", "0", "--grade", "select"],
        ["a.jpg", "--scene", "12,5"],
        ["a.jpg", "--grade", " "],
        ["a.jpg", "--stone", "A1"],
        ["a.jpg", "--by", "Nell", "--note", "thin"],
        ["a.jpg", "--grade", "select", "--from", "CALLS.csv"],
        ["--from", "CALLS.csv", "--grade", "select"],
        ["a.jpg", "--grade", "select", "--photos", "haul"],
    ],
)
def test_half_a_call_is_a_usage_error_of_one_line(cli, args):
    cli.photo("a.jpg")
    ran = cli.run("call", *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1
    assert cli.calls() == []


@pytest.mark.parametrize("blank", ["", "  "])
def test_a_blank_name_or_note_is_not_given(cli, blank):
    words = [part for name in ("--by", "--note", "--stone") for part in (name, blank)]
    assert cli.run("call", cli.photo("a.jpg"), "--grade", "select", *words).exit_code == 0
    (entry,) = cli.calls()
    assert (entry.author, entry.fact.note, entry.fact.stone) == (None, None, None)


def save(path, *rows):
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "sha256", "piece", "box", "grade", "scene", "by", "note"])
        writer.writerows(rows)


SHEET_ROW = ("h/a.jpg", "ab" * 32, 2, "1 2 30 40", "select", "", "Mira", "good")


def test_the_table_that_a_sheet_saves_is_taken_in_without_the_photos(cli):
    save(cli.folder / "CALLS.csv", SHEET_ROW)
    ran = cli.run("call", "--from", "CALLS.csv")
    assert (ran.exit_code, ran.stdout) == (0, "1 call saved\n")
    (entry,) = cli.calls()
    assert (entry.fact.sha256, entry.fact.box) == ("ab" * 32, (1, 2, 30, 40))
    assert (entry.author, entry.fact.note) == ("Mira", "good")


HEAD = "photo,sha256,piece,box,grade,scene,by,note,time,uid"


def download(cli, name, *rows):
    """A table as the sheet saves it, of the stones of a.jpg: piece, grade, and what its uid is made of."""
    sha256 = hashlib.sha256((cli.folder / "a.jpg").read_bytes()).hexdigest()
    boxes = {1: "40 40 200 100", 2: "40 180 200 100"}
    lines = [
        f"a.jpg,{sha256},{piece},{boxes[piece]},{grade},,Mira,,2026-03-02T10:11:12+01:00,{uid * 32}"
        for piece, grade, uid in rows
    ]
    folder = cli.folder / "down"
    folder.mkdir(exist_ok=True)
    (folder / name).write_text("\n".join([HEAD, *lines]) + "\n")
    return folder / name


@pytest.fixture
def downloads(cli, monkeypatch):
    """The usual download folder, and a photo that was checked."""
    monkeypatch.setattr("platformdirs.user_downloads_path", lambda: cli.folder / "down")
    cli.run("check", cli.photo("a.jpg", "2"))
    return cli.folder / "down"


def test_calls_that_a_sheet_saved_are_found_where_downloads_go(cli, downloads):
    table = download(cli, "calls-haul-07-2026-03-02.csv", (1, "select", "a"), (2, "waste", "b"))
    ran = cli.run("call", "--from")
    assert (ran.exit_code, ran.stdout) == (0, f"{table}: 2 calls saved\n")
    assert [(e.fact.uid, e.time) for e in cli.calls()] == [
        ("a" * 32, "2026-03-02T10:11:12+01:00"),
        ("b" * 32, "2026-03-02T10:11:12+01:00"),
    ]
    assert (
        cli.run("call", "--from").stdout == f"{downloads}: nothing new; 1 table taken in before\n"
    )


def test_of_a_second_download_only_what_is_new_is_taken_in(cli, downloads):
    download(cli, "calls-haul-07-2026-03-02.csv", (1, "select", "a"))
    cli.run("call", "--from")
    table = download(cli, "calls-haul-07-2026-03-02 (1).csv", (1, "select", "a"), (2, "waste", "b"))
    assert cli.run("call", "--from").stdout.splitlines() == [
        f"{table}: 1 call saved, 1 known before",
        f"{downloads}: 1 table taken in before",
    ]
    assert [e.fact.grade for e in cli.calls()] == ["select", "waste"]


def test_a_saved_call_does_not_come_back_over_a_later_word(cli, downloads):
    table = download(cli, "calls-haul-07-2026-03-02.csv", (1, "select", "a"))
    cli.run("call", "--from")
    cli.run("call", "a.jpg", "--piece", 1, "--grade", "waste", "--by", "Mira")
    assert cli.run("call", "--from", table).stdout == "0 calls saved, 1 known before\n"
    cli.run("call", "a.jpg", "--piece", 1, "--by", "Mira", "--undo")
    cli.run("call", "a.jpg", "--piece", 1, "--by", "Mira", "--undo")
    assert cli.run("call", "--from", table).stdout == "0 calls saved, 1 known before\n"
    assert len(cli.calls()) == 2


def test_tables_of_other_photos_and_other_files_there_are_left_alone(cli, downloads):
    cli.photo("b.jpg", "1 b")
    table = download(cli, "calls-season-2026-03-02.csv", (1, "select", "a"))
    table.write_text(table.read_text().replace("a.jpg,", "b.jpg,f", 1))
    (downloads / "calls.csv").write_text("a,b\n1,2\n")
    ran = cli.run("call", "--from", "--by", "Nell")
    assert ran.exit_code == 0 and cli.calls() == []
    assert ran.stdout.splitlines() == [
        f"{table}: of photos that this ledger does not hold; left alone, name it behind --from to take it in",
        f"{downloads}: nothing new",
    ]


def test_where_no_sheet_saved_anything_that_is_one_line(cli, downloads):
    downloads.mkdir()
    ran = cli.run("call", "--from")
    assert ran.exit_code == 1
    assert ran.stderr == (
        f"grader: {downloads}: no calls that a sheet saved (calls-*.csv); save them there, or name the file behind "
        "--from\n"
    )


def test_another_folder_can_be_named(cli, downloads):
    table = download(cli, "calls-haul-07-2026-03-02.csv", (1, "select", "a"))
    assert cli.run("call", "--from", "down").stdout == f"down/{table.name}: 1 call saved\n"


def test_a_table_taken_in_twice_adds_nothing(cli):
    save(cli.folder / "CALLS.csv", SHEET_ROW)
    cli.run("call", "--from", "CALLS.csv")
    assert cli.run("call", "--from", "CALLS.csv").stdout == "0 calls saved, 1 known before\n"
    assert len(cli.calls()) == 1


@pytest.mark.parametrize(
    "rows",
    [
        ("1,select,", "2,,12", "2,waste,"),
        # The later one counts, the first time and the second.
        ("1,select,", "1,waste,"),
        ("1,select,", "1,waste,", "1,select,"),
    ],
)
def test_several_rows_on_one_stone_taken_in_twice_add_nothing(cli, rows):
    cli.photo("a.jpg", "2")
    (cli.folder / "mine.csv").write_text(
        "photo,piece,grade,scene\n" + "".join(f"a.jpg,{row}\n" for row in rows)
    )
    assert cli.run("call", "--from", "mine.csv").stdout == f"{len(rows)} calls saved\n"
    output = cli.run("call", "--from", "mine.csv").stdout
    assert output == f"0 calls saved, {len(rows)} known before\n"


def test_a_row_added_to_a_table_is_all_that_is_new(cli):
    cli.photo("a.jpg", "2")
    table = cli.folder / "mine.csv"
    table.write_text("photo,piece,grade,scene\na.jpg,1,select,\na.jpg,1,select,\n")
    assert cli.run("call", "--from", "mine.csv").stdout == "1 call saved, 1 known before\n"
    table.write_text("photo,piece,grade,scene\na.jpg,1,select,\na.jpg,1,,40\n")
    assert cli.run("call", "--from", "mine.csv").stdout == "1 call saved, 1 known before\n"
    assert [(e.fact.grade, e.fact.scene) for e in cli.calls()] == [("select", None), (None, 40)]


def test_two_people_may_say_the_same_of_one_stone(cli):
    cli.photo("a.jpg")
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\na.jpg,1,select,\n")
    cli.run("call", "--from", "mine.csv", "--by", "Mira")
    assert cli.run("call", "--from", "mine.csv", "--by", "Nell").stdout == "1 call saved\n"
    assert [entry.author for entry in cli.calls()] == ["Mira", "Nell"]


def test_a_table_of_photo_piece_and_grade_finds_its_stones(cli):
    cli.photo("a.jpg", "2")
    cli.photo("b.jpg", "1")
    (cli.folder / "mine.csv").write_text(
        "photo;piece;grade;scene\na.jpg;2;select;\nb.jpg;;waste;12\n"
    )
    assert cli.run("call", "--from", "mine.csv").exit_code == 0
    assert [(e.fact.photo, e.fact.piece_id, e.fact.box) for e in cli.calls()] == [
        ("a.jpg", 2, (40, 180, 200, 100)),
        ("b.jpg", 1, (40, 40, 200, 100)),
    ]


def test_a_tables_photos_are_looked_for_where_it_lies_or_where_you_say(cli):
    cli.photo("haul/a.jpg", "1 a")
    cli.photo("far/b.jpg", "1 b")
    (cli.folder / "haul" / "graded").mkdir()
    for name in ("a", "b"):
        table = cli.folder / "haul" / "graded" / f"{name}.csv"
        table.write_text(f"photo,piece,grade,scene\n{name}.jpg,1,waste,\n")
    assert cli.run("call", "--from", "haul/graded/a.csv").exit_code == 0
    ran = cli.run("call", "--from", "haul/graded/b.csv")
    assert ran.exit_code == 1 and "b.jpg: no such photo in" in ran.stderr
    assert cli.run("call", "--from", "haul/graded/b.csv", "--photos", "far").exit_code == 0
    assert [entry.fact.photo for entry in cli.calls()] == ["a.jpg", "b.jpg"]


def test_rows_that_cannot_be_used_are_told_and_the_others_taken_in(cli):
    cli.photo("a.jpg", "2")
    rows = "a.jpg,9,select,\na.jpg,1,best,\ngone.jpg,1,select,\na.jpg,1,select,\n"
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\n" + rows)
    ran = cli.run("call", "--from", "mine.csv")
    assert ran.exit_code == 1
    assert [(e.fact.piece_id, e.fact.grade) for e in cli.calls()] == [(1, "select")]
    for line in ("line 2: a.jpg: no piece 9", "line 3: grade 'best'", "line 4: gone.jpg: no such"):
        assert line in ran.stderr


@pytest.mark.parametrize("by", ["Mira", None])
def test_a_filled_results_table_beside_its_photos_is_taken_in(cli, by):
    cli.photo("haul/a.jpg", "2")
    cli.run("batch", "haul")
    path = cli.folder / "haul" / "graded" / "results.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    rows[1]["grade"] = "waste"
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    ran = cli.run("call", "--from", path, *(("--by", by) if by else ()))
    assert ran.exit_code == 0 and cli.asked == []
    ((author, call),) = [(entry.author, entry.fact) for entry in cli.calls()]
    assert (author, call.photo, call.piece_id, call.grade) == (by, "a.jpg", 2, "waste")
    # The table does not tell the outline; the stone that was shown does.
    assert call.outline is not None and call.measured == cli.facts("look")[0].fact.measured


def test_a_table_that_is_not_there_is_one_line(cli):
    ran = cli.run("call", "--from", "gone.csv")
    assert ran.exit_code == 1
    assert len(ran.stderr.splitlines()) == 1
    assert "gone.csv" in ran.stderr


def test_a_table_of_the_sheet_brings_what_it_showed(cli):
    cli.photo("a.jpg")
    head = "photo,piece,grade,scene,stone,shown_grade,shown_scene,shown_state,shown_model"
    row = "a.jpg,1,waste,,bucket 3,select,71,wet,starter 0123"
    (cli.folder / "CALLS.csv").write_text(f"{head}\n{row}\n")
    assert cli.run("call", "--from", "CALLS.csv").exit_code == 0
    (entry,) = cli.calls()
    assert entry.fact.stone == "bucket 3"
    assert entry.fact.shown == Shown("select", 71, "starter 0123", "wet")


def test_a_word_on_a_line_is_kept_with_its_points_and_answered_with_how_to_know_it(cli):
    args = ("--line", 1, "--is", "crack", "--found", "open", "--how", "nail catches")
    photo = cli.photo("a.jpg", "2 line")
    ran = cli.run("call", photo, "--piece", 2, *args, "--by", "Mira")
    # 40 working px are 80 px of the photo; the line lies on the face from 20 to 60 of 100 px.
    assert ran.stdout.startswith(
        "saved: a.jpg, stone 2, line 1 (crack, 80 px, across the middle): a crack, found open by Mira"
    )
    assert cli.calls() == []
    (entry,) = cli.facts("line_word")
    word = entry.fact
    assert (entry.author, word.photo, word.piece_id) == ("Mira", "a.jpg", 2)
    assert word.box == (40, 180, 200, 100)
    # 20 and 60 working px at half size, from 40, 180 on.
    assert (word.line, word.points) == (1, ((80, 231), (160, 231)))
    assert (word.says, word.found, word.how) == ("crack", "open", "nail catches")


def test_the_length_of_a_line_is_told_in_mm_where_the_scale_is_known(cli):
    photo = cli.photo("a.jpg", "1 line")
    ran = cli.run("call", photo, "--line", 1, "--is", "pattern", "--mm-per-px", 0.2)
    assert "line 1 (crack, 16 mm, across the middle): a pattern line" in ran.stdout


def test_a_word_on_a_line_counts_at_once_on_the_terms_that_were_shown(cli):
    photo = cli.photo("a.jpg", "1 line")
    cli.run("check", photo, "--mm-per-px", 0.2)
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    (asked,) = cli.asked
    assert asked.terms.mm_per_px == 0.2
    assert [call.line.says for call in asked.calls] == ["pattern"]
    ran = cli.run("check", photo, "--mm-per-px", 0.2, "--json")
    # What the word made of the stone was kept, so nothing is measured again to show it.
    assert cli.asked == []
    (line,) = json.loads(ran.stdout)["pieces"][0]["cracks"]["lines"]
    assert (line["class"], line["source"]) == ("pattern line", "seller")


def test_a_word_on_a_line_counts_on_any_other_terms(cli):
    photo = cli.photo("a.jpg", "1 line")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    cli.run("check", photo, "--mm-per-px", 0.3)
    (asked,) = cli.asked
    assert [call.line.says for call in asked.calls] == ["pattern"]


def test_what_a_word_on_a_line_changes_in_the_proposal_is_told(cli, monkeypatch):
    # By the hand-made model any crack is waste.
    def propose(facts, scene, profile, model):
        proposal = real(facts, scene, profile, model)
        return replace(proposal, grade="waste" if facts.cracks else "select")

    real = looks.propose
    monkeypatch.setattr(looks, "propose", propose)
    photo = cli.photo("a.jpg", "1 line")
    ran = cli.run("call", photo, "--line", 1, "--is", "pattern")
    assert ran.stdout.endswith(
        ": a pattern line; cracks by this word 0, before 1; proposed is now select, before waste\n"
    )
    other = cli.photo("b.jpg", "1 line b")
    ran = cli.run("call", other, "--line", 1, "--is", "crack", "--by", "Mira")
    assert ran.stdout.endswith(": a crack by Mira\n")


def test_a_line_word_withdrawn_is_a_fact_more_and_the_photo_counts_again(cli):
    photo = cli.photo("a.jpg", "1 line")
    for says in ("pattern", "withdrawn"):
        cli.run("call", photo, "--line", 1, "--is", says)
    assert [entry.fact.says for entry in cli.facts("line_word")] == ["pattern", "withdrawn"]
    (line,) = cli.pieces(photo)[0]["cracks"]["lines"]
    assert (line["class"], line["source"]) == ("crack", "photo")


def test_a_word_on_a_line_leaves_the_word_on_the_stone(cli):
    photo = cli.photo("a.jpg", "1 line")
    cli.run("call", photo, "--grade", "select", "--by", "Mira")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    (piece,) = cli.pieces(photo)
    assert (piece["call"]["grade"], piece["call"]["by"]) == ("select", "Mira")


@pytest.mark.parametrize(
    ("args", "reason"),
    [
        (("--piece", 1, "--line", 2, "--is", "crack"), "no line 2 on stone 1, it shows lines 1 to"),
        (("--piece", 3, "--line", 1, "--is", "crack"), "no piece 3, it holds 2 stones"),
        (("--line", 1, "--is", "crack"), "no piece named and it holds 2 stones"),
    ],
)
def test_a_word_on_what_is_not_there_is_one_line(cli, args, reason):
    ran = cli.run("call", cli.photo("a.jpg", "2 line"), *args)
    assert ran.exit_code == 1
    assert reason in ran.stderr and ran.stderr.count("\n") == 1
    assert cli.facts("call", "line_word") == []


def test_a_word_on_a_line_where_none_is_seen_says_so(cli):
    ran = cli.run("call", cli.photo("a.jpg"), "--line", 1, "--is", "crack")
    assert ran.exit_code == 1 and "no line 1 on stone 1, no line is seen" in ran.stderr


@pytest.mark.parametrize(
    "args",
    [
        ("--grade", "waste", "--found", "open"),
        ("--grade", "waste", "--is", "crack"),
        ("--how", "nail", "--grade", "waste"),
        ("--line", 1),
        ("--line", 1, "--is", "vein"),
        ("--line", 1, "--is", "crack", "--grade", "waste"),
        ("--line", 0, "--is", "crack"),
    ],
)
def test_an_incomplete_word_on_a_line_is_refused(cli, args):
    ran = cli.run("call", cli.photo("a.jpg", "1 line"), *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1
    assert cli.facts("call", "line_word") == []


def test_a_word_on_a_patch_is_kept_with_its_place_and_counts_at_once(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("check", photo, "--mm-per-px", 0.2)
    # Stone 2 fills 40 to 240 by 180 to 280 px: the patch tells which stone is meant.
    ran = cli.run("call", photo, "--patch", "100,230,20,10", "--is", "White", "--by", "Mira")
    assert ran.stdout.startswith("saved: a.jpg, stone 2, patch 100,230,20,10: white by Mira; ")
    assert cli.calls() == []
    (entry,) = cli.facts("region_word")
    fact = entry.fact
    assert (entry.author, fact.photo, fact.piece_id) == ("Mira", "a.jpg", 2)
    assert fact.word == PatchWord(100, 230, 20, 10, "white")
    assert fact.box == (40, 180, 200, 100)
    (asked,) = cli.asked
    assert asked.terms.mm_per_px == 0.2
    assert [call.patch for call in asked.calls] == [fact.word]
    # What the word made of the stone was kept, so nothing is measured again to show it.
    cli.run("check", photo, "--mm-per-px", 0.2)
    assert cli.asked == []


def test_a_point_is_a_small_patch(cli):
    cli.run("call", cli.photo("a.jpg", "2"), "--patch", "100,230", "--is", "glare")
    assert cli.facts("region_word")[0].fact.word == PatchWord(98, 228, 4, 4, "glare")


@pytest.mark.slow
def test_after_twelve_patches_on_three_photos_a_profile_is_offered(cli):
    for n, name in enumerate(("a.jpg", "b.jpg", "c.jpg")):
        photo = cli.photo(name, f"2 {name}")
        for at in range(4):
            ran = cli.run("call", photo, "--patch", f"{60 + 30 * at},230", "--is", "blue")
            offered = "12 patches said on 3 photos: grader colours --out mine.toml" in ran.stderr
            assert offered == (n == 2 and at == 3)
    # One taken back is one fewer.
    ran = cli.run("call", photo, "--patch", "60,230", "--is", "withdrawn")
    assert "patches said" not in ran.stderr


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("--patch", "100,230", "--is", "whit"), "did you mean 'white'"),
        (("--patch", "5,5", "--is", "white"), "the middle of that patch is not on a stone"),
        (("--patch", "100,230", "--is", "white", "--piece", 1), "is not on stone 1"),
        (("--patch", "100,9000", "--is", "white"), "lies off the photo"),
    ],
)
def test_a_patch_that_cannot_be_used_is_told(cli, args, text):
    ran = cli.run("call", cli.photo("a.jpg", "2"), *args)
    assert ran.exit_code == 1 and text in ran.stderr and ran.stderr.count("\n") == 1
    assert cli.facts("region_word") == []


@pytest.mark.parametrize(
    "args",
    [
        ("--patch", "100,230"),
        ("--patch", "100", "--is", "white"),
        ("--patch", "100,230,5", "--is", "white"),
        ("--patch", "100,230,0,5", "--is", "white"),
        ("--patch", "100,x", "--is", "white"),
        ("--patch", "100,230", "--is", "white", "--grade", "waste"),
        ("--patch", "100,230", "--is", "white", "--note", "pale"),
        ("--patch", "100,230", "--line", 1, "--is", "crack"),
        ("--patch", "100,230", "--is", "white", "--undo"),
    ],
)
def test_an_incomplete_word_on_a_patch_is_refused(cli, args):
    ran = cli.run("call", cli.photo("a.jpg", "2"), *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1
    assert cli.facts("call", "line_word", "region_word") == []


def test_taking_back_is_a_fact_and_the_call_before_it_holds_again(cli):
    photo = cli.photo("a.jpg")
    for grade in ("select", "waste"):
        cli.run("call", photo, "--grade", grade)
    ran = cli.run("call", photo, "--undo")
    assert ran.exit_code == 0
    assert ran.stdout.startswith("taken back: a.jpg, stone 1: waste, 20")
    first, second = cli.calls()
    assert [entry.fact.call for entry in cli.facts("taken_back")] == [second.fact.uid]
    assert cli.pieces(photo)[0]["call"]["grade"] == "select"
    cli.run("call", photo, "--undo")
    assert [entry.fact.call for entry in cli.facts("taken_back")][1] == first.fact.uid
    assert cli.pieces(photo)[0]["call"] is None
    # What was taken back can be said again.
    cli.run("call", photo, "--grade", "waste")
    assert cli.pieces(photo)[0]["call"]["grade"] == "waste"


def test_a_person_takes_back_their_own_word_alone(cli):
    photo = cli.photo("a.jpg")
    for grade, by in (("select", "Mira"), ("waste", "Nell")):
        cli.run("call", photo, "--grade", grade, "--by", by)
    assert "select by Mira" in cli.run("call", photo, "--undo", "--by", "Mira").stdout
    ran = cli.run("call", photo, "--undo", "--by", "Mira")
    assert ran.exit_code == 1
    assert "a.jpg: nothing to take back, no call by Mira on stone 1 holds" in ran.stderr
    assert [call.by for call in cli.holding()] == ["Nell"]


def test_what_was_taken_back_is_not_added_by_the_same_table_again(cli):
    photo = cli.photo("a.jpg")
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\na.jpg,1,waste,\n")
    cli.run("call", photo, "--grade", "select")
    cli.run("call", "--from", "mine.csv")
    cli.run("call", photo, "--undo")
    assert cli.run("call", "--from", "mine.csv").stdout == "0 calls saved, 1 known before\n"
    assert [call.grade for call in cli.holding()] == ["select"]


def test_a_table_says_anew_what_another_word_came_after(cli):
    photo = cli.photo("a.jpg")
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\na.jpg,1,waste,\n")
    cli.run("call", "--from", "mine.csv")
    cli.run("call", photo, "--grade", "cabbing")
    cli.run("call", "--from", "mine.csv")
    assert [entry.fact.grade for entry in cli.calls()] == ["waste", "cabbing", "waste"]


def test_undo_where_nothing_holds_is_told_and_not_written(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 1, "--grade", "select")
    for piece, taken in ((2, 0), (1, 1), (1, 1)):
        ran = cli.run("call", photo, "--piece", piece, "--undo")
        assert len(cli.facts("taken_back")) == taken
    assert ran.exit_code == 1 and "a.jpg: nothing to take back" in ran.stderr
    assert ran.stderr.count("\n") == 1


def test_undo_says_nothing_else(cli):
    ran = cli.run("call", cli.photo("a.jpg"), "--undo", "--grade", "waste")
    assert ran.exit_code == 2 and cli.calls() == []


def test_calls_of_two_people_stand_side_by_side_and_the_last_counts(cli):
    photo = cli.photo("a.jpg")
    for grade, by in (("select", "Mira"), ("waste", "Nell"), ("cabbing", "Mira")):
        cli.run("call", photo, "--grade", grade, "--by", by)
    (piece,) = cli.pieces(photo)
    assert [(one["by"], one["grade"]) for one in piece["calls"]] == [
        ("Nell", "waste"),
        ("Mira", "cabbing"),
    ]
    assert (piece["call"]["grade"], piece["call"]["decided"]) == ("cabbing", "last")


def test_the_deciders_word_counts_whoever_spoke_last(cli):
    (cli.folder / "grader.toml").write_text('decider = "Mira"\n')
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select", "--by", "Mira")
    cli.run("call", photo, "--grade", "waste", "--scene", 12, "--by", "Nell")
    (piece,) = cli.pieces(photo)
    call = piece["call"]
    assert (call["grade"], call["by"], call["decided"]) == ("select", "Mira", "decider")
    # The decider has said no scene, so that of the other one holds, under their name.
    assert (call["scene"], call["scene_by"]) == (12, "Nell")
    assert "select" in cli.run("check", photo).stdout


def test_an_edited_photo_at_the_same_place_keeps_its_calls_by_outline(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 2, "--grade", "select")
    cli.photo("a.jpg", "3 and brighter")
    assert [piece["call"] and piece["call"]["grade"] for piece in cli.pieces(photo)] == [
        None,
        "select",
        None,
    ]


def test_a_call_whose_stone_the_edited_photo_does_not_show_is_told(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 2, "--grade", "select")
    cli.photo("a.jpg", "1 and cropped")
    assert "call without a stone: select" in cli.run("check", photo).stdout
    assert "call without a stone" not in cli.run("check", cli.photo("b.jpg", "1 b")).stdout


def test_photos_of_one_name_in_two_folders_are_two(cli):
    spring, summer = cli.photo("spring/a.jpg", "1 spring"), cli.photo("summer/a.jpg", "1 summer")
    cli.run("call", spring, "--grade", "select")
    assert cli.pieces(summer)[0]["call"] is None
    cli.run("call", summer, "--grade", "waste")
    assert cli.pieces(spring)[0]["call"]["grade"] == "select"
    assert cli.pieces(summer)[0]["call"]["grade"] == "waste"


def test_a_copy_elsewhere_is_the_same_photo(cli):
    cli.run("call", cli.photo("spring/a.jpg", "1"), "--grade", "select")
    (piece,) = cli.pieces(cli.photo("summer/z.jpg", "1"))
    assert cli.asked == [] and piece["call"]["grade"] == "select"


def test_a_call_without_a_ledger_is_refused_in_one_line(cli):
    photo = cli.photo("a.jpg")
    for args in (("call", photo, "--grade", "select"), ("call", "--from", "CALLS.csv")):
        ran = cli.run(*args, "--no-ledger")
        assert ran.exit_code == 1
        assert ran.stderr == "grader: a call needs the ledger; leave --no-ledger out\n"
    assert cli.asked == [] and list(cli.data.iterdir()) == []


def test_a_photo_whose_name_is_not_utf8_can_be_called(cli):
    name = os.fsdecode(b"caf\xe9.jpg")
    try:
        cli.photo(name)
    except OSError:
        pytest.skip("this file system takes UTF-8 names only")
    assert cli.run("call", name, "--grade", "select").exit_code == 0
    assert cli.calls()[0].fact.photo == "caf\\udce9.jpg"
    assert cli.pieces(name)[0]["call"]["grade"] == "select"


def test_a_grade_of_the_profile_in_use_is_known(cli):
    own = resources.files("grader").joinpath("profiles/banded.toml").read_text("utf-8")
    (cli.folder / "own.toml").write_text(own.replace("select", "finest"))
    photo = cli.photo("a.jpg")
    assert cli.run("call", photo, "--grade", "select", "--profile", "own.toml").exit_code == 1
    assert cli.run("call", photo, "--grade", "Finest", "--profile", "own.toml").exit_code == 0
