"""``grader retrain``: calls placed in their photos, judged, and used only when asked to."""

from types import SimpleNamespace

import pytest

from grader.grading import model, retrain
from grader.grading.calls import RowRemark
from grader.grading.candidates import Candidate
from grader.grading.grade_set import SetRule


@pytest.fixture
def trained(cli, monkeypatch):
    """What the training is given, and a model that is written as a note of what it was given."""
    seen = SimpleNamespace()

    def train(calls, features, profile, base, **named):
        seen.calls, seen.features, seen.base, seen.named = list(calls), features, base, named
        seen.picks = list(named["picks"])
        report = SimpleNamespace(
            lines=lambda: ["no difference beyond the uncertainty", "on 3 held-out calls"],
            by_grade={"select": 1},
            grades=1,
            scenes=0,
            picks=1,
            kinds=(Candidate("logit and crowd", 0.8, 0.7, 0.0, 0.0, True),),
        )
        grade = SimpleNamespace(
            kind="logit and crowd", sets=SetRule(0.2, 30), crowd_share=0.8, trees=None
        )
        made = SimpleNamespace(data="3 stones", date="2026-01-02", data_sha256="ab", versions={})
        return SimpleNamespace(
            model=SimpleNamespace(label="mine 01234567", made=made, grade=grade),
            report=report,
            refused=(RowRemark(1, "x.jpg: said by the training"),),
            points={"scene_zones": (17.5, 21.0)},
        )

    def save(model, folder, samples, card, profile):
        seen.card = card
        folder.mkdir(parents=True)
        (folder / "card.md").write_text(card, "utf-8")

    # One core: what is put in place of the reading does not reach other processes.
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    monkeypatch.setattr(retrain, "retrain", train)
    monkeypatch.setattr(model, "save_model", save)
    return seen


def table(cli, rows, head="photo,piece,grade,scene"):
    (cli.folder / "mine.csv").write_text(f"{head}\n{rows}")
    return "mine.csv"


def test_the_calls_are_trained_on_with_what_is_measured_on_their_stones(cli, trained):
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/deep/b.jpg", "1")
    calls = table(cli, "a.jpg,2,select,71\ndeep/b.jpg,,waste,\n")
    ran = cli.run("retrain", calls, "--photos", "haul", "--out", "mine", "--from", "old")
    assert ran.exit_code == 0
    assert [(c.piece, c.grade, c.scene) for c in trained.calls] == [
        (2, "select", 71),
        (1, "waste", None),
    ]
    stones = {(c.sha256, c.piece) for c in trained.calls}
    assert stones <= trained.features.keys()
    assert trained.features[trained.calls[0].sha256, 2]["blue_share"] == pytest.approx(50 / 95)
    assert trained.base.label == "old"


def test_the_report_comes_first_and_the_model_is_not_used_unless_asked(cli, trained):
    cli.photo("haul/a.jpg")
    calls = table(cli, "a.jpg,,select,\n")
    ran = cli.run("retrain", calls, "--photos", "haul", "--out", "mine")
    assert ran.stdout.splitlines()[0] == "no difference beyond the uncertainty"
    assert (cli.folder / "mine" / "card.md").exists()
    assert not (cli.folder / "grader.toml").exists()


def test_use_makes_it_the_working_folders_model(cli, trained):
    cli.photo("haul/a.jpg")
    (cli.folder / "grader.toml").write_text("mm_per_px = 0.1\n")
    calls = table(cli, "a.jpg,,select,\n")
    cli.run("retrain", calls, "--photos", "haul", "--out", "mine", "--use")
    assert (cli.folder / "grader.toml").read_text() == 'mm_per_px = 0.1\nmodel = "mine"\n'
    cli.run("check", "haul/a.jpg")
    assert cli.terms[0]["model"].label == "mine"


def test_rows_that_cannot_be_used_are_told_one_by_one(cli, trained):
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/bad.jpg", "bad")
    rows = "a.jpg,9,select,\nbad.jpg,1,select,\ngone.jpg,1,waste,\na.jpg,1,best,\na.jpg,1,select,\n"
    ran = cli.run("retrain", table(cli, rows), "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 0
    for line in (
        "mine.csv: line 2: a.jpg: no piece 9",
        "mine.csv: line 3: bad.jpg: not a photo; give a JPEG",
        "mine.csv: line 4: photo gone.jpg is not among these photos",
        "mine.csv: line 5: grade 'best' is not on the ladder",
        "mine.csv: x.jpg: said by the training",
    ):
        assert line in ran.stderr
    assert [c.grade for c in trained.calls] == ["select"]


def test_the_card_tells_what_the_model_was_made_from(cli, trained):
    cli.photo("haul/a.jpg")
    cli.run("retrain", table(cli, "a.jpg,,select,\n"), "--photos", "haul", "--out", "mine")
    for words in (
        "mine 01234567",
        "3 stones",
        "no difference beyond",
        "`blue_share`",
        "Limits",
        "80% of a proposal is that of simulated sellers",
        "| `scene_zones` | +17.5 | +21.0 |",
    ):
        assert words in trained.card


PICKS = "better_photo,better_piece,other_photo,other_piece"


def test_picks_alone_are_placed_and_trained_on(cli, trained):
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/b.jpg", "1")
    picks = table(cli, "a.jpg,2,b.jpg,\nb.jpg,1,a.jpg,1\n", PICKS)
    ran = cli.run("retrain", "--picks", picks, "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 0, ran.stderr
    assert trained.calls == []
    assert [(better[1], other[1]) for better, other in trained.picks] == [(2, 1), (1, 1)]
    assert {stone for pick in trained.picks for stone in pick} <= trained.features.keys()


def test_picks_that_cannot_be_used_are_told_one_by_one(cli, trained):
    cli.photo("haul/a.jpg", "2")
    rows = (
        "a.jpg,1,a.jpg,2\na.jpg,2,a.jpg,1\na.jpg,1,a.jpg,1\ngone.jpg,1,a.jpg,1\n"
        "a.jpg,1,a.jpg,9\n,1,a.jpg,1\na.jpg,x,a.jpg,1\na.jpg,1,a.jpg,2\n"
    )
    ran = cli.run(
        "retrain", "--picks", table(cli, rows, PICKS), "--photos", "haul", "--out", "mine"
    )
    assert ran.exit_code == 0
    for line in (
        "mine.csv: line 3: says the opposite of line 2; both are kept",
        "mine.csv: line 4: a.jpg piece 1: a stone against itself",
        "mine.csv: line 5: photo gone.jpg is not among these photos",
        "mine.csv: line 6: a.jpg: no piece 9",
        "mine.csv: line 7: no photo named under better_photo",
        "mine.csv: line 8: piece 'x'",
    ):
        assert line in ran.stderr
    assert [(better[1], other[1]) for better, other in trained.picks] == [(1, 2), (2, 1), (1, 2)]


def test_a_table_without_picks_is_one_clear_line(cli, trained):
    cli.photo("haul/a.jpg")
    ran = cli.run("retrain", "--picks", table(cli, "", PICKS), "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 1
    assert "no pick in it; give one a row, the better stone first" in ran.stderr


def test_calls_or_picks_are_asked_for(cli, trained):
    cli.photo("haul/a.jpg")
    assert cli.run("retrain", "--photos", "haul", "--out", "mine").exit_code == 2


@pytest.mark.parametrize("missing", ["--photos", "--out"])
def test_what_it_needs_is_asked_for(cli, trained, missing):
    cli.photo("haul/a.jpg")
    given = {"--photos": "haul", "--out": "mine"}
    del given[missing]
    args = [part for pair in given.items() for part in pair]
    assert cli.run("retrain", table(cli, "a.jpg,,select,\n"), *args).exit_code == 2


def test_a_folder_with_files_of_the_sellers_is_refused_before_any_training(cli, trained):
    cli.photo("haul/a.jpg")
    (cli.folder / "notes").mkdir()
    (cli.folder / "notes" / "card.md").write_text("mine")
    for out, said in (("notes", "notes: holds files that are no model, as card.md"), (".", "own")):
        ran = cli.run("retrain", table(cli, "a.jpg,,select,\n"), "--photos", "haul", "--out", out)
        assert ran.exit_code == 1 and said in ran.stderr and len(ran.stderr.splitlines()) == 1
    assert not hasattr(trained, "calls")
    assert (cli.folder / "notes" / "card.md").read_text() == "mine"
    assert {path.name for path in cli.folder.iterdir()} == {"haul", "notes", "mine.csv"}
