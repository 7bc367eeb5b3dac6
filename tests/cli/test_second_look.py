"""``grader ask`` and ``grader second-look`` on a folder that batch has graded."""

import csv
import json
import re
from dataclasses import replace
from importlib import resources

import pytest

from grader.grading.learning import ask
from grader.grading.models.model_files import load_model
from grader.ledger import views
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger

CALLED = (("waste", "tumbling"), ("cabbing", "select"), ("cabbing", "waste"))


@pytest.fixture
def tray(cli, monkeypatch):
    """A graded folder of three photos with two stones each, all called by Nell; answers are read from a list."""
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"2{number}")
    assert cli.run("batch", "tray").exit_code == 0
    rows = [
        f"{n}.jpg,{piece},{g},,Nell"
        for n, (a, b) in enumerate(CALLED)
        for piece, g in ((1, a), (2, b))
    ]
    (cli.folder / "tray" / "CALLS.csv").write_text("photo,piece,grade,scene,by\n" + "\n".join(rows))
    assert cli.run("call", "--from", "tray/CALLS.csv").exit_code == 0

    def look(*words, args=()):
        answers = iter(words)

        def answer(_):
            word = next(answers, None)
            if word is None:
                raise EOFError
            return word

        monkeypatch.setattr("builtins.input", answer)
        return cli.run("second-look", "tray", "--seed", 1, *args)

    def looks():
        with open_ledger(default_path()) as ledger:
            return views.resorts(ledger)

    cli.look = look
    cli.looks = looks
    cli.answers = lambda: [
        (e.fact.stone, getattr(e.fact, "grade", "undone"))
        for e in cli.facts("resort_answer", "resort_undone")
    ]
    return cli


def page(tray) -> str:
    (path,) = (tray.folder / "tray" / "graded").glob("second-look-*.html")
    return path.read_text("utf-8")


def test_each_answer_is_kept_at_once_and_the_next_run_goes_on(tray):
    assert tray.look("cabbing", "stop").exit_code == 0
    assert tray.answers() == [(0, "cabbing")]
    ran = tray.look("s", "w", "nonsense", "t", "c", "cabbing")
    assert ran.exit_code == 0 and "2 of 6" in ran.stdout and "1 of 6" not in ran.stdout
    assert "grade 'nonsense' is not on the ladder" in ran.stderr
    assert [grade for _, grade in tray.answers()] == [
        "cabbing", "select", "waste", "tumbling", "cabbing", "cabbing"
    ]  # fmt: skip
    # A look that is done is over: the next run draws anew.
    assert [look.done for look in tray.looks()] == [True]
    assert "1 of 6" in tray.look("stop").stdout
    assert len(tray.looks()) == 2


def test_answers_are_no_calls(tray):
    before = tray.calls()
    tray.look("select", "select", "select", "select", "select", "select")
    assert tray.calls() == before


def test_a_wrong_key_is_taken_back_by_a_new_fact_and_its_stone_shown_again(tray):
    ran = tray.look("back", "waste", "cabbing", "back", "back", "select", "stop")
    assert "there is no answer to take back yet" in ran.stderr
    assert [line[:6] for line in ran.stdout.splitlines() if " of 6" in line] == [
        *["1 of 6"] * 2, "2 of 6", "3 of 6", "2 of 6", "1 of 6", "2 of 6"
    ]  # fmt: skip
    assert tray.answers() == [
        (0, "waste"), (1, "cabbing"), (1, "undone"), (0, "undone"), (0, "select")
    ]  # fmt: skip
    # The next sitting knows what was taken back; the last stone can be taken back, too.
    ran = tray.look("t", "c", "c", "c", "waste", "back", "select", "")
    assert "6 stones sorted twice" in ran.stdout and "1 of 6" not in ran.stdout
    assert [grade for stone, grade in tray.answers() if stone == 5] == ["waste", "undone", "select"]
    (look,) = tray.looks()
    assert look.answers[0] == "select" and look.answers[5] == "select"


def test_nothing_tells_which_stone_is_shown_nor_what_was_said(tray):
    output = tray.look("cabbing", "stop").stdout
    assert not any(
        word in output.split("grade (")[0] for word in ("waste", "select", "0.jpg", "Nell")
    )
    assert re.search(r"graded.second-look-\d+-stone\.jpg", output)
    # The picture goes with the sitting.
    assert not list((tray.folder / "tray" / "graded").glob("*stone.jpg"))


def test_the_same_answers_agree_in_full_and_the_model_is_told_beside(tray):
    tray.look("stop")
    (look,) = tray.looks()
    lines = (tray.folder / "tray/graded/results.jsonl").read_text().splitlines()
    (proposed,) = {p["proposal"]["grade"] for line in lines for p in json.loads(line)["pieces"]}
    ran = tray.look(*look.first)
    assert "beyond chance (kappa)       1.00" in ran.stdout
    assert "6 stones sorted twice" in ran.stdout and "model and first" in ran.stdout
    assert "No stone was called otherwise" in page(tray)
    # All proposals are alike, and so many of the six calls are that grade, too. Of 6 in 6 Wilson's range (1927, from
    # memory) goes down to 6 / (6 + 1.96^2) = 0.61.
    alike = look.first.count(proposed) / 6
    assert f"same grade                  1.00 (0.61 to 1.00)     {alike:.2f}" in ran.stdout


def test_what_was_said_before_is_that_of_the_draw(tray):
    tray.look("stop")
    (look,) = tray.looks()
    assert sorted(look.first) == sorted(grade for pair in CALLED for grade in pair)
    tray.run("call", "tray/0.jpg", "--piece", 1, "--grade", "select", "--by", "Nell")
    # Calls made since do not change the comparison.
    assert "beyond chance (kappa)       1.00" in tray.look(*look.first).stdout


def test_a_sitting_that_breaks_off_keeps_what_was_answered(tray, monkeypatch):
    answers = iter(["cabbing"])

    def answer(_):
        word = next(answers, None)
        if word is None:
            raise KeyboardInterrupt
        return word

    monkeypatch.setattr("builtins.input", answer)
    assert tray.run("second-look", "tray").exit_code == 0
    assert tray.answers() == [(0, "cabbing")]
    assert not list((tray.folder / "tray" / "graded").glob("*stone.jpg"))


def test_each_person_has_a_look_of_their_own(tray):
    tray.look("cabbing", "stop", args=("--by", "Mira"))
    assert "1 of 6" in tray.look("stop", args=("--by", "Nell")).stdout
    assert "2 of 6" in tray.look("stop", args=("--by", "Mira")).stdout
    assert [look.author for look in tray.looks()] == ["Mira", "Nell"]


def test_new_draws_anew_and_leaves_the_unfinished_one(tray):
    tray.look("cabbing", "stop")
    assert "1 of 4" in tray.look("stop", args=("--new", "-n", 4)).stdout
    assert [len(look.stones) for look in tray.looks()] == [6, 4]


def test_a_photo_that_is_not_there_any_more_is_left_out(tray):
    tray.look("stop")
    (tray.folder / "tray" / "1.jpg").unlink()
    ran = tray.look("w", "w", "w", "w")
    assert ran.stderr.count("its photo is not graded here any more; left out") == 2
    assert "4 stones sorted twice" in ran.stdout


def test_a_ladder_that_changed_between_sittings_is_one_clear_line(tray):
    tray.look("cabbing", "stop")
    own = resources.files("grader").joinpath("profiles/banded.toml").read_text("utf-8")
    (tray.folder / "own.toml").write_text(own.replace("select", "finest"))
    ran = tray.look("stop", args=("--profile", "own.toml"))
    assert ran.exit_code == 1 and "the ladder has changed since this look began" in ran.stderr
    assert "Traceback" not in ran.stderr and len(ran.stderr.strip().splitlines()) == 1


def test_without_calls_there_is_nothing_to_look_at(tray):
    ran = tray.look(args=("--of", "Abel"))
    assert ran.exit_code == 1 and "no stone in it has a called grade by Abel" in ran.stderr


@pytest.mark.parametrize(("command", "what"), [("ask", "asking"), ("second-look", "a second look")])
def test_a_folder_that_was_not_graded_says_how_and_no_ledger_is_refused(cli, command, what):
    cli.photo("raw/a.jpg")
    ran = cli.run(command, "raw")
    assert ran.exit_code == 1 and "grader batch raw" in ran.stderr
    ran = cli.run(command, "raw", "--no-ledger")
    assert ran.exit_code == 1
    assert ran.stderr == f"grader: {what} needs the ledger; leave --no-ledger out\n"


@pytest.mark.slow
def test_ask_names_stones_without_a_call_and_writes_a_table_to_fill_in(cli):
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"2{number}")
    cli.run("batch", "tray")
    cli.run("call", "tray/1.jpg", "--piece", 1, "--grade", "waste")
    ran = cli.run("ask", "tray", "-n", 9, "--out", "ask.csv")
    assert ran.exit_code == 0 and cli.asked == []
    assert len(ran.stdout.splitlines()) == 5 and "1.jpg stone 1" not in ran.stdout
    assert "your call" in ran.stdout
    rows = list(csv.DictReader((cli.folder / "ask.csv").read_text().splitlines()))
    assert len(rows) == 5 and {row["grade"] for row in rows} == {""}
    with open(cli.folder / "ask.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(row | {"grade": "select"} for row in rows)
    filled = (cli.folder / "ask.csv").read_text()
    again = cli.run("ask", "tray", "-n", 9, "--out", "ask.csv")
    assert again.exit_code == 1 and "ask.csv is there already" in again.stderr
    assert (cli.folder / "ask.csv").read_text() == filled, "what is filled in is never lost"
    assert cli.run("call", "--from", "ask.csv", "--by", "Nell").exit_code == 0
    assert len(cli.calls()) == 6
    ran = cli.run("ask", "tray")
    assert ran.stdout == "" and "every stone there has a called grade" in ran.stderr


def test_ask_counts_a_call_once_that_the_model_has_learned_from(cli, monkeypatch):
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"1{number}")
    cli.run("batch", "tray")
    for number in range(2):
        cli.run("call", f"tray/{number}.jpg", "--grade", "waste")
    heard, starter = cli.calls()[0].fact, load_model()
    retrained = replace(
        starter,
        grade=replace(starter.grade, calls=1),
        provenance=replace(starter.provenance, stones=(f"{heard.sha256[:16]}-{heard.piece_id}",)),
    )
    monkeypatch.setattr(
        "grader.grading.models.model_files.load_model", lambda folder=None: retrained
    )
    asked = []
    monkeypatch.setattr(ask, "ask_for", lambda *args: asked.append(args) or [])
    assert cli.run("ask", "tray").exit_code == 0
    ((_, _, _, called, unheard, *_),) = asked
    assert (called, unheard) == ([0, 1], [1])


def test_ask_names_one_photo_of_a_stone_that_calls_name(cli):
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"1{number}")
    cli.run("batch", "tray")
    for number in range(2):
        assert cli.run("call", f"tray/{number}.jpg", "--scene", 40, "--stone", "A 7").exit_code == 0
    asked = cli.run("ask", "tray").stdout.splitlines()
    assert len(asked) == 2 and sum("2.jpg" in line for line in asked) == 1
    # Called in one photo, it is called in the other.
    cli.run("call", "tray/0.jpg", "--grade", "waste")
    assert [line[:5] for line in cli.run("ask", "tray").stdout.splitlines()] == ["2.jpg"]
