"""The JSON object, held against its schema and against numbers that can be counted."""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from grader.errors import PhotoError
from grader.face.measurements import Line
from grader.grading.proposal import Call
from grader.report.calls import with_calls
from grader.report.json_text import to_json
from grader.report.result import (
    failed_record,
    graded_record,
    measured_record,
    photo_record,
    result_schema,
)


def check(record: dict) -> None:
    jsonschema.Draft202012Validator(result_schema()).validate(json.loads(to_json(record)))


def test_the_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(result_schema())


@pytest.mark.parametrize("mm_per_px", [None, 0.2])
@pytest.mark.parametrize("verdict", ["usable", "with care", "retake"])
@pytest.mark.parametrize("pieces", [0, 1, 3])
def test_every_object_follows_the_schema(make_graded, crack, pieces, verdict, mm_per_px):
    check(photo_record(make_graded(pieces, verdict=verdict, mm_per_px=mm_per_px, lines=(crack,))))


@pytest.mark.parametrize("decider", [None, "Ada"])
def test_every_object_with_calls_follows_the_schema(make_graded, decider):
    record = photo_record(make_graded(2))
    stone = record["photo"]["sha256"], 1, tuple(record["pieces"][0]["box"])
    when = "2026-03-02T10:11:12+01:00"
    calls = [
        Call("a.jpg", *stone, "select", 70, "Ada", when, "two bands", stone="bucket 3"),
        Call("a.jpg", *stone, None, 0, None, when, None),
    ]
    ((joined,), _) = with_calls([record], calls, decider)
    assert len(joined["pieces"][0]["calls"]) == 2
    check(joined)
    joined["pieces"][0]["calls"][0]["scene"] = 101
    with pytest.raises(jsonschema.ValidationError):
        check(joined)


def test_a_measured_photo_is_told_without_what_a_model_says(make_graded, crack):
    graded = make_graded(2, lines=(crack,), mm_per_px=0.2)
    whole, measured = photo_record(graded), measured_record(graded.measured)
    for piece in measured["pieces"]:
        assert piece["proposal"] is None
        assert [piece["scene"][key] for key in ("score", "low", "high")] == [None] * 3
    # A retake is the one object without a proposal that the schema lets pass, and this is no retake.
    with pytest.raises(jsonschema.ValidationError):
        check(measured)
    estimates = [(piece.scene, piece.proposal) for piece in graded.pieces]
    assert graded_record(json.loads(to_json(measured)), estimates) == whole
    # What was kept is left as it was.
    assert measured == measured_record(graded.measured)


def test_the_photo_is_named_as_its_reader_names_it(make_graded):
    record = photo_record(make_graded(), "june/a.jpg")
    assert record["photo"]["file"] == record["photos"][0]["file"] == "june/a.jpg"
    assert photo_record(make_graded())["photo"]["file"] == "a.jpg"


def test_the_schema_refuses_a_zero_where_something_is_unknown(make_graded):
    record = photo_record(make_graded())
    record["photo"]["scale"]["mm_per_px"] = 0
    with pytest.raises(jsonschema.ValidationError):
        check(record)


def test_the_schema_refuses_a_proposal_on_retake(make_graded):
    record = photo_record(make_graded())
    record["pieces"][0]["verdict"] = "retake"
    with pytest.raises(jsonschema.ValidationError):
        check(record)


def test_a_photo_that_cannot_be_read_has_file_no_pieces_and_the_reason():
    record = failed_record("b.jpg", PhotoError("b.jpg: empty file; copy it again", "empty"))
    check(record)
    assert record == {
        "schema": 1,
        "photo": {"file": "b.jpg"},
        "pieces": [],
        "error": {"code": "empty", "text": "b.jpg: empty file; copy it again"},
    }


def test_a_photo_that_cannot_be_read_is_named_as_its_reader_names_it():
    record = failed_record("x/b.jpg", PhotoError("b.jpg: empty file; copy it again", "empty"))
    assert record["error"]["text"] == "x/b.jpg: empty file; copy it again"


def test_shares_sum_to_one_within_a_millionth(make_graded):
    shares = photo_record(make_graded())["pieces"][0]["shares"]
    assert abs(sum(share["value"] for share in shares.values()) - 1) < 1e-6
    assert shares["host"]["kinds"].keys() == {"rusty", "grey"}


def test_lengths_are_in_px_of_the_full_size_photo(make_graded, crack):
    # 40 working px at half size are 80 px of the photo; at 0.2 mm a px of the photo 16 mm.
    cracks = photo_record(make_graded(lines=(crack,), mm_per_px=0.2))["pieces"][0]["cracks"]
    assert (cracks["count"], cracks["length_px"], cracks["length_mm"]) == (1, 80.0, 16.0)
    # The stone lies at 40, 40: 20 and 60 working px are 80 and 160, and 25.5 is 91.
    assert cracks["lines"][0]["points"] == [[80, 91], [160, 91]]
    # Seen in 2 working px, its width is not told; from 3 on it is.
    assert cracks["lines"][0]["width_px"] is None
    wide = replace(crack, width_px=3.0, greatest_width_px=4.0)
    (line,) = photo_record(make_graded(lines=(wide,), mm_per_px=0.2))["pieces"][0]["cracks"][
        "lines"
    ]
    assert (line["width_px"], line["greatest_width_px"]) == (6.0, 8.0)
    assert (line["length_mm"], line["width_mm"], line["greatest_width_mm"]) == (16.0, 1.2, 1.6)


def test_length_per_area_is_told_with_its_unit(make_graded, crack):
    # 16 mm on 40 x 20 mm, 8 cm2; 80 px on 200 x 100 px.
    cracks = photo_record(make_graded(lines=(crack,), mm_per_px=0.2))["pieces"][0]["cracks"]
    assert cracks["crack_mm_per_cm2"] == 2.0
    assert cracks["crack_px_per_px2"] == 0.004
    assert photo_record(make_graded())["pieces"][0]["cracks"]["crack_mm_per_cm2"] is None


def test_what_the_lines_leave_is_told_by_share_area_and_weight(make_graded, crack):
    across = replace(crack, points=np.array([[2.0, 25.5], [98.0, 25.5]]), probability=1.0)
    made = make_graded(lines=(across,), mm_per_px=0.4)
    stone = replace(made.measured.pieces[0], weight_g=200.0)
    record = photo_record(replace(made, measured=replace(made.measured, pieces=(stone,))))
    check(record)
    sound = record["pieces"][0]["sound"]
    # 80 x 40 mm, halved along: 80 x 20 mm to both sides, which an oval of 18 x 13 mm finds room in.
    assert [part["share"] for part in sound["parts"]] == pytest.approx([0.5, 0.5], abs=0.02)
    assert [part["area_cm2"] for part in sound["parts"]] == pytest.approx([16, 16], abs=0.7)
    assert [part["weight_g"] for part in sound["parts"]] == pytest.approx([100, 100], abs=4)
    assert sound["usable"]["value"] == 1.0
    assert sound["usable_g"] == {"value": 200.0, "low": 200.0, "high": 200.0}
    assert [(clear["oval"], clear["share"] > 0.8) for clear in sound["clear"]] == [
        ("18x13", True),
        ("40x30", False),
    ]


def test_without_scale_or_weight_nothing_is_said_of_ovals_and_weight(make_graded):
    sound = photo_record(make_graded())["pieces"][0]["sound"]
    assert sound["largest"] == {"value": 1.0, "low": 1.0, "high": 1.0}
    assert sound["parts"] == [{"share": 1.0, "area_cm2": None, "weight_g": None}]
    assert (sound["clear"], sound["usable"], sound["usable_g"]) == ([], None, None)


def test_lines_of_another_class_are_listed_and_not_counted(make_graded, crack):
    other = Line(crack.points, 40.0, 2.0, "uncertain", 0.4)
    cracks = photo_record(make_graded(lines=(crack, other)))["pieces"][0]["cracks"]
    assert cracks["count"] == 1
    assert cracks["length_px"] == 80.0
    assert [line["class"] for line in cracks["lines"]] == ["crack", "uncertain"]


def test_without_scale_what_hangs_on_it_is_null_and_the_reason_is_told(make_graded, crack):
    record = photo_record(make_graded(lines=(crack,)))
    piece = record["pieces"][0]
    scale = record["photo"]["scale"]
    assert scale == {"mm_per_px": None, "low": None, "high": None, "source": None}
    assert piece["area_cm2"] is piece["size_class"] is piece["proposal"]["sell_as"] is None
    assert piece["cracks"]["length_mm"] is piece["banding"]["thickness_mm"] is None
    assert piece["proposal"]["grade"] == "cabbing"
    assert "no_scale" in [warning["code"] for warning in piece["warnings"]]


def test_with_scale_nothing_is_said_of_a_missing_one(make_graded):
    record = photo_record(make_graded(mm_per_px=0.2))
    piece = record["pieces"][0]
    # 200 x 100 px of 0.2 mm are 40 x 20 mm, 8 cm2; bands of 24 px 4.8 mm.
    assert piece["area_cm2"] == 8.0
    assert piece["banding"]["thickness_mm"] == 4.8
    assert record["photo"]["warnings"] == piece["warnings"] == []


def test_retake_keeps_the_measurements_and_the_scene_score(make_graded):
    piece = photo_record(make_graded(verdict="retake"))["pieces"][0]
    assert piece["proposal"] is None
    assert piece["scene"]["score"] == 54
    assert piece["shares"]["blue"]["value"] == pytest.approx(50 / 95)


def test_a_number_that_is_no_number_is_null(make_graded):
    line = Line(np.array([[1.0, 1.0], [2.0, 2.0]]), 1.4, float("nan"), "crack", 0.5)
    cracks = photo_record(make_graded(lines=(line,)))["pieces"][0]["cracks"]
    assert cracks["lines"][0]["width_px"] is None


def test_points_stay_inside_the_photo(make_graded):
    outside = Line(np.array([[-100.0, 0.0], [500.0, 500.0]]), 9.0, 1.0, "crack", 0.5)
    graded = make_graded(lines=(outside,))
    points = photo_record(graded)["pieces"][0]["cracks"]["lines"][0]["points"]
    assert points == [[0, 40], [graded.photo.width - 1, graded.photo.height - 1]]
