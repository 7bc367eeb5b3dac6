"""``grader check`` as people and programs see it."""

import json

import cv2
import jsonschema
import pytest

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
    assert [str(path) for path in cli.terms[0]["same_face"]] == ["x/a.jpg"]
    assert (cli.folder / "p.png").exists()
    assert "the same face: x/a.jpg" in cli.run("check", a, b, "--same-face").stdout


def test_one_photo_stands_alone_in_its_list_of_photos(cli):
    record = json.loads(cli.run("check", cli.photo("a.jpg"), "--json").stdout)
    (shown,) = record["photos"]
    assert (shown["file"], shown["used"], shown["why_not"]) == ("a.jpg", True, None)
    assert record["pieces"][0]["glare"]["filled"] == 0


def test_one_photo_of_the_same_face_is_a_usage_error(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--same-face")
    assert ran.exit_code == 2
    assert "give two or more photos of the face" in ran.output
    assert not cli.terms


def test_a_dried_photo_goes_with_a_wet_one(cli):
    a, b = cli.photo("a.jpg"), cli.photo("b.jpg")
    assert cli.run("check", a, b, "--same-face", "--dried").exit_code == 0
    assert cli.terms[0]["dried"] is True
    for wrong in (("--dried",), ("--same-face", "--dried", "--state", "dry")):
        ran = cli.run("check", a, b, *wrong)
        assert ran.exit_code == 2
        assert "the photo of the wet face first" in ran.output
        assert not cli.terms


def test_a_further_photo_that_cannot_be_read_is_one_line_and_fails(cli):
    ran = cli.run("check", cli.photo("a.jpg"), cli.photo("b.jpg", "bad"), "--same-face")
    assert ran.exit_code == 1
    assert ran.stderr == "grader: b.jpg: not a photo; give a JPEG\n"


def test_a_further_photo_is_never_drawn_over(cli):
    a, b = cli.photo("a.jpg"), cli.photo("b.jpg")
    assert cli.run("check", a, b, "--same-face", "--picture", b).exit_code == 2
    assert (cli.folder / "b.jpg").read_text() == "1"


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
        "grader: gone.jpg: no such photo; mend the name",
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
    assert not cli.terms


def test_an_unknown_profile_is_one_line_and_a_usage_error(cli):
    ran = cli.run("check", cli.photo("a.jpg"), "--json", "--profile", "bandet")
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert ran.stderr.startswith("grader: profile 'bandet' is not known (did you mean 'banded'?)")
    assert len(ran.stderr.splitlines()) == 1


def test_the_command_line_wins_over_the_working_folder(cli):
    (cli.folder / "grader.toml").write_text('mm_per_px = 0.3\nmodel = "mine"\n')
    photo = cli.photo("a.jpg")
    cli.run("check", photo, "--whole")
    assert (cli.terms[0]["mm_per_px"], cli.terms[0]["whole"]) == (0.3, True)
    assert cli.terms[0]["model"].label == "mine"
    cli.run("check", photo, "--mm-per-px", "0.2", "--model", "other")
    assert (cli.terms[0]["mm_per_px"], cli.terms[0]["whole"]) == (0.2, False)
    assert cli.terms[0]["model"].label == "other"


def test_a_wrong_setting_is_one_line(cli):
    (cli.folder / "grader.toml").write_text("mm_per_pixel = 0.3\n")
    ran = cli.run("check", cli.photo("a.jpg"))
    assert ran.exit_code == 2
    assert ran.stderr == (
        "grader: grader.toml: the file has no setting 'mm_per_pixel' "
        "(did you mean 'mm_per_px'?); remove or rename it\n"
    )


def test_the_table_for_people_tells_all_of_a_stone(cli):
    told = cli.run("check", cli.photo("a.jpg"), "--mm-per-px", "0.2").stdout
    for words in (
        "Stone 1   cabbing: the written rules say tumbling; see why",
        "your call  none yet",
        "photo      usable, dry",
        "scene      54 of 100 (41 to 67)",
        "colour     blue 53 % (48 to 56)",
        "lines      no line seen on 1 face, dry",
        "size       18x13 mm oval, 8.0 cm²",
        "sell as    by weight",
        "why        half of the face is blue",
        "29 CFR 1910.1053",
    ):
        assert words in told


def test_the_table_never_says_that_a_stone_is_without_cracks(cli):
    told = cli.run("check", cli.photo("a.jpg", "3")).stdout.casefold()
    for words in ("no crack", "crack-free", "clean", "flawless"):
        assert words not in told


def test_the_sellers_call_stands_beside_the_proposal(cli):
    photo = cli.photo("a.jpg", "2")
    sha256 = json.loads(cli.run("check", photo, "--json").stdout)["photo"]["sha256"]
    call = {
        "photo": "elsewhere/b.jpg", "sha256": sha256, "piece": 1, "box": [42, 181, 200, 100],
        "grade": "select", "scene": 71, "by": "Mira", "time": "2026-03-02T10:11:12+01:00",
        "note": None,
    }  # fmt: skip
    (cli.folder / "calls.jsonl").write_text(json.dumps(call) + "\n")
    first, second = json.loads(cli.run("check", photo, "--json").stdout)["pieces"]
    assert first["call"] is None
    assert (second["call"]["grade"], second["proposal"]["grade"]) == ("select", "cabbing")
    assert "your call  select, scene 71, by Mira, 2026-03-02" in cli.run("check", photo).stdout


def test_a_call_whose_stone_is_gone_is_told(cli):
    call = {
        "photo": "a.jpg", "sha256": None, "piece": 1, "box": [0, 0, 20, 20],
        "grade": "select", "scene": None, "by": None, "time": "2026-03-02T10:11:12+01:00",
        "note": None,
    }  # fmt: skip
    (cli.folder / "calls.jsonl").write_text(json.dumps(call) + "\n")
    assert "call without a stone: select" in cli.run("check", cli.photo("a.jpg")).stdout
    assert "call without a stone" not in cli.run("check", cli.photo("b.jpg")).stdout


def test_a_line_of_calls_that_is_broken_is_told_and_left(cli):
    (cli.folder / "calls.jsonl").write_text("{half\n")
    ran = cli.run("check", cli.photo("a.jpg"), "--json")
    assert ran.exit_code == 0
    assert ran.stderr.startswith("line 1: calls.jsonl holds no whole call there")
    check(json.loads(ran.stdout))


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


@pytest.mark.parametrize("option", ["--picture", "--view"])
def test_another_original_is_never_replaced_by_a_picture(cli, option):
    (cli.folder / "b.jpg").write_bytes(b"\xff\xd8 the only photo of it")
    ran = cli.run("check", cli.photo("a.jpg"), option, "b.jpg")
    assert ran.exit_code == 2 and cli.terms == []
    assert f"{option}: b.jpg is there already and was not made by this tool" in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    assert (cli.folder / "b.jpg").read_bytes() == b"\xff\xd8 the only photo of it"


def test_a_picture_and_layers_that_the_tool_made_are_made_anew_and_others_are_kept(cli):
    photo = cli.photo("a.jpg")
    for _ in range(2):
        ran = cli.run("check", photo, "--picture", "drawn.jpg", "--layers", "out")
        assert ran.exit_code == 0
    (cli.folder / "out" / "a.cracks.png").write_bytes(b"painted over by the seller")
    ran = cli.run("check", photo, "--layers", "out")
    assert ran.exit_code == 1 and "a.cracks.png is there already" in ran.stderr
    assert (cli.folder / "out" / "a.cracks.png").read_bytes() == b"painted over by the seller"
