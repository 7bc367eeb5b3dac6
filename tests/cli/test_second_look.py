"""``grader ask`` and ``grader second-look`` on a folder that batch has graded."""

import csv
import json
import re
from importlib import resources
from types import SimpleNamespace

import pytest

from grader.grading import ask, model


@pytest.fixture
def tray(cli, monkeypatch):
    """A graded folder of three photos with two stones each, all called by Nell; answers are read from a list."""
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"2{number}")
    monkeypatch.setattr("os.cpu_count", lambda: 1)
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

    cli.look = look
    cli.answers = lambda: [
        json.loads(line)
        for line in (cli.folder / "tray/graded/second-look.jsonl").read_text().splitlines()
    ]
    return cli


CALLED = (("waste", "tumbling"), ("cabbing", "select"), ("cabbing", "waste"))


def test_each_answer_is_written_at_once_and_the_next_run_goes_on(tray):
    assert tray.look("cabbing", "stop").exit_code == 0
    assert [e.get("grade") for e in tray.answers()] == [None, "cabbing"]
    ran = tray.look("s", "w", "nonsense", "t", "c", "cabbing")
    assert ran.exit_code == 0 and "2 of 6" in ran.stdout and "1 of 6" not in ran.stdout
    assert "grade 'nonsense' is not on the ladder" in ran.stderr
    said = [e["grade"] for e in tray.answers() if "grade" in e]
    assert said == ["cabbing", "select", "waste", "tumbling", "cabbing", "cabbing"]
    # A look that is done is over: the next run draws anew.
    assert "1 of 6" in tray.look("stop").stdout


def test_a_wrong_key_is_taken_back_by_a_new_entry_and_its_stone_shown_again(tray):
    ran = tray.look("back", "waste", "cabbing", "back", "back", "select", "stop")
    assert "there is no answer to take back yet" in ran.stderr
    assert [line[:6] for line in ran.stdout.splitlines() if " of 6" in line] == [
        *["1 of 6"] * 2, "2 of 6", "3 of 6", "2 of 6", "1 of 6", "2 of 6"
    ]  # fmt: skip
    said = [(e["stone"], e.get("grade", "undo")) for e in tray.answers() if "stone" in e]
    assert said == [(0, "waste"), (1, "cabbing"), (1, "undo"), (0, "undo"), (0, "select")]
    # The next sitting knows what was taken back; the last stone can be taken back, too.
    ran = tray.look("t", "c", "c", "c", "waste", "back", "select", "")
    assert "6 stones sorted twice" in ran.stdout and "1 of 6" not in ran.stdout
    last = [e.get("grade", "undo") for e in tray.answers() if e.get("stone") == 5]
    assert last == ["waste", "undo", "select"]


def test_nothing_tells_which_stone_is_shown_nor_what_was_said(tray):
    told = tray.look("cabbing", "stop").stdout
    assert not any(
        word in told.split("grade (")[0] for word in ("waste", "select", "0.jpg", "Nell")
    )
    assert re.search(r"graded.second-look-\d+-stone\.jpg", told)


def test_the_same_answers_agree_in_full_and_the_model_is_told_beside(tray):
    tray.look("stop")
    look = tray.answers()[0]
    ran = tray.look(*look["first"])
    assert "quadratic weighted kappa    1.00" in ran.stdout
    assert "6 stones sorted twice" in ran.stdout and "model and first" in ran.stdout
    assert (
        "No stone was called otherwise"
        in (tray.folder / "tray/graded/second-look.html").read_text()
    )
    # The proposals are all "cabbing": two of the six calls are, too. Of 6 in 6 Wilson's range (1927, from memory) goes
    # down to 6 / (6 + 1.96^2) = 0.61.
    assert "same grade                  1.00 (0.61 to 1.00)     0.33" in ran.stdout


def test_a_cut_off_line_is_asked_again(tray):
    tray.look("cabbing", "stop")
    log = tray.folder / "tray/graded/second-look.jsonl"
    log.write_bytes(log.read_bytes()[:-20])
    assert "1 of 6" in tray.look("waste", "stop").stdout
    assert "2 of 6" in tray.look("stop").stdout


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


def test_a_folder_that_was_not_graded_says_how(cli):
    (cli.folder / "raw").mkdir()
    for command in ("ask", "second-look"):
        ran = cli.run(command, "raw")
        assert ran.exit_code == 1 and "grader batch raw" in ran.stderr


def test_ask_names_stones_without_a_call_and_writes_a_table_to_fill_in(cli, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"2{number}")
    cli.run("batch", "tray")
    cli.run("call", "tray/1.jpg", "--piece", 1, "--grade", "waste")
    ran = cli.run("ask", "tray", "-n", 9, "--out", "ask.csv")
    assert ran.exit_code == 0
    assert len(ran.stdout.splitlines()) == 5 and "1.jpg stone 1" not in ran.stdout
    assert "cabbing or select: your call" in ran.stdout
    rows = list(csv.DictReader((cli.folder / "ask.csv").read_text().splitlines()))
    assert len(rows) == 5 and {row["grade"] for row in rows} == {""}
    filled = (cli.folder / "ask.csv").read_text().replace(",,,,,", ",select,,,,")
    (cli.folder / "ask.csv").write_text(filled)
    again = cli.run("ask", "tray", "-n", 9, "--out", "ask.csv")
    assert again.exit_code == 1 and "ask.csv is there already" in again.stderr
    assert (cli.folder / "ask.csv").read_text() == filled, "what is filled in is never lost"
    assert cli.run("call", "--from", "ask.csv").exit_code == 0
    assert len(cli.calls()) == 6


def test_ask_counts_a_call_once_that_the_model_has_heard_of(cli, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    for number in range(3):
        cli.photo(f"tray/{number}.jpg", f"1{number}")
    cli.run("batch", "tray")
    for number in range(2):
        cli.run("call", f"tray/{number}.jpg", "--grade", "waste")
    heard = cli.calls()[0]
    retrained = SimpleNamespace(
        grade=SimpleNamespace(crowd=None, calls=1),
        made=SimpleNamespace(stones=(f"{heard['sha256'][:16]}-{heard['piece']}",)),
    )
    loaded = SimpleNamespace(label="mine", for_ladder=lambda profile: retrained)
    monkeypatch.setattr(model, "load_model", lambda folder=None: loaded)
    asked = []
    monkeypatch.setattr(ask, "ask_for", lambda *args: asked.append(args) or [])
    assert cli.run("ask", "tray").exit_code == 0
    ((_, _, _, called, unheard, *_),) = asked
    assert (called, unheard) == ([0, 1], [1])


def test_ask_names_one_photo_of_a_stone_that_calls_name(cli, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 1)
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
