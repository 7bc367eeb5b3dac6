"""``grader batch`` as people see it."""

import json

import pytest


def records(cli, out="haul/graded"):
    lines = (cli.folder / out / "results.jsonl").read_text("utf-8").splitlines()
    return [json.loads(line) for line in lines]


def test_the_results_lie_in_the_folder_and_the_sheet_is_named(cli):
    cli.photo("haul/a.jpg", "2")
    ran = cli.run("batch", "haul")
    assert ran.exit_code == 0
    assert ran.stdout.strip().replace("\\", "/") == "haul/graded/sheet.html"
    assert "1 photo looked at, 2 stones found" in ran.stderr
    names = {path.name for path in (cli.folder / "haul" / "graded").iterdir()}
    assert {"results.jsonl", "results.csv", "sheet.html"} <= names


def test_the_results_go_where_they_are_asked_to(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul", "--out", "there")
    assert (cli.folder / "there" / "sheet.html").exists()
    assert not (cli.folder / "haul" / "graded").exists()


def test_failures_are_listed_and_end_with_1(cli):
    cli.photo("haul/a.jpg", "bad")
    cli.photo("haul/b.jpg")
    ran = cli.run("batch", "haul")
    assert ran.exit_code == 1
    assert "failed: a.jpg: not a photo; give a JPEG" in ran.stderr
    assert (cli.folder / "haul" / "graded" / "sheet.html").exists()


def test_two_failures_of_one_name_are_told_apart(cli):
    cli.photo("haul/a.jpg", "bad")
    cli.photo("haul/deep down/a.jpg", "bad too")
    output = cli.run("batch", "haul").stderr
    assert "failed: a.jpg: not a photo" in output
    assert "failed: deep down/a.jpg: not a photo" in output


def test_what_a_person_should_know_is_told(cli):
    cli.photo("haul/a.jpg", "0")
    cli.photo("haul/b.jpg", "1")
    cli.photo("haul/c.jpg", "1")
    ran = cli.run("batch", "haul")
    assert "no stone found: a.jpg" in ran.stderr
    assert "same photo: c.jpg and b.jpg" in ran.stderr


def test_a_second_run_measures_nothing_and_says_so(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul")
    ran = cli.run("batch", "haul")
    assert "1 photo looked at, 1 stone found; 1 photo known before" in ran.stderr
    assert cli.asked == []


def test_what_check_has_measured_is_known_to_batch_and_the_other_way_round(cli):
    a, b = cli.photo("haul/a.jpg", "1 a"), cli.photo("haul/b.jpg", "1 b")
    cli.run("check", a)
    cli.run("batch", "haul")
    assert [one.photo.name for one in cli.asked] == ["b.jpg"]
    assert cli.pieces(b) and cli.asked == []


def test_anew_measures_what_is_known_again(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul")
    cli.run("batch", "haul", "--anew")
    assert [one.photo.name for one in cli.asked] == ["a.jpg"]


def test_batch_and_check_say_the_same_of_one_photo(cli):
    photo = cli.photo("haul/a.jpg", "2 line")
    cli.run("batch", "haul", "--mm-per-px", 0.2)
    (record,) = records(cli)
    checked = json.loads(cli.run("check", photo, "--mm-per-px", 0.2, "--json").stdout)
    assert cli.asked == []
    for piece in checked["pieces"]:
        # The called stones most like an unlike one are looked up where somebody looks at one photo.
        piece.pop("nearest", None)
    assert record["pieces"] == checked["pieces"]
    assert record["photo"] == checked["photo"] | {"file": "a.jpg"}


def test_what_the_seller_says_of_a_photo_reaches_the_measuring(cli):
    (cli.folder / "grader.toml").write_text("mm_per_px = 0.3\n")
    cli.photo("haul/a.jpg")
    options = ("--whole", "--state", "wet", "--height-mm", 12, "--tray-at", "1,2,3,4")
    assert cli.run("batch", "haul", *options).exit_code == 0
    ((terms,),) = [[one.terms for one in cli.asked]]
    assert (terms.mm_per_px, terms.whole, terms.state, terms.height_mm) == (0.3, True, "wet", 12)
    assert (terms.neutral.box, terms.neutral.kind) == ((1, 2, 3, 4), "tray")


def test_calls_stand_beside_the_proposals_wherever_they_were_made(cli):
    photo = cli.photo("haul/a.jpg")
    cli.run("batch", "haul")
    cli.run("call", photo, "--grade", "select")
    ran = cli.run("batch", "haul")
    assert cli.asked == [] and ran.exit_code == 0
    assert records(cli)[0]["pieces"][0]["call"]["grade"] == "select"


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


def test_calls_on_photos_elsewhere_are_no_matter_of_this_folder(cli):
    cli.run("call", cli.photo("spring/c.jpg", "1 spring"), "--grade", "waste")
    cli.photo("haul/c.jpg", "1 else")
    output = cli.run("batch", "haul").stderr
    assert "call" not in output
    assert records(cli)[0]["pieces"][0]["call"] is None


@pytest.mark.slow
def test_a_call_whose_stone_an_edited_photo_does_not_show_is_told(cli):
    cli.run("call", cli.photo("haul/a.jpg", "2"), "--piece", 2, "--grade", "waste")
    cli.photo("haul/a.jpg", "1 cropped")
    output = cli.run("batch", "haul").stderr
    assert "call without a stone: waste" in output
    cli.photo("haul/a.jpg", "2 brighter")
    assert "call without" not in cli.run("batch", "haul").stderr
    assert records(cli)[0]["pieces"][1]["call"]["grade"] == "waste"


@pytest.mark.parametrize("ledger", [(), ("--no-ledger",)])
def test_a_run_that_is_stopped_says_how_to_go_on(cli, monkeypatch, ledger):
    def stop(*args, **terms):
        raise KeyboardInterrupt

    cli.photo("haul/a.jpg")
    monkeypatch.setattr("grader.batch.grade_folder", stop)
    ran = cli.run("batch", "haul", *ledger)
    assert ran.exit_code == 130
    kept = "nothing is kept" if ledger else "what is done is kept"
    assert ran.stderr.splitlines()[-1] == f"stopped; {kept}: run it again to go on"


def test_a_place_that_cannot_be_written_to_is_one_line(cli):
    cli.photo("haul/a.jpg")
    cli.photo("there")
    ran = cli.run("batch", "haul", "--out", "there/in")
    assert ran.exit_code == 1
    assert ran.stderr.splitlines()[-1].startswith("grader: there/in")
    assert "choose another folder" in ran.stderr and cli.asked == []


def test_a_table_that_the_seller_filled_is_kept_aside_and_told(cli):
    cli.photo("haul/a.jpg")
    cli.run("batch", "haul")
    table = cli.folder / "haul" / "graded" / "results.csv"
    mine = table.read_text("utf-8").replace("a.jpg", "a.jpg ")
    table.write_text(mine, "utf-8")
    output = cli.run("batch", "haul").stderr
    aside = table.with_name("results (yours).csv")
    assert aside.read_text("utf-8") == mine
    assert "results.csv was changed" in output and "grader call --from" in output


def test_a_dry_look_neither_reads_nor_keeps_anything(cli):
    photo = cli.photo("haul/a.jpg")
    cli.run("call", photo, "--grade", "select")
    before = cli.facts("photo", "measured", "look", "call")
    ran = cli.run("batch", "haul", "--no-ledger")
    assert ran.exit_code == 0
    # Neither the call nor the measurement of before was heard of.
    assert records(cli)[0]["pieces"][0]["call"] is None and len(cli.asked) == 1
    assert cli.facts("photo", "measured", "look", "call") == before
