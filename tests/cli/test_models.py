"""``grader models``: a list, a choice that is a dated fact, and the way back."""

import json
import shutil
from dataclasses import replace
from datetime import datetime

import pytest

from grader.grading.models.model_files import load_model
from grader.grading.proposal import Call, Shown


@pytest.fixture
def run(cli, model_folders):
    for name in ("spring", "summer"):
        shutil.copytree(model_folders / name, cli.folder / name)
    return lambda *args: cli.run("models", *args)


def in_use(output: str) -> str:
    return next(line for line in output.splitlines() if line.startswith("in use"))


def test_the_list_marks_the_model_in_use(run):
    output = run().stdout
    assert all(line == line.rstrip() for line in output.splitlines())
    assert "starter" in in_use(output)
    for name in ("spring", "summer"):
        assert sum(f"{name} ({name} " in line for line in output.splitlines()) == 1
    assert run("--use", "summer").exit_code == 0
    assert "summer" in in_use(run().stdout)


@pytest.mark.parametrize("named", ["summer", "./summer", "spring/../summer"])
def test_a_model_is_listed_once_however_it_was_named(run, cli, named):
    assert run("--use", named).exit_code == 0
    output = run().stdout
    assert sum("summer (summer " in line for line in output.splitlines()) == 1
    assert "  summer (summer " in in_use(output)


def test_a_model_in_use_is_known_from_every_folder(run, cli, monkeypatch):
    run("--use", "summer")
    (cli.folder / "elsewhere").mkdir()
    monkeypatch.chdir(cli.folder / "elsewhere")
    assert f"  {cli.folder / 'summer'} (summer " in in_use(run().stdout)


def test_back_goes_to_the_one_before_and_each_change_is_a_dated_fact(run, cli):
    labels = {name: load_model(cli.folder / name).label for name in ("spring", "summer")}
    run("--use", "spring")
    run("--use", "summer")
    assert run("--back").stdout.startswith("in use from now on: spring ")
    uses = cli.facts("model_use")
    assert [(use.fact.folder, use.fact.label) for use in uses] == [
        (str(cli.folder / name), labels[name]) for name in ("spring", "summer", "spring")
    ]
    assert all(datetime.fromisoformat(use.time).utcoffset() is not None for use in uses)
    output = run().stdout
    assert output.count(f"since {uses[0].time[:16]}: ") >= 1
    assert sum(line.startswith("since ") for line in output.splitlines()) == 3
    run("--use", "starter")
    assert "starter" in in_use(run().stdout)
    assert cli.facts("model_use")[-1].fact.folder is None


def test_back_from_the_first_model_is_the_starter(run):
    run("--use", "spring")
    assert "the starter" in run("--back").stdout


def test_a_model_in_use_grades_and_measures_nothing(run, cli):
    photo = cli.photo("a.jpg", "2")
    (before, _), starter = cli.pieces(photo), load_model().label
    run("--use", "summer")
    (after, _) = cli.pieces(photo)
    assert cli.asked == []
    labels = [starter, load_model(cli.folder / "summer").label]
    assert [piece["proposal"]["model"] for piece in (before, after)] == labels
    # Its scene's base lies six points higher.
    assert after["scene"]["score"] == before["scene"]["score"] + 6
    assert {**after, "scene": None, "proposal": None} == {**before, "scene": None, "proposal": None}
    # A model named on the command line is asked that once.
    assert cli.pieces(photo, "--model", "spring")[0]["proposal"]["model"].startswith("spring ")
    assert cli.pieces(photo, "--model", "starter")[0]["proposal"]["model"] == starter
    assert cli.pieces(photo)[0]["proposal"]["model"] == labels[1] and cli.asked == []


def test_a_dry_look_is_graded_by_the_starter(run, cli):
    photo = cli.photo("a.jpg")
    run("--use", "summer")
    (piece,) = cli.pieces(photo, "--no-ledger")
    assert piece["proposal"]["model"] == load_model().label


def test_a_folder_made_anew_since_is_not_taken_for_the_model_in_use(run, cli):
    run("--use", "spring")
    label = load_model(cli.folder / "spring").label
    shutil.rmtree(cli.folder / "spring")
    (cli.folder / "summer").rename(cli.folder / "spring")
    ran = cli.run("check", cli.photo("a.jpg"))
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1
    assert "it holds another model than " + label in ran.stderr
    assert "grader models --use starter" in ran.stderr
    assert "cannot be read" in in_use(run().stdout)
    assert run("--use", "starter").exit_code == 0
    assert cli.run("check", "a.jpg").exit_code == 0


def test_nothing_to_go_back_to_is_one_line(run, cli):
    ran = run("--back")
    assert ran.exit_code == 2 and "no other model was in use" in ran.stderr
    assert ran.stderr.count("\n") == 1 and cli.facts("model_use") == []


def test_a_folder_that_holds_no_model_is_refused_and_nothing_changes(run, cli):
    (cli.folder / "empty").mkdir()
    assert run("--use", "empty").exit_code == 2
    assert cli.facts("model_use") == []


def test_a_model_that_cannot_be_read_is_listed_as_such(run, cli):
    (cli.folder / "broken").mkdir()
    (cli.folder / "broken" / "grade.json").write_text("{")
    assert "cannot be read" in run().stdout


@pytest.mark.parametrize("name", ["season [red] 1", "a[/red]", "[link=x]y[/link]"])
def test_names_and_words_of_models_are_shown_as_they_are_and_never_read_as_markup(run, cli, name):
    folder = cli.folder / name.replace("/", "|")
    shutil.copytree(cli.folder / "spring", folder)
    for part in folder.glob("*.json"):
        content = json.loads(part.read_text("utf-8"))
        content["provenance"]["data"] = f"{name} and [/] {name}"
        part.write_text(json.dumps(content), "utf-8")
    ran = run()
    assert ran.exit_code == 0, ran.exception
    (line,) = [line for line in ran.stdout.splitlines() if f"{name} and [/] {name}" in line]
    assert f"{folder.name} (spring " in line


def test_one_folder_that_others_made_does_not_break_the_list(run, cli):
    for number, text in enumerate(("[" * 100_000, '{"format": NaN}', "[]", "")):
        (cli.folder / f"odd{number}").mkdir()
        (cli.folder / f"odd{number}" / "grade.json").write_text(text)
    ran = run()
    assert ran.exit_code == 0, ran.exception
    assert ran.stdout.count("cannot be read") == 4 and "summer (summer " in ran.stdout


@pytest.mark.parametrize("named", ["spring", "starter"])
def test_the_model_in_use_is_not_held_against_itself(run, named):
    run("--use", named)
    ran = run("--compare", named)
    assert ran.exit_code == 2 and "is the model in use; name another" in ran.stderr


@pytest.mark.parametrize(
    "args",
    [
        ("--use", "spring", "--back"),
        ("--compare", "spring", "--use", "summer"),
        ("--calls", "c.csv"),
        ("--photos", "haul"),
        ("--stones", "nowhere"),
    ],
)
def test_one_thing_at_a_time(run, args):
    ran = run(*args)
    assert ran.exit_code == 2 and ran.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("args", "what"),
    [
        (("--use", "spring"), "--use"),
        (("--back",), "--back"),
        (("--compare", "spring"), "comparing on your calls"),
        (("--stones", "spring"), "--stones"),
    ],
)
def test_what_needs_a_ledger_is_refused_without_one(run, args, what):
    ran = run(*args, "--no-ledger")
    assert ran.exit_code == 1
    assert ran.stderr == f"grader: {what} needs the ledger; leave --no-ledger out\n"


def called(cli, count=30):
    """Photos of a stone each, every one called."""
    rows = []
    for number in range(count):
        cli.photo(f"tray/{number}.jpg", f"1 {number}")
        rows.append(f"{number}.jpg,1,{('waste', 'tumbling', 'cabbing', 'select')[number % 4]},")
    (cli.folder / "CALLS.csv").write_text("photo,piece,grade,scene\n" + "\n".join(rows))


@pytest.mark.slow
@pytest.mark.parametrize("saved", [True, False])
def test_models_are_compared_on_calls_that_neither_has_learned_from(run, cli, monkeypatch, saved):
    called(cli)
    table = ("--photos", "tray")
    args = ("--compare", "spring")
    if saved:
        assert cli.run("call", "--from", "CALLS.csv", *table).exit_code == 0
    else:
        args = (*args, "--calls", "CALLS.csv", *table)
    ran = run(*args)
    assert "spring" in ran.stdout.splitlines()[0] and "30 called faces" in ran.stdout
    assert "beyond chance (kappa)" in ran.stdout and "gain in kappa" in ran.stdout
    if saved:
        assert cli.asked == []
    starter, stones = load_model(), cli.facts("measured")
    keys = tuple(f"{one.fact.sha256[:16]}-1" for one in stones)
    for learned, words in ((keys[:10], "20 called faces"), (keys, "has learned from all of these")):
        # The model in use is the starter, as if it had learned from so many of them.
        fake = replace(starter, provenance=replace(starter.provenance, stones=learned))
        monkeypatch.setattr("grader.grading.models.model_files.load_model", lambda folder=None, fake=fake: (
            fake if folder is None else load_model(folder)
        ))  # fmt: skip
        ran = run(*args)
        assert words in ran.stdout + ran.stderr
        assert f"left out, since a model has learned from them: {len(learned)}" in ran.stderr


def test_without_calls_there_is_nothing_to_compare_on(run):
    ran = run("--compare", "spring")
    assert ran.exit_code == 1 and "call some stones first" in ran.stderr


@pytest.mark.slow
def test_a_seasons_stones_are_held_against_those_that_the_model_knows(run, cli):
    called(cli, 19)
    assert cli.run("batch", "tray").exit_code == 0
    assert run("--stones", "tray").stdout.startswith("19 stones: too few to tell a shift")
    called(cli, 20)
    cli.run("batch", "tray")
    ran = run("--stones", "tray")
    # All stones are the hand-made one, which has more blue and bands than rendered ones have in the mean.
    assert ran.exit_code == 0 and cli.asked == []
    assert f"spreads away from the stones that {load_model().label} learned from" in ran.stdout


def test_stones_of_a_folder_that_was_not_graded_are_one_line(run, cli):
    cli.photo("tray/a.jpg")
    ran = run("--stones", "tray")
    assert ran.exit_code == 1 and "grader batch tray" in ran.stderr
    assert ran.stderr.count("\n") == 1


def test_calls_that_have_moved_are_told(run, cli):
    from grader.calling import save_calls
    from grader.ledger.place import default_path
    from grader.ledger.store import open_ledger

    def call(number, grade, month):
        shown = Shown("cabbing", 50, "starter 01234567", "dry")
        time = f"2026-{month}-03T10:00:00+01:00"
        place = (f"{number}.jpg", f"{number:064x}", 1, (0, 0, 9, 9))
        return Call(*place, grade, None, "Mira", time, None, shown=shown)

    early = [call(n, "cabbing" if n % 2 else "tumbling", "02") for n in range(20)]
    late = [call(n, "cabbing" if n % 2 else "select", "08") for n in range(20, 40)]
    with open_ledger(default_path()) as ledger:
        save_calls([*early, *late], ledger)
    output = run().stdout
    assert "Mira, 2026, months 1 to 3: 20 calls beside a proposal of starter 01234567" in output
    # By hand: half a grade below at first, half a grade above then.
    assert "Mira has become milder: +1.00 grades" in output


def test_a_dry_list_tells_of_no_use(run):
    run("--use", "summer")
    output = run("--no-ledger").stdout
    assert "starter" in in_use(output) and "since " not in output
