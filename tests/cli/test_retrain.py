"""``grader retrain``: calls with what was seen on their stones, judged, and used only when asked to."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from grader.grading.calls.calls import RowRemark
from grader.grading.learning import retrain
from grader.grading.learning.agreement import Agreement
from grader.grading.learning.candidates import Candidate
from grader.grading.learning.retrain import Retrained
from grader.grading.learning.retrain_record import LearnedFrom, RetrainReport
from grader.grading.models.model_files import load_model
from grader.ledger.facts import Compared, FacePlace
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.measures import Interval


@pytest.fixture
def trained(cli, monkeypatch):
    """What the training is given; its model is the starter under another name, as if it had heard of 60 calls."""
    asked = SimpleNamespace()
    starter = load_model()
    new = replace(starter, name="mine", grade=replace(starter.grade, calls=60))

    def train(calls, features, profile, base, *, comparisons, **given):
        asked.calls, asked.features, asked.base = list(calls), features, base
        asked.comparisons = list(comparisons)
        both = Agreement(3, 3, *(Interval(0.5, 0.4, 0.6),) * 3)
        report = RetrainReport(
            grades=1,
            scenes=0,
            by_grade={"select": 1},
            old=both,
            new=both,
            gain=Interval(0.0, -0.1, 0.1),
            scene_old=None,
            scene_new=None,
            learned_before=0,
            comparisons=1,
            kinds=(Candidate("simulated sellers", 0.8, 0.7, 1.0),),
        )
        refused = (RowRemark(1, "x.jpg: said by the training"),)
        learned = LearnedFrom(2, 1, base.label)
        return Retrained(new, report, refused, {"scene_zones": (17.5, 21.0)}, learned)

    monkeypatch.setattr(retrain, "retrain", train)
    asked.model = new
    return asked


def table(cli, rows, head="photo,piece,grade,scene"):
    (cli.folder / "mine.csv").write_text(f"{head}\n{rows}")
    return "mine.csv"


@pytest.mark.slow
def test_all_calls_of_the_ledger_are_trained_on_with_what_was_shown_on_their_stones(cli, trained):
    a, b = cli.photo("haul/a.jpg", "2"), cli.photo("elsewhere/b.jpg", "1")
    cli.run("check", a, "--mm-per-px", 0.2)
    cli.run("call", a, "--piece", 2, "--grade", "select", "--scene", 71)
    cli.run("call", b, "--grade", "waste")
    ran = cli.run("retrain", "--out", "mine")
    assert ran.exit_code == 0, ran.stderr
    assert [(c.piece, c.grade, c.scene) for c in trained.calls] == [
        (2, "select", 71),
        (1, "waste", None),
    ]
    # Nothing is measured for it: a model learns from the numbers beside which the seller spoke.
    assert cli.asked == []
    stones = [trained.features[c.sha256, c.piece] for c in trained.calls]
    assert stones[0]["blue_share"] == pytest.approx(50 / 95)
    # 200 x 100 px of 0.2 mm, and no scale.
    assert [one["area_cm2"] for one in stones] == [pytest.approx(8.0), None]


def test_the_photo_may_be_gone(cli, trained):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 2, "--grade", "select")
    (cli.folder / "a.jpg").unlink()
    assert cli.run("retrain", "--out", "mine").exit_code == 0
    assert [(c.piece, c.grade) for c in trained.calls] == [(2, "select")]


@pytest.mark.slow
def test_a_word_on_a_line_counts_in_what_is_learned(cli, trained):
    photo = cli.photo("a.jpg", "1 line")
    cli.run("call", photo, "--grade", "select")
    cli.run("retrain", "--out", "mine")
    (before,) = trained.features.values()
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    cli.run("retrain", "--out", "mine")
    (after,) = trained.features.values()
    assert before["crack_density"] > 0 and after["crack_density"] == 0


def test_what_was_taken_back_is_not_learned(cli, trained):
    photo = cli.photo("a.jpg", "2")
    for piece in (1, 2):
        cli.run("call", photo, "--piece", piece, "--grade", "select")
    cli.run("call", photo, "--piece", 1, "--undo")
    cli.run("retrain", "--out", "mine")
    assert [c.piece for c in trained.calls] == [2]


@pytest.mark.slow
def test_one_word_of_the_house_is_learned_of_each_stone_or_one_persons(cli, trained):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select", "--by", "Mira")
    cli.run("call", photo, "--grade", "waste", "--by", "Nell")

    def learned(*args):
        cli.run("retrain", "--out", "mine", *args)
        return [(c.by, c.grade) for c in trained.calls]

    assert learned() == [("Nell", "waste")]
    assert learned("--by", "Mira") == [("Mira", "select")]
    (cli.folder / "grader.toml").write_text('decider = "Mira"\n')
    assert learned() == [("Mira", "select")]


@pytest.mark.slow
def test_what_two_or_more_called_alike_is_learned_alone(cli, trained):
    photos = [cli.photo(f"{n}.jpg", f"1 {n}") for n in range(4)]
    for n, photo in enumerate(photos):
        cli.run("call", photo, "--grade", "select", "--by", "Mira")
        if n:
            grade = "select" if n < 3 else "waste"
            cli.run("call", photo, "--grade", grade, "--scene", 60, "--by", "Nell")
    assert cli.run("retrain", "--out", "mine", "--agreed").exit_code == 0
    # Nobody else spoke of the first; of the last they say two things. One person's scene is no agreement.
    assert [(c.photo, c.grade, c.scene) for c in trained.calls] == [
        ("1.jpg", "select", None),
        ("2.jpg", "select", None),
    ]
    card = (cli.folder / "mine" / "card.md").read_text("utf-8")
    assert "2 stones called by two or more people alike" in card


def test_learning_from_agreed_stones_goes_with_neither_person_nor_table(cli, trained):
    cli.run("call", cli.photo("a.jpg"), "--grade", "select", "--by", "Mira")
    ran = cli.run("retrain", "--out", "mine", "--agreed")
    assert ran.exit_code == 1 and "called alike by two people yet" in ran.stderr
    for args in (("--by", "Mira"), (table(cli, "a.jpg,,select,\n"),)):
        ran = cli.run("retrain", *args, "--out", "mine", "--agreed")
        assert ran.exit_code == 2 and ran.stderr.count("\n") == 1


@pytest.mark.slow
def test_comparisons_of_the_ledger_are_trained_on(cli, trained):
    a, b = cli.photo("a.jpg", "2"), cli.photo("b.jpg", "1")
    cli.run("check", a, b)
    faces = {(f.fact.sha256, f.fact.box): f.fact for f in cli.facts("face")}
    places = [
        FacePlace(sha256=sha256, piece_id=1 + (box[1] > 100), box=box, outline=face.outline)
        for (sha256, box), face in faces.items()
    ]
    with open_ledger(default_path()) as ledger:
        ledger.add(Compared(better=places[1], other=places[2]), author="Mira")
    assert cli.run("retrain", "--out", "mine").exit_code == 0
    (pair,) = trained.comparisons
    assert pair == tuple((place.sha256, place.piece_id) for place in places[1:])
    assert trained.calls == []


@pytest.mark.slow
def test_a_table_alone_is_trained_on_with_photos_that_lie_there(cli, trained):
    cli.run("call", cli.photo("c.jpg", "1 c"), "--grade", "tumbling")
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/deep/b.jpg", "1")
    calls = table(cli, "a.jpg,2,select,71\ndeep/b.jpg,,waste,\n")
    ran = cli.run("retrain", calls, "--photos", "haul", "--out", "mine", "--mm-per-px", 0.2)
    assert ran.exit_code == 0
    assert [(c.piece, c.grade, c.scene) for c in trained.calls] == [
        (2, "select", 71),
        (1, "waste", None),
    ]
    assert {(c.sha256, c.piece) for c in trained.calls} <= trained.features.keys()
    assert {one.terms.mm_per_px for one in cli.asked} == {0.2}
    # It is read, not taken in.
    assert [entry.fact.photo for entry in cli.calls()] == ["c.jpg"]


def test_a_table_is_learned_without_a_ledger_too(cli, trained):
    cli.photo("a.jpg")
    ran = cli.run("retrain", table(cli, "a.jpg,,select,\n"), "--out", "mine", "--no-ledger")
    assert ran.exit_code == 0 and [c.grade for c in trained.calls] == ["select"]
    assert list(cli.data.iterdir()) == []


@pytest.mark.parametrize(
    ("args", "what"), [((), "learning from your calls"), (("mine.csv", "--use"), "--use")]
)
def test_what_needs_a_ledger_is_refused_before_anything_is_learned(cli, trained, args, what):
    cli.photo("a.jpg")
    table(cli, "a.jpg,,select,\n")
    ran = cli.run("retrain", *args, "--out", "mine", "--no-ledger")
    assert ran.exit_code == 1
    assert ran.stderr == f"grader: {what} needs the ledger; leave --no-ledger out\n"
    assert not hasattr(trained, "calls") and not (cli.folder / "mine").exists()


def test_without_a_call_there_is_nothing_to_learn(cli, trained):
    for args, whose in (((), ""), (("--by", "Abel"), " by Abel")):
        ran = cli.run("retrain", "--out", "mine", *args)
        assert ran.exit_code == 1
        assert f"no call{whose} in the ledger yet" in ran.stderr.splitlines()[-1]


@pytest.mark.slow
def test_the_model_to_start_from_is_the_one_in_use_or_named(cli, trained, model_folders):
    cli.run("call", cli.photo("a.jpg"), "--grade", "select")
    spring, summer = model_folders / "spring", model_folders / "summer"
    cli.run("models", "--use", spring)
    for args, label in (
        ((), load_model(spring).label),
        (("--from", summer), load_model(summer).label),
        (("--from", "starter"), load_model().label),
    ):
        assert cli.run("retrain", "--out", "mine", *args).exit_code == 0
        assert trained.base.label == label


def test_the_report_comes_first_and_the_model_is_not_used_unless_asked(cli, trained):
    cli.run("call", cli.photo("a.jpg"), "--grade", "select")
    ran = cli.run("retrain", "--out", "mine")
    assert ran.stdout.splitlines()[0] == "no difference beyond the uncertainty"
    assert ran.stdout.splitlines()[-1] == "new model: mine"
    assert load_model(cli.folder / "mine").label == trained.model.label
    assert cli.facts("model_use") == []


@pytest.mark.slow
def test_use_is_a_fact_and_the_next_look_is_graded_by_the_new_model(cli, trained):
    photo = cli.photo("a.jpg")
    cli.run("call", photo, "--grade", "select")
    ran = cli.run("retrain", "--out", "mine", "--use")
    assert ran.stdout.splitlines()[-1] == f"in use from now on: {trained.model.label}"
    (use,) = cli.facts("model_use")
    assert (use.fact.folder, use.fact.label) == (str(cli.folder / "mine"), trained.model.label)
    assert cli.pieces(photo)[0]["proposal"]["model"] == trained.model.label
    assert cli.asked == []


def test_rows_that_cannot_be_used_are_told_one_by_one(cli, trained):
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/bad.jpg", "bad")
    rows = "a.jpg,9,select,\nbad.jpg,1,select,\ngone.jpg,1,waste,\na.jpg,1,best,\na.jpg,1,select,\n"
    ran = cli.run("retrain", table(cli, rows), "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 0
    for line in (
        "mine.csv: line 2: a.jpg: no piece 9",
        "mine.csv: line 3: bad.jpg: not a photo; give a JPEG",
        "mine.csv: line 4: gone.jpg: no such photo in haul",
        "mine.csv: line 5: grade 'best' is not on the ladder",
        "x.jpg: said by the training",
    ):
        assert line in ran.stderr
    assert [c.grade for c in trained.calls] == ["select"]


def test_the_card_tells_what_the_model_was_made_from(cli, trained):
    cli.run("call", cli.photo("a.jpg"), "--grade", "select")
    cli.run("retrain", "--out", "mine")
    card = (cli.folder / "mine" / "card.md").read_text("utf-8")
    for words in (
        trained.model.label,
        f"2 called stones and 1 comparison, from {trained.base.label}",
        "no difference beyond",
        "`blue_share`",
        "Limits",
        f"{trained.model.grade.ensemble_share:.0%} of a proposal is that of simulated sellers",
        "| `scene_zones` | +17.5 | +21.0 |",
    ):
        assert words in card


@pytest.mark.slow
def test_a_model_that_was_in_the_folder_is_kept_and_told(cli, trained, monkeypatch):
    cli.run("call", cli.photo("a.jpg"), "--grade", "select")
    cli.run("retrain", "--out", "mine", "--use")
    first = trained.model
    second = replace(first, grade=replace(first.grade, calls=61))
    train = retrain.retrain
    monkeypatch.setattr(
        retrain, "retrain", lambda *a, **k: replace(train(*a, **k), model=second)
    )  # fmt: skip
    ran = cli.run("retrain", "--out", "mine")
    kept = f"mine-{first.label.split()[-1]}"
    assert f"the model that was in mine is kept as {kept}" in ran.stderr
    # The first one is in use, wherever it lies now.
    assert cli.pieces("a.jpg")[0]["proposal"]["model"] == first.label


COMPARISONS = "better_photo,better_piece,other_photo,other_piece"


def test_comparisons_alone_are_placed_and_trained_on(cli, trained):
    cli.photo("haul/a.jpg", "2")
    cli.photo("haul/b.jpg", "1")
    file = table(cli, "a.jpg,2,b.jpg,\nb.jpg,1,a.jpg,1\n", COMPARISONS)
    ran = cli.run("retrain", "--comparisons", file, "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 0, ran.stderr
    assert trained.calls == []
    assert [(better[1], other[1]) for better, other in trained.comparisons] == [(2, 1), (1, 1)]
    assert {stone for pair in trained.comparisons for stone in pair} <= trained.features.keys()


def test_comparisons_that_cannot_be_used_are_told_one_by_one(cli, trained):
    cli.photo("haul/a.jpg", "2")
    rows = (
        "a.jpg,1,a.jpg,2\na.jpg,2,a.jpg,1\na.jpg,1,a.jpg,1\ngone.jpg,1,a.jpg,1\n"
        "a.jpg,1,a.jpg,9\n,1,a.jpg,1\na.jpg,x,a.jpg,1\na.jpg,1,a.jpg,2\n"
    )
    file = table(cli, rows, COMPARISONS)
    ran = cli.run("retrain", "--comparisons", file, "--photos", "haul", "--out", "mine")
    assert ran.exit_code == 0
    for line in (
        "mine.csv: line 3: says the opposite of line 2; both are kept",
        "mine.csv: line 4: a.jpg piece 1: a stone against itself",
        "mine.csv: line 5: gone.jpg: no such photo in haul",
        "mine.csv: line 6: a.jpg: no piece 9",
        "mine.csv: line 7: no photo named under better_photo",
        "mine.csv: line 8: piece 'x'",
    ):
        assert line in ran.stderr
    assert [(better[1], other[1]) for better, other in trained.comparisons] == [
        (1, 2),
        (2, 1),
        (1, 2),
    ]


def test_a_table_without_comparisons_is_one_clear_line(cli, trained):
    ran = cli.run("retrain", "--comparisons", table(cli, "", COMPARISONS), "--out", "mine")
    assert ran.exit_code == 1
    assert "give one a row, the better stone first" in ran.stderr


@pytest.mark.parametrize(
    "args", [(), ("mine.csv", "--out", "m", "--by", "Mira"), ("--out", "m", "--photos", "haul")]
)
def test_what_does_not_go_together_is_a_usage_error(cli, trained, args):
    cli.photo("a.jpg")
    table(cli, "a.jpg,,select,\n")
    ran = cli.run("retrain", *args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1


def test_a_folder_with_files_of_the_sellers_is_refused_before_any_training(cli, trained):
    cli.run("call", cli.photo("haul/a.jpg"), "--grade", "select")
    (cli.folder / "notes").mkdir()
    (cli.folder / "notes" / "card.md").write_text("mine")
    for out, reason in (
        ("notes", "notes: holds files that are no model, as card.md"),
        (".", "own"),
    ):
        ran = cli.run("retrain", "--out", out)
        assert ran.exit_code == 1 and reason in ran.stderr and len(ran.stderr.splitlines()) == 1
    assert not hasattr(trained, "calls")
    assert (cli.folder / "notes" / "card.md").read_text() == "mine"
    assert {path.name for path in cli.folder.iterdir()} == {"haul", "notes"}
