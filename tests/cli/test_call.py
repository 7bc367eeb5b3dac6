"""``grader call``: what the seller says ends in calls.jsonl, and nothing else does."""

import csv
import hashlib
import json
from dataclasses import replace
from datetime import datetime

import pytest


def test_a_call_holds_hash_box_and_time(cli):
    photo = cli.photo("a.jpg", "2")
    ran = cli.run(
        "call",
        photo,
        "--piece",
        2,
        "--grade",
        "Select",
        "--scene",
        71,
        "--by",
        "Mira",
        "--note",
        "two bands",
    )
    assert ran.exit_code == 0
    (call,) = cli.calls()
    time = datetime.fromisoformat(call.pop("time"))
    assert time.utcoffset() is not None
    assert call == {
        "photo": "a.jpg",
        "sha256": hashlib.sha256(b"2").hexdigest(),
        "piece": 2,
        "box": [40, 180, 200, 100],
        "grade": "select",
        "scene": 71,
        "by": "Mira",
        "note": "two bands",
        # What the tool said at that time, beside what the seller says.
        "shown": {"grade": "cabbing", "scene": 54, "model": "starter 01234567", "state": "dry"},
    }


def test_calls_are_only_ever_added(cli):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select")
    before = (cli.folder / "calls.jsonl").read_text("utf-8")
    cli.run("call", photo, "--grade", "waste")
    after = (cli.folder / "calls.jsonl").read_text("utf-8")
    assert after.startswith(before)
    assert [call["grade"] for call in cli.calls()] == ["select", "waste"]


def test_check_shows_the_call_beside_the_proposal(cli):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select")
    piece = json.loads(cli.run("check", photo, "--json").stdout)["pieces"][0]
    assert (piece["call"]["grade"], piece["proposal"]["grade"]) == ("select", "cabbing")


def test_a_scene_alone_is_a_call(cli):
    assert cli.run("call", cli.photo("a.jpg"), "--scene", 0).exit_code == 0
    assert (cli.calls()[0]["grade"], cli.calls()[0]["scene"]) == (None, 0)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--grade", "selct"), "grade 'selct' is not on the ladder (did you mean 'select'?)"),
        (("--grade", "select"), "a.jpg: no piece named and it holds 2 stones; give the number"),
        (("--grade", "select", "--piece", "3"), "a.jpg: no piece 3, it holds 2 stones"),
    ],
)
def test_a_call_that_meets_no_stone_or_grade_is_one_line(cli, args, said):
    ran = cli.run("call", cli.photo("a.jpg", "2"), *args)
    assert ran.exit_code == 1
    assert ran.stderr.startswith(f"grader: {said}") and ran.stderr.count("\n") == 1
    assert not (cli.folder / "calls.jsonl").exists()


def test_a_call_on_a_photo_that_is_not_there_is_one_line(cli):
    ran = cli.run("call", "gone.jpg", "--grade", "select")
    assert ran.exit_code == 1
    assert "gone.jpg: no such photo" in ran.stderr


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
    ],
)
def test_half_a_call_is_a_usage_error_of_one_line(cli, args):
    cli.photo("a.jpg")
    ran = cli.run("call", *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1
    assert not (cli.folder / "calls.jsonl").exists()


@pytest.mark.parametrize("blank", ["", "  "])
def test_a_blank_name_or_note_is_not_given(cli, blank):
    words = [part for name in ("--by", "--note", "--stone") for part in (name, blank)]
    assert cli.run("call", cli.photo("a.jpg"), "--grade", "select", *words).exit_code == 0
    (call,) = cli.calls()
    assert (call["by"], call["note"]) == (None, None) and "stone" not in call


def save(path, *rows):
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "sha256", "piece", "box", "grade", "scene", "by", "note"])
        writer.writerows(rows)


def test_the_table_that_a_sheet_saves_is_taken_in_without_the_photos(cli):
    save(
        cli.folder / "CALLS.csv",
        ["h/a.jpg", "ab" * 32, 2, "1 2 30 40", "select", "", "Mira", "good"],
    )
    ran = cli.run("call", "--from", "CALLS.csv")
    assert ran.exit_code == 0
    assert "1 added to calls.jsonl" in ran.stderr
    (call,) = cli.calls()
    assert (call["sha256"], call["box"], call["by"]) == ("ab" * 32, [1, 2, 30, 40], "Mira")


def test_a_table_taken_in_twice_adds_nothing(cli):
    save(
        cli.folder / "CALLS.csv",
        ["h/a.jpg", "ab" * 32, 2, "1 2 30 40", "select", "", "Mira", "good"],
    )
    cli.run("call", "--from", "CALLS.csv")
    ran = cli.run("call", "--from", "CALLS.csv")
    assert "0 added to calls.jsonl, 1 there before" in ran.stderr
    assert len(cli.calls()) == 1


def test_a_table_of_photo_piece_and_grade_finds_its_stones(cli):
    cli.photo("a.jpg", "2")
    cli.photo("b.jpg", "1")
    (cli.folder / "mine.csv").write_text(
        "photo;piece;grade;scene\na.jpg;2;select;\nb.jpg;;waste;12\n"
    )
    assert cli.run("call", "--from", "mine.csv").exit_code == 0
    assert [(c["photo"], c["piece"], c["box"]) for c in cli.calls()] == [
        ("a.jpg", 2, [40, 180, 200, 100]),
        ("b.jpg", 1, [40, 40, 200, 100]),
    ]


def test_rows_that_cannot_be_used_are_told_and_the_others_taken_in(cli):
    cli.photo("a.jpg", "2")
    rows = "a.jpg,9,select,\na.jpg,1,best,\ngone.jpg,1,select,\na.jpg,1,select,\n"
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\n" + rows)
    ran = cli.run("call", "--from", "mine.csv")
    assert ran.exit_code == 1
    assert [(c["piece"], c["grade"]) for c in cli.calls()] == [(1, "select")]
    for line in ("line 2: a.jpg: no piece 9", "line 3: grade 'best'", "line 4: gone.jpg: no such"):
        assert line in ran.stderr


def test_a_filled_results_table_beside_its_photos_is_taken_in(cli):
    cli.photo("haul/a.jpg", "2")
    cli.run("batch", "haul", "--workers", 1)
    path = cli.folder / "haul" / "graded" / "results.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    rows[1]["grade"] = "waste"
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    assert cli.run("call", "--from", path).exit_code == 0
    assert [(c["photo"], c["piece"], c["grade"]) for c in cli.calls()] == [("a.jpg", 2, "waste")]


def test_a_table_that_is_not_there_is_one_line(cli):
    ran = cli.run("call", "--from", "gone.csv")
    assert ran.exit_code == 1
    assert len(ran.stderr.splitlines()) == 1
    assert "gone.csv" in ran.stderr


@pytest.fixture
def crack_seen(monkeypatch, crack):
    """Every hand-made stone shows one line."""
    from grader import calling

    measure = calling.measure_photo

    def measured(photo, *args, **kwargs):
        stones, remarks = measure(photo, *args, **kwargs)
        seen = [replace(s, measurements=replace(s.measurements, lines=(crack,))) for s in stones]
        return tuple(seen), remarks

    monkeypatch.setattr(calling, "measure_photo", measured)


def test_a_word_on_a_line_is_kept_with_its_points(cli, crack_seen):
    args = ("--line", 1, "--is", "crack", "--found", "open", "--how", "nail catches")
    assert cli.run("call", cli.photo("a.jpg", "2"), "--piece", 2, *args).exit_code == 0
    (call,) = cli.calls()
    assert (call["grade"], call["scene"], call["box"]) == (None, None, [40, 180, 200, 100])
    # 20 and 60 working px at half size, from 40, 180 on.
    assert call["line"] == {
        "line": 1,
        "points": [[80, 231], [160, 231]],
        "says": "crack",
        "found": "open",
        "how": "nail catches",
    }


def test_a_word_on_a_line_leaves_the_word_on_the_stone(cli, crack_seen):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select", "--by", "Mira")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    cli.run("call", photo, "--line", 1, "--is", "unsaid")
    assert [call.get("line", {}).get("says") for call in cli.calls()] == [None, "pattern", "unsaid"]
    ran = cli.run("check", photo, "--json")
    said = json.loads(ran.stdout)["pieces"][0]["call"]
    assert (said["grade"], said["by"]) == ("select", "Mira")


def test_the_words_on_lines_reach_the_grader(cli, crack_seen):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--line", 1, "--is", "crack")
    record = json.loads(cli.run("check", photo, "--json").stdout)
    (terms,) = cli.terms
    assert [call.line.says for call in terms["calls"]] == ["crack"]
    assert record["made_with"]["line_words"][0]["says"] == "crack"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--piece", 1, "--line", 2, "--is", "crack"), "no line 2 on piece 1"),
        (("--piece", 3, "--line", 1, "--is", "crack"), "no piece 3, it holds 2 stones"),
        (("--line", 1, "--is", "crack"), "no piece named and it holds 2 stones"),
    ],
)
def test_a_word_on_what_is_not_there_is_one_line(cli, crack_seen, args, said):
    ran = cli.run("call", cli.photo("a.jpg", "2"), *args)
    assert ran.exit_code == 1
    assert said in ran.stderr.splitlines()[-1]
    assert not (cli.folder / "calls.jsonl").exists()


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
def test_a_half_said_word_on_a_line_is_refused(cli, args):
    assert cli.run("call", cli.photo("a.jpg"), *args).exit_code == 2
    assert not (cli.folder / "calls.jsonl").exists()


def test_a_half_written_word_on_a_line_is_told_and_left(cli, crack_seen):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--line", 1, "--is", "crack")
    row = cli.calls()[0]
    for line in (
        row["line"] | {"says": "vein"},
        row["line"] | {"points": [[1, 1]]},
        {"says": "crack"},
    ):
        (cli.folder / "calls.jsonl").write_text(json.dumps(row | {"line": line}) + "\n")
        ran = cli.run("check", photo)
        assert ran.exit_code == 0
        assert "calls.jsonl holds no whole call there" in ran.stderr


def test_undo_is_a_new_entry_and_the_call_before_it_holds_again(cli):
    photo = cli.photo("a.jpg")
    for grade in ("select", "waste"):
        cli.run("call", photo, "--grade", grade)
    ran = cli.run("call", photo, "--undo", "--by", "Mira")
    assert ran.exit_code == 0
    assert ran.stderr == "taken back: waste; 1 added to calls.jsonl\n"
    assert [call["grade"] for call in cli.calls()] == ["select", "waste", None]
    assert cli.calls()[2]["undo"] is True and cli.calls()[2]["by"] == "Mira"
    piece = json.loads(cli.run("check", photo, "--json").stdout)["pieces"][0]
    assert piece["call"]["grade"] == "select"
    cli.run("call", photo, "--undo")
    assert json.loads(cli.run("check", photo, "--json").stdout)["pieces"][0]["call"] is None
    # What was taken back can be said again.
    cli.run("call", photo, "--grade", "waste")
    assert [call["grade"] for call in cli.calls()][-1] == "waste"


def test_what_was_taken_back_is_not_added_by_the_same_table_again(cli):
    photo = cli.photo("a.jpg")
    (cli.folder / "mine.csv").write_text("photo,piece,grade,scene\na.jpg,1,waste,\n")
    cli.run("call", photo, "--grade", "select")
    cli.run("call", "--from", "mine.csv")
    cli.run("call", photo, "--undo")
    ran = cli.run("call", "--from", "mine.csv")
    assert "0 added to calls.jsonl, 1 there before" in ran.stderr
    assert [call["grade"] for call in cli.calls()] == ["select", "waste", None]
    # A word of its own after that is a word; then the table's is another one again.
    cli.run("call", photo, "--grade", "cabbing")
    cli.run("call", "--from", "mine.csv")
    assert [call["grade"] for call in cli.calls()][3:] == ["cabbing", "waste"]


def test_undo_where_nothing_holds_is_told_and_not_written(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 1, "--grade", "select")
    for piece, calls in ((2, 1), (1, 2), (1, 2)):
        ran = cli.run("call", photo, "--piece", piece, "--undo")
        assert len(cli.calls()) == calls
    assert ran.exit_code == 1 and "a.jpg: nothing to take back" in ran.stderr


def test_undo_says_nothing_else(cli):
    ran = cli.run("call", cli.photo("a.jpg"), "--undo", "--grade", "waste")
    assert ran.exit_code == 2 and not (cli.folder / "calls.jsonl").exists()


def test_a_table_of_the_sheet_brings_what_it_showed(cli):
    cli.photo("a.jpg")
    head = "photo,piece,grade,scene,stone,shown_grade,shown_scene,shown_state,shown_model"
    row = "a.jpg,1,waste,,bucket 3,select,71,wet,starter 0123"
    (cli.folder / "CALLS.csv").write_text(f"{head}\n{row}\n")
    assert cli.run("call", "--from", "CALLS.csv").exit_code == 0
    (call,) = cli.calls()
    assert call["stone"] == "bucket 3"
    assert call["shown"] == {
        "grade": "select",
        "scene": 71,
        "model": "starter 0123",
        "state": "wet",
    }
