"""``grader check`` as people and programs see it."""

import hashlib
import json
import os
from importlib import resources

import cv2
import jsonschema
import pytest

from grader.report.headline import headline_words
from grader.report.result import result_schema


def check(record):
    jsonschema.Draft202012Validator(result_schema()).validate(record)


def test_json_of_one_photo_is_one_object_and_nothing_else(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--json")
    record = json.loads(ran.stdout)
    check(record)
    assert ran.exit_code == 0
    assert record["photo"]["file"] == "a.jpg"


def test_json_of_several_photos_is_a_list_in_the_order_given(cli):
    ran = cli.run("check", cli.photo("b.jpg", "2"), cli.photo("a.jpg"), "--json")
    assert [record["photo"]["file"] for record in json.loads(ran.stdout)] == ["b.jpg", "a.jpg"]


@pytest.mark.parametrize("content", ["0", "retake", "3"])
def test_no_stone_and_retake_are_no_failures(cli, content):
    ran = cli.run("check", cli.photo("a.jpg", content), "--json")
    assert ran.exit_code == 0
    check(json.loads(ran.stdout))


def test_several_photos_of_one_face_are_one_object_in_the_frame_of_the_first(cli):
    a, b = cli.photo("a.jpg", "2"), cli.photo("x/a.jpg", "1")
    ran = cli.run("check", a, b, "--same-face", "--json", "--layers", "out", "--picture", "p.png")
    record = json.loads(ran.stdout)
    check(record)
    assert ran.exit_code == 0
    assert (record["photo"]["file"], len(record["pieces"])) == ("a.jpg", 2)
    assert [shown["file"] for shown in record["photos"]] == ["a.jpg", "x/a.jpg"]
    assert record["photos"][0]["sha256"] == record["photo"]["sha256"]
    assert {str(path) for one in cli.asked for path in one.terms.same_face} == {"x/a.jpg"}
    assert (cli.folder / "p.png").exists()
    assert "the same face: x/a.jpg" in cli.run("check", a, b, "--same-face").stdout
    assert cli.asked == []


def test_one_photo_stands_alone_in_its_list_of_photos(cli):
    record = json.loads(cli.run("check", cli.photo("a.jpg"), "--json").stdout)
    (shown,) = record["photos"]
    assert (shown["file"], shown["used"], shown["why_not"]) == ("a.jpg", True, None)
    assert record["pieces"][0]["glare"]["filled"] == 0


def test_one_photo_of_the_same_face_is_a_usage_error(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--same-face")
    assert ran.exit_code == 2
    assert "give two or more photos of the face" in ran.output
    assert not cli.asked


def test_a_dried_photo_goes_with_a_wet_one(cli):
    a, b = cli.photo("a.jpg"), cli.photo("b.jpg")
    assert cli.run("check", a, b, "--same-face", "--dried").exit_code == 0
    assert cli.asked[0].terms.dried is True
    for wrong in (("--dried",), ("--same-face", "--dried", "--state", "dry")):
        ran = cli.run("check", a, b, *wrong)
        assert ran.exit_code == 2
        assert "the photo of the wet face first" in ran.output
        assert not cli.asked


def test_a_further_photo_that_cannot_be_read_is_one_line_and_fails(cli):
    ran = cli.run("check", cli.photo("a.jpg"), cli.photo("b.jpg", "bad"), "--same-face")
    assert ran.exit_code == 1
    assert ran.stderr == "grader: b.jpg: not a photo; give a JPEG\n"


def test_a_further_photo_is_never_drawn_over(cli):
    a, b = cli.photo("a.jpg"), cli.photo("b.jpg")
    assert cli.run("check", a, b, "--same-face", "--picture", b).exit_code == 2
    assert (cli.folder / "b.jpg").read_text() == "1"


def test_one_that_may_not_be_read_leaves_the_others_graded(cli, monkeypatch):
    # To whoever runs tests as the system's owner every file is open: as another would meet it.
    def refuse_or_hash(stream, _):
        if stream.name.endswith("b.jpg"):
            raise PermissionError(13, "Permission denied")
        return hashlib.sha256(stream.read())

    monkeypatch.setattr(os, "access", lambda path, how: not str(path).endswith("b.jpg"))
    monkeypatch.setattr(hashlib, "file_digest", refuse_or_hash)
    ran = cli.run("check", cli.photo("a.jpg"), cli.photo("b.jpg"))
    assert ran.exit_code == 1 and "a.jpg" in ran.stdout
    assert "b.jpg: cannot be read (Permission denied); check the file and" in ran.stderr


def test_a_photo_that_cannot_be_read_fails_and_the_others_are_graded(cli):
    ran = cli.run("check", cli.photo("a.jpg", "bad"), "gone.jpg", cli.photo("b.jpg"), "--json")
    bad, gone, good = json.loads(ran.stdout)
    assert ran.exit_code == 1
    assert bad == {
        "schema": 1,
        "photo": {"file": "a.jpg"},
        "pieces": [],
        "error": {"code": "not_a_photo", "text": "a.jpg: not a photo; give a JPEG"},
    }
    assert gone["error"]["code"] == "missing"
    assert len(good["pieces"]) == 1
    assert ran.stderr.splitlines() == [
        "grader: a.jpg: not a photo; give a JPEG",
        "grader: gone.jpg: no such file; check its name and place",
    ]


def test_no_photo_is_a_usage_error(cli):
    assert cli.run("check").exit_code == 2


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "wide"])
def test_a_scale_that_is_none_is_a_usage_error(cli, value):
    assert cli.run("check", cli.photo("a.jpg"), "--mm-per-px", value).exit_code == 2


def test_two_photos_of_one_stem_with_layers_are_a_usage_error(cli):
    one, other = cli.photo("a.jpg"), cli.photo("x/A.png")
    ran = cli.run("check", one, other, "--layers", "out")
    assert ran.exit_code == 2
    assert not (cli.folder / "out").exists()
    assert cli.run("check", one, other).exit_code == 0


def test_layers_are_written_under_the_stem(cli):
    cli.run("check", cli.photo("a.b.jpg"), "--layers", "out/layers")
    names = sorted(path.name for path in (cli.folder / "out" / "layers").iterdir())
    assert names == [
        "a.b.borders.png",
        "a.b.cracks.png",
        "a.b.parts.png",
        "a.b.pieces.png",
        "a.b.regions.png",
        "a.b.seen.png",
    ]


def test_a_picture_is_written_for_one_photo_and_refused_for_several(cli):
    one, other = cli.photo("a.jpg"), cli.photo("b.jpg")
    assert cli.run("check", one, "--picture", "drawn.png").exit_code == 0
    assert cv2.imread(str(cli.folder / "drawn.png")).shape == (180, 280, 3)
    assert cli.run("check", one, other, "--picture", "drawn.png").exit_code == 2


def test_a_picture_of_no_known_format_or_layers_in_a_file_are_usage_errors_before_any_grading(cli):
    photo = cli.photo("a.jpg")
    ran = cli.run("check", photo, "--picture", "drawn.txt")
    assert ran.exit_code == 2
    assert "drawn.txt: end the name in .jpg, .png, .webp or .tif" in ran.stderr
    assert cli.run("check", photo, "--layers", photo).exit_code == 2
    assert not cli.asked


def test_an_unknown_profile_is_one_line_and_a_usage_error(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--json", "--profile", "bandet")
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert ran.stderr.startswith("grader: profile 'bandet' is not known (did you mean 'banded'?)")
    assert len(ran.stderr.splitlines()) == 1


def test_the_command_line_wins_over_the_settings(cli):
    (cli.folder / "grader.toml").write_text("mm_per_px = 0.3\n")
    photo = cli.photo("a.jpg")
    cli.run("check", photo, "--whole")
    assert (cli.asked[0].terms.mm_per_px, cli.asked[0].terms.whole) == (0.3, True)
    cli.run("check", photo, "--mm-per-px", "0.2")
    assert (cli.asked[0].terms.mm_per_px, cli.asked[0].terms.whole) == (0.2, False)


def test_a_wrong_setting_is_one_line(cli):
    (cli.folder / "grader.toml").write_text("mm_per_pixel = 0.3\n")
    ran = cli.run("check", cli.photo("a.jpg"))
    assert ran.exit_code == 2
    assert ran.stderr == (
        f"grader: {cli.folder / 'grader.toml'}: the file has no setting 'mm_per_pixel' "
        "(did you mean 'mm_per_px'?); remove or rename it\n"
    )


def test_settings_are_found_upward_and_name_files_from_their_own_folder(cli, monkeypatch):
    own = resources.files("grader").joinpath("profiles/banded.toml").read_text("utf-8")
    (cli.folder / "own.toml").write_text(own.replace("select", "finest"))
    (cli.folder / "grader.toml").write_text('profile = "own.toml"\nledger = "books/mine.sqlite"\n')
    cli.photo("haul/deep/a.jpg")
    monkeypatch.chdir(cli.folder / "haul" / "deep")
    ran = cli.run("check", "a.jpg", "--json")
    assert "finest" in json.loads(ran.stdout)["pieces"][0]["proposal"]["probabilities"]
    mine = cli.folder / "books" / "mine.sqlite"
    # It is not the usual ledger, so the last line names it.
    assert ran.stderr.splitlines()[-1] == f"ledger: {mine}"
    assert len(cli.facts("measured", ledger=mine)) == 1 and cli.facts("measured") == []


def test_the_table_with_more_tells_all_of_a_stone(cli):
    photo = cli.photo("a.jpg")
    output = cli.run("check", photo, "--mm-per-px", "0.2", "--more").stdout
    (piece,) = cli.pieces(photo, "--mm-per-px", "0.2")
    scene, proposal = piece["scene"], piece["proposal"]
    for words in (
        "Stone 1   ",
        "call          none yet",
        f"proposed by {proposal['model']}",
        "photo         usable, dry",
        f"scene         {scene['score']} of 100 ({scene['low']} to {scene['high']})",
        "colour        blue 53 % (48 to 56)",
        "lines         no line seen on 1 face, dry",
        "size          18x13 mm oval, 8.0 cm²",
        f"sell as       {proposal['sell_as']}",
        f"why           {proposal['reasons'][0]}",
        "grader care",
    ):
        assert words in output


@pytest.mark.parametrize("scale", [(), ("--mm-per-px", "0.2")])
def test_the_table_of_one_stone_fits_a_small_window_and_leaves_out_nothing_that_decides(cli, scale):
    photo = cli.photo("a.jpg")
    ran = cli.run("check", photo, *scale)
    (piece,) = cli.pieces(photo, *scale)
    assert len(ran.output.splitlines()) <= 24
    for words in (
        f"Stone 1   {headline_words(piece['proposal'])}",
        f"why           {piece['proposal']['reasons'][0]}",
        "colour        blue 53 % (48 to 56), white 2",
        "lines         no line seen on 1 face, dry",
        "scene         ",
        "dust",
        "--more",
    ):
        assert words in ran.stdout
    # What cannot be told without a scale is said once.
    assert ran.stdout.count("scale") == (1 if not scale else 0)
    assert ("size          18x13 mm oval, 8.0 cm²" in ran.stdout) == bool(scale)


def test_the_table_never_says_that_a_stone_is_without_cracks(cli):
    output = cli.run("check", cli.photo("a.jpg", "3")).stdout.casefold()
    for words in ("no crack", "crack-free", "clean", "flawless"):
        assert words not in output


def test_the_sellers_call_stands_beside_the_proposal(cli):
    photo = cli.photo("a.jpg", "2")
    cli.run("call", photo, "--piece", 2, "--grade", "select", "--scene", 71, "--by", "Mira")
    first, second = cli.pieces(photo)
    assert first["call"] is None and first["calls"] == []
    assert (second["call"]["grade"], second["call"]["decided"]) == ("select", "alone")
    day = cli.calls()[0].time[:10]
    assert f"call          select, scene 71 by Mira, {day}" in cli.run("check", photo).stdout


def test_a_photo_known_is_not_measured_again(cli):
    photo = cli.photo("a.jpg", "2 line")
    first = cli.run("check", photo, "--json").stdout
    again = cli.run("check", photo, "--json").stdout
    assert cli.asked == [] and again == first
    assert len(cli.facts("measured")) == 1 and len(cli.facts("look")) == 1
    # Nor under another name.
    (cli.folder / "a.jpg").rename(cli.folder / "z.jpg")
    assert json.loads(cli.run("check", "z.jpg", "--json").stdout)["photo"]["file"] == "z.jpg"
    assert cli.asked == []


@pytest.mark.parametrize(
    "terms",
    [
        ("--mm-per-px", 0.2),
        ("--whole",),
        ("--state", "wet"),
        ("--height-mm", 3),
        ("--paper-at", "1,2,3,4"),
        ("--weight-g", 12),
    ],
)
def test_other_terms_are_another_look_and_both_are_kept(cli, terms):
    photo = cli.photo("a.jpg")
    cli.run("check", photo)
    cli.run("check", photo, *terms)
    assert len(cli.asked) == 1
    cli.run("check", photo)
    assert cli.asked == []
    first, other = cli.facts("measured")
    assert first.fact.terms == {} and other.fact.terms != {}
    # Which was shown last is told anew each time it changes.
    assert [look.fact.measured for look in cli.facts("look")] == [
        first.fact.uid,
        other.fact.uid,
        first.fact.uid,
    ]


def test_another_profile_or_model_grades_and_only_the_profile_measures(cli):
    photo = cli.photo("a.jpg")
    cli.run("check", photo)
    own = resources.files("grader").joinpath("profiles/banded.toml").read_text("utf-8")
    (cli.folder / "own.toml").write_text(own.replace("select", "finest"))
    cli.run("check", photo, "--model", "starter")
    assert cli.asked == []
    cli.run("check", photo, "--profile", "own.toml")
    assert len(cli.asked) == 1


def test_anew_measures_what_is_known_again_and_both_are_kept(cli):
    photo = cli.photo("a.jpg")
    cli.run("check", photo)
    cli.run("check", photo, "--anew")
    assert len(cli.asked) == 1
    measured = cli.facts("measured")
    assert len(measured) == 2 and cli.facts("look")[-1].fact.measured == measured[1].fact.uid


def test_an_edited_photo_is_measured(cli):
    photo = cli.photo("a.jpg")
    cli.run("check", photo)
    cli.photo("a.jpg", "2 edited")
    assert len(cli.pieces(photo)) == 2 and len(cli.asked) == 1


def test_one_stone_measured_twice_or_copied_is_one_piece(cli):
    photo, copy = cli.photo("a.jpg", "2"), cli.photo("b.jpg", "2")
    cli.run("check", photo)
    cli.run("check", photo, "--mm-per-px", 0.2)
    cli.run("check", copy, "--state", "wet")
    assert len(cli.facts("piece")) == len(cli.facts("face")) == 2


def test_a_dry_look_neither_reads_nor_keeps_anything(cli):
    photo = cli.photo("a.jpg", "1 line")
    ran = cli.run("check", photo, "--no-ledger", "--json")
    assert ran.exit_code == 0 and ran.stderr == ""
    assert list(cli.data.iterdir()) == []
    cli.run("call", photo, "--grade", "select")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    dry = json.loads(cli.run("check", photo, "--no-ledger", "--json").stdout)
    assert dry == json.loads(ran.stdout)
    assert [one.calls for one in cli.asked] == [()]


def test_another_ledger_knows_nothing_of_the_usual_one_and_is_named_last(cli):
    photo = cli.photo("a.jpg")
    usual = cli.run("check", photo)
    assert "ledger" not in usual.stderr
    ran = cli.run("check", photo, "--ledger", "other.sqlite")
    assert len(cli.asked) == 1
    assert ran.stderr.splitlines()[-1] == "ledger: other.sqlite"
    assert len(cli.facts("measured", ledger=cli.folder / "other.sqlite")) == 1
    # Also where a photo could not be read.
    ran = cli.run("check", cli.photo("b.jpg", "bad"), "--ledger", "other.sqlite")
    assert ran.exit_code == 1 and ran.stderr.splitlines()[-1] == "ledger: other.sqlite"


def test_a_ledger_and_none_is_a_usage_error(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--ledger", "b.sqlite", "--no-ledger")
    assert ran.exit_code == 2 and "not both" in ran.stderr and ran.stderr.count("\n") == 1


def test_what_is_no_ledger_is_one_line_and_left_as_it_is(cli):
    (cli.folder / "notes.txt").write_text("mine")
    ran = cli.run("check", cli.photo("a.jpg"), "--ledger", "notes.txt")
    assert ran.exit_code == 1
    assert ran.stderr == f"grader: {cli.folder / 'notes.txt'}: is no ledger; give another file\n"
    assert (cli.folder / "notes.txt").read_text() == "mine"


def test_layers_are_of_the_same_look_with_the_words_on_lines(cli):
    photo = cli.photo("a.jpg", "1 line")
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    cli.run("check", photo, "--layers", "out", "--mm-per-px", 0.2)
    assert {one.terms.mm_per_px for one in cli.asked} == {0.2}
    assert all([call.line.says for call in one.calls] == ["pattern"] for one in cli.asked)


def test_the_photo_itself_is_never_drawn_over(cli):
    photo = cli.photo("a.jpg")
    ran = cli.run("check", photo, "--picture", f"./{photo}")
    assert ran.exit_code == 2
    assert (cli.folder / "a.jpg").read_text() == "1"


def test_px_per_mm_given_for_mm_per_px_is_asked_about(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--mm-per-px", 11.8)
    assert ran.exit_code == 2
    assert "px per mm" in ran.output


def test_several_faces_of_one_piece_are_told_together(cli):
    cli.photo("a.jpg", "1a")
    cli.photo("b.jpg", "1b")
    ran = cli.run("check", "a.jpg", "b.jpg", "--one-piece")
    assert ran.exit_code == 0, ran.output
    assert ran.stdout.count("The piece, 2 faces") == 1


def test_a_face_of_one_piece_shows_one_stone(cli):
    cli.photo("a.jpg", "1")
    cli.photo("b.jpg", "2")
    ran = cli.run("check", "a.jpg", "b.jpg", "--one-piece")
    assert ran.exit_code == 1
    assert "b.jpg: 2 stones; for --one-piece photograph one" in ran.stderr
    assert cli.run("check", "a.jpg", "--one-piece").exit_code == 2
    assert cli.run("check", "a.jpg", "b.jpg", "--one-piece", "--same-face").exit_code == 2


@pytest.mark.slow
def test_the_picture_switches_between_views(cli):
    photo, pictures = cli.photo("a.jpg"), []
    for view in (
        (),
        ("--view", "lines"),
        ("--view", "photo"),
        ("--view", "regions"),
        ("--view", "best"),
    ):
        assert cli.run("check", photo, "--picture", "drawn.png", *view).exit_code == 0
        pictures.append((cli.folder / "drawn.png").read_bytes())
    assert pictures[0] == pictures[1]
    assert len(set(pictures)) == 4


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (("--view", "best"), "--view: give --picture FILE too, where it is written"),
        (
            ("--picture", "x.png", "--view", "scene.jpg"),
            "--view: 'scene.jpg' is not one of 'lines'",
        ),
    ],
)
def test_a_view_that_makes_no_sense_is_refused_in_one_line(cli, given, message):
    ran = cli.run("check", cli.photo("a.jpg"), *given)
    assert ran.exit_code == 2 and cli.asked == []
    assert message in ran.stderr and len(ran.stderr.splitlines()) == 1


@pytest.mark.parametrize("option", ["--picture", "--scene"])
def test_another_original_is_never_replaced_by_a_picture(cli, option):
    (cli.folder / "b.jpg").write_bytes(b"\xff\xd8 the only photo of it")
    ran = cli.run("check", cli.photo("a.jpg"), option, "b.jpg")
    assert ran.exit_code == 2 and cli.asked == []
    assert f"{option}: b.jpg is there already and was not made by this tool" in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    assert (cli.folder / "b.jpg").read_bytes() == b"\xff\xd8 the only photo of it"


@pytest.mark.slow
def test_a_picture_and_layers_that_the_tool_made_are_made_anew_and_others_are_kept(cli):
    photo = cli.photo("a.jpg")
    for _ in range(2):
        ran = cli.run("check", photo, "--picture", "drawn.jpg", "--layers", "out")
        assert ran.exit_code == 0
    (cli.folder / "out" / "a.cracks.png").write_bytes(b"painted over by the seller")
    ran = cli.run("check", photo, "--layers", "out")
    assert ran.exit_code == 1 and "a.cracks.png is there already" in ran.stderr
    assert (cli.folder / "out" / "a.cracks.png").read_bytes() == b"painted over by the seller"
