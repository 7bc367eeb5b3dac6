"""Several faces of one piece from the command line: one grade, one call, one stone."""

import csv
import json

import jsonschema

from grader.called import called_in_ledger, called_in_tables
from grader.grading.features.facts import facts_from
from grader.grading.features.several_faces import piece_facts
from grader.grading.learning.called_faces import called_faces
from grader.grading.models.model_files import load_model
from grader.ledger import views
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.opinions import disagreement
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.report.result import result_schema


def faces(cli, *args):
    ran = cli.run("check", *args, "--json")
    assert ran.exit_code == 0, ran.output
    records = json.loads(ran.stdout)
    records = records if isinstance(records, list) else [records]
    for record in records:
        jsonschema.Draft202012Validator(result_schema()).validate(record)
    return [record["pieces"][0] for record in records]


def two(cli):
    return cli.photo("a.jpg", "1 line"), cli.photo("b.jpg", "1b")


def test_one_grade_is_proposed_for_the_piece_and_said_so(cli):
    a, b = two(cli)
    ran = cli.run("check", a, b, "--one-piece")
    assert ran.exit_code == 0, ran.output
    assert ran.stdout.count("The piece, 2 faces") == 1
    assert "scene from" in ran.stdout and "lines from a.jpg, the worst of 2 faces" in ran.stdout
    first, second = faces(cli, a, b, "--one-piece")
    assert first["piece"] == second["piece"]
    assert [face["file"] for face in first["piece"]["faces"]] == ["a.jpg", "b.jpg"]
    assert first["piece"]["lines_from"] == "a.jpg"
    # The face with the line says alone what the piece says, the other one's lines do not lift it.
    assert first["piece"]["proposal"]["probabilities"] == first["proposal"]["probabilities"]


def test_the_order_of_the_photos_does_not_matter(cli):
    a, b = two(cli)
    one, other = (faces(cli, *order, "--one-piece")[0]["piece"] for order in ((a, b), (b, a)))
    assert one["proposal"] == other["proposal"] and one["lines_from"] == other["lines_from"]


def test_the_weight_is_of_the_piece(cli):
    a, b = two(cli)
    assert faces(cli, a, b, "--one-piece", "--weight-g", 412)[0]["piece"]["weight_g"] == 412
    told = cli.run("check", a, b, "--one-piece", "--weight-g", 412).stdout
    assert told.count("weight") == 1 and "412 g" in told


def test_a_call_on_the_piece_stands_on_each_of_its_photos(cli):
    a, b = two(cli)
    cli.run("check", a, b, "--one-piece")
    ran = cli.run("call", a, b, "--one-piece", "--grade", "select", "--scene", 60, "--by", "Nell")
    assert ran.exit_code == 0, ran.output
    assert ran.stdout.startswith("saved: a.jpg and b.jpg, one piece: select, scene 60 by Nell; ")
    for photo in (a, b):
        (stone,) = faces(cli, photo)
        assert (stone["call"]["grade"], stone["call"]["scene"]) == ("select", 60)
        assert [face["file"] for face in stone["piece"]["faces"]] == ["a.jpg", "b.jpg"]
        assert "The piece, 2 faces" in cli.run("check", photo).stdout
    assert len(cli.holding()) == 1


def test_two_photos_are_one_piece_after_the_first_call_and_not_joined_again(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    known = len(cli.facts("piece", "face"))
    assert cli.run("call", b, a, "--one-piece", "--grade", "cabbing").exit_code == 0
    assert len(cli.facts("piece", "face")) == known
    assert faces(cli, a)[0]["call"]["grade"] == "cabbing"


def test_a_third_face_comes_to_the_piece(cli):
    a, b = two(cli)
    c = cli.photo("c.jpg", "1c")
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    cli.run("call", c, b, "--one-piece", "--grade", "cabbing")
    assert len(faces(cli, c)[0]["piece"]["faces"]) == 3
    assert faces(cli, a)[0]["call"]["grade"] == "cabbing"


def test_a_call_on_one_photo_of_the_piece_is_one_on_the_piece(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    cli.run("call", b, "--grade", "tumbling")
    assert faces(cli, a)[0]["call"]["grade"] == "tumbling"


def test_undo_takes_the_call_back_from_any_photo_and_the_two_stay_one_piece(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    ran = cli.run("call", b, "--undo")
    assert ran.exit_code == 0 and "holds now: no call" in ran.stdout, ran.output
    (stone,) = faces(cli, a)
    assert stone["call"] is None and len(stone["piece"]["faces"]) == 2


def test_undo_of_the_piece_parts_it_once_no_call_on_it_holds(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    cli.run("call", a, b, "--one-piece", "--grade", "cabbing")
    cli.run("call", a, b, "--one-piece", "--undo")
    assert faces(cli, b)[0]["call"]["grade"] == "select"
    ran = cli.run("call", b, a, "--one-piece", "--undo")
    assert ran.exit_code == 0, ran.output
    assert "piece" not in faces(cli, a)[0] and faces(cli, b)[0]["call"] is None
    ran = cli.run("call", a, b, "--one-piece", "--undo")
    assert ran.exit_code == 1 and "not known as one piece" in ran.stderr


def test_what_makes_no_sense_of_a_piece_is_refused(cli):
    a, b = two(cli)
    for wrong in (
        (a, "--one-piece", "--grade", "select"),
        (a, b, "--grade", "select"),
        (a, b, "--one-piece"),
        (a, b, "--one-piece", "--line", 1, "--is", "crack"),
        (a, b, "--one-piece", "--piece", 1, "--grade", "select"),
    ):
        assert cli.run("call", *wrong).exit_code == 2, wrong
    assert cli.run("call", a, a, "--one-piece", "--grade", "select").exit_code == 1
    ran = cli.run("call", a, cli.photo("c.jpg", "2"), "--one-piece", "--grade", "select")
    assert "c.jpg: 2 stones; for --one-piece photograph one" in ran.stderr
    assert cli.facts("call") == []


def test_in_a_folder_the_piece_is_one_stone_with_one_grade(cli):
    a, b = two(cli)
    other = cli.photo("c.jpg", "1c")
    cli.run("call", a, b, "--one-piece", "--grade", "select", "--by", "Nell")
    ran = cli.run("batch", ".")
    assert ran.exit_code == 0, ran.output
    assert "3 photos graded, 2 stones" in ran.stderr
    with open(cli.folder / "graded" / "results.csv", encoding="utf-8", newline="") as table:
        rows = {row["photo"]: row for row in csv.DictReader(table)}
    first, second = rows[a], rows[b]
    assert first["same_piece"] == second["same_piece"] == "a.jpg 1; b.jpg 1"
    assert [row["face_of_piece"] for row in rows.values()] == ["1 of 2", "2 of 2", ""]
    for column in ("proposed_grade", "proposed_scene", "likely", "called_grade"):
        assert first[column] == second[column] != ""
    assert rows[other]["called_grade"] == ""
    sheet = (cli.folder / "graded" / "sheet.html").read_text("utf-8")
    assert "2 stones in 3 photos" in sheet and "one of 2 faces: a.jpg, b.jpg" in sheet
    assert sheet.count('<li class="tile') == 2


def test_the_piece_is_one_line_in_calls_on_whichever_photo(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select", "--by", "Nell")
    for args in ((), ("--photo", a), ("--photo", b)):
        (line,) = cli.run("calls", *args).stdout.splitlines()
        assert "a.jpg stone 1, one piece with b.jpg" in line
    (record,) = json.loads(cli.run("calls", "--json").stdout)
    assert record["faces"] == ["b.jpg"]


def test_two_people_differ_on_one_piece_once_whichever_photo_each_called(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select", "--by", "Nell")
    cli.run("call", b, "--grade", "waste", "--by", "Ole")
    with open_ledger(default_path()) as ledger:
        found = disagreement(ledger, load_profile(), load_model())
    (stone,) = found.stones
    assert {call["grade"] for call in stone.calls} == {"select", "waste"} and found.both == 1


def test_a_called_piece_is_not_asked_for_and_an_uncalled_one_once(cli):
    a, b = two(cli)
    c, d = cli.photo("c.jpg", "1c"), cli.photo("d.jpg", "1d")
    for pair in ((a, b), (c, d)):
        cli.run("call", *pair, "--one-piece", "--grade", "select")
    cli.run("call", c, "--undo")
    cli.run("batch", ".")
    asked = cli.run("ask", ".").stdout.splitlines()
    assert len(asked) == 1 and asked[0][:5] in ("c.jpg", "d.jpg")


def test_what_retrain_learns_from_holds_the_piece_once(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select", "--scene", 60)
    cli.run("call", cli.photo("c.jpg", "1c"), "--grade", "waste")
    with open_ledger(default_path()) as ledger:
        called = called_in_ledger(ledger, load_profile())
        facts = [facts_from(stone.facts) for stone in views.stones(ledger)][:2]
    assert [call.grade for call in called.calls] == ["select", "waste"] and not called.refused
    piece = called.features[called.calls[0].sha256, 1]
    assert piece == piece_facts(facts, load_profile()).features
    assert piece["crack_count"] == max(one.features["crack_count"] for one in facts) == 1
    named = called_faces(called.calls, called.features, load_profile())[0].names
    assert len(set(named)) == 2


def test_a_table_that_calls_each_face_is_learned_from_once_too(cli):
    a, b = two(cli)
    cli.run("call", a, b, "--one-piece", "--grade", "select")
    table = cli.folder / "mine.csv"
    table.write_text(f"photo,piece,grade,scene\n{a},1,waste,\n{b},1,cabbing,\n")
    with open_ledger(default_path()) as ledger:
        called = called_in_tables(
            table, None, [cli.folder], PhotoTerms(), load_profile(), ledger,
            time="2026-03-01T09:30:00+01:00",
        )  # fmt: skip
    faces, refused = called_faces(called.calls, called.features, load_profile())
    assert not refused and len(faces.stones) == 1
    assert load_profile().grades[faces.rung[0]] == "cabbing"
    assert faces.rows[0]["crack_count"] == 1


def test_the_picture_is_of_the_best_face_and_layers_are_of_all(cli):
    a, b = two(cli)
    ran = cli.run("check", a, b, "--one-piece", "--picture", "drawn.png", "--layers", "out")
    assert ran.exit_code == 0, ran.output
    best = json.loads(cli.run("check", a, b, "--one-piece", "--json").stdout)[0]
    from_best = best["pieces"][0]["piece"]["scene_from"]
    alone = cli.run("check", from_best, "--picture", "alone.png")
    assert alone.exit_code == 0
    assert (cli.folder / "drawn.png").read_bytes() == (cli.folder / "alone.png").read_bytes()
    assert {path.name[0] for path in (cli.folder / "out").iterdir()} == {"a", "b"}


def in_haul(cli, *names):
    """Photos in a folder, numbered in haul 07 in the order of their names."""
    photos = [cli.photo(f"dug/{name}", content) for name, content in names]
    assert cli.run("haul", "new", "07", "--raw", "20 lb").exit_code == 0
    ran = cli.run("batch", "dug", "--haul", "07", "--workers", 1)
    assert ran.exit_code == 0, ran.output
    return photos


def test_a_numbered_piece_keeps_its_number_when_another_face_comes_to_it(cli):
    (a,) = in_haul(cli, ("a.jpg", "1 line"))
    b = cli.photo("b.jpg", "1b")
    ran = cli.run("call", b, a, "--one-piece", "--grade", "tumbling")
    assert ran.exit_code == 0, ran.output
    (row,) = json.loads(cli.run("haul", "list", "07", "--json").stdout)
    assert (row["piece"], row["grade"]) == ("07-001", "tumbling")


def test_two_numbered_pieces_are_not_made_one(cli):
    a, b = in_haul(cli, ("a.jpg", "1 line"), ("b.jpg", "1b"))
    refused = cli.run("call", a, b, "--one-piece", "--grade", "tumbling")
    assert refused.exit_code == 1
    assert "07-001 and 07-002 are two pieces of a haul" in refused.output
