"""``results.csv`` as its readers rely on it."""

import csv
import io
from dataclasses import replace

import pytest

from grader.errors import CallsError, PhotoError
from grader.files import read_table
from grader.grading.calls.calls_csv import read_calls_csv
from grader.measures import MEASURES
from grader.profile import load_profile
from grader.report.columns import column_names, results_csv
from grader.report.result import failed_record, photo_record

COLOURS = load_profile().colours
CLASSES = ("blue", "white", "host")


def rows(records):
    return list(csv.DictReader(io.StringIO(results_csv(records, COLOURS))))


def test_the_columns_begin_in_the_agreed_order():
    begin = (
        "photo,sha256,piece,verdict,proposed_grade,proposed_scene,sell_as,"
        "blue_share,blue_low,blue_high,white_share,white_low,white_high,host_share,host_low,host_high,"
        "glare_share,continuity,crack_count,crack_length_mm,mm_per_px,warnings,error,grade,scene,box"
    )
    assert ",".join(column_names(CLASSES)).startswith(begin)


def test_every_declared_measure_is_a_column_once():
    names = column_names(CLASSES)
    assert set(MEASURES) <= set(names)
    assert len(names) == len(set(names))


def test_every_measure_is_filled_where_it_is_known(make_graded, crack):
    record = photo_record(make_graded(lines=(crack,), mm_per_px=0.2))
    record["pieces"][0]["scene"] |= {
        "without_lines": 50,
        "best": {"line_ratio": 0.1, "size_mm": [25.0, 18.0]},
    }
    (row,) = rows([record])
    assert [measure for measure in MEASURES if row[measure] == ""] == []


def test_one_row_per_piece_and_one_for_a_photo_that_failed(make_graded):
    failed = failed_record("c.jpg", PhotoError("c.jpg: empty file; copy it again", "empty"))
    table = rows([photo_record(make_graded(2)), photo_record(make_graded(0)), failed])
    assert [(row["photo"], row["piece"]) for row in table] == [
        ("a.jpg", "1"),
        ("a.jpg", "2"),
        ("c.jpg", ""),
    ]
    assert table[2]["error"] == "c.jpg: empty file; copy it again"


def test_a_tiny_share_is_written_out(make_graded):
    record = photo_record(make_graded())
    record["pieces"][0]["shares"]["host"] |= {"value": 1.3e-5, "low": 0.0}
    (row,) = rows([record])
    assert row["host_share"] == "0.000013"


def test_what_is_not_known_is_empty_and_never_zero(make_graded):
    (row,) = rows([photo_record(make_graded(verdict="retake"))])
    for name in (
        "sell_as",
        "proposed_grade",
        "mm_per_px",
        "crack_length_mm",
        "area_cm2",
        "size_class",
    ):
        assert row[name] == "", name


def test_a_table_as_it_comes_holds_no_call(make_graded, tmp_path):
    path = tmp_path / "results.csv"
    path.write_text(results_csv([photo_record(make_graded(2))], COLOURS), "utf-8")
    read = read_calls_csv(
        path, ("waste", "tumbling", "cabbing", "select"), "2026-01-02T03:04:05+00:00"
    )
    assert (read.calls, read.refused) == ((), ())


def test_a_filled_table_is_a_table_of_calls(make_graded, tmp_path):
    path = tmp_path / "results.csv"
    filled = rows([photo_record(make_graded(2))])
    filled[1]["grade"], filled[1]["scene"] = "select", "71"
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, filled[0])
        writer.writeheader()
        writer.writerows(filled)
    (call,) = read_calls_csv(path, ("cabbing", "select"), "2026-01-02T03:04:05+00:00").calls
    assert (call.piece, call.grade, call.scene, call.box) == (2, "select", 71, (40, 180, 200, 100))


def test_grade_set_rules_and_what_if_stand_last(make_graded):
    last = ["grade_set", "rules_grade", "what_if", "unfamiliar", "called_scene_by"]
    last += ["likely", "ask_first", "same_piece", "face_of_piece", "number"]
    assert column_names(CLASSES)[-10:] == last
    (row,) = rows([photo_record(make_graded())])
    assert row["grade_set"] == "cabbing; select"
    assert (row["rules_grade"], row["unfamiliar"]) == ("tumbling", "")


def test_classes_carry_the_profiles_names_and_measures_tell_what_they_read_as(make_graded):
    record = photo_record(make_graded())
    (own,) = rows([record])
    names = {"blue": "teal", "white": "cream", "host": "crust"}
    (piece,) = record["pieces"]
    for key in ("shares", "colour"):
        piece[key] = {names[name]: value for name, value in piece[key].items()}
    piece["shares"]["crust"]["kinds"] = {"red": 0.1, "ash": 0.15}
    colours = [replace(colour, name=names[colour.name]) for colour in COLOURS]
    (row,) = csv.DictReader(io.StringIO(results_csv([record], colours)))
    assert list(row)[7:10] == ["teal_share", "teal_low", "teal_high"]
    for name, other in names.items():
        assert row[f"{other}_share"] == row[f"{name}_share"] == own[f"{name}_share"] != ""
    for measure in ("blue_chroma", "white_lightness", "continuity"):
        assert row[measure] == own[measure] != ""
    assert (row["rusty_share"], row["grey_share"]) == ("0.100000", "0.150000")


def test_classes_that_read_alike_are_measured_together(make_graded):
    record = photo_record(make_graded())
    shares, colour = record["pieces"][0]["shares"], record["pieces"][0]["colour"]
    shares["deep"], colour["deep"] = shares.pop("blue"), colour.pop("blue")
    shares["pale"] = shares["deep"] | {"value": 0.1}
    colour["pale"] = colour["deep"] | {"C": 3.0}
    blue = COLOURS[0]
    colours = [replace(blue, name="deep"), replace(blue, name="pale"), *COLOURS[1:]]
    (row,) = csv.DictReader(io.StringIO(results_csv([record], colours)))
    assert float(row["blue_share"]) == pytest.approx(shares["deep"]["value"] + 0.1, abs=1e-6)
    assert float(row["blue_chroma"]) == colour["deep"]["C"]


def test_a_class_by_a_measures_name_that_reads_as_something_else_is_not_that_measure(make_graded):
    record = photo_record(make_graded())
    shares, colour = record["pieces"][0]["shares"], record["pieces"][0]["colour"]
    shares["cream"], colour["cream"] = shares["white"], colour["white"]
    shares["white"] = shares["white"] | {"value": 0.05, "low": 0.04}
    sky = next(c for c in COLOURS if c.name == "white")
    others = [c for c in COLOURS if c.name != "white"]
    glued = replace(sky, reads_as="none")
    for colours in ([replace(sky, name="cream"), glued, *others], [glued, *others]):
        (row,) = csv.DictReader(io.StringIO(results_csv([record], colours)))
        declared = f"{shares['cream']['value']:.6f}" if len(colours) == 4 else ""
        assert (row["white_share"], row["white_low"]) == (declared, "0.04")


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", '"', ","])
def test_a_name_or_a_note_with_the_end_of_a_line_in_it_stays_in_its_row(make_graded, tmp_path, end):
    records = [photo_record(make_graded(2)), photo_record(make_graded(1, name=f"b{end}c.jpg"))]
    records[0]["pieces"][0]["call"] = dict.fromkeys(("grade", "scene", "by", "time")) | {
        "note": f"nice{end}blue"
    }
    (tmp_path / "results.csv").write_text(results_csv(records, COLOURS), "utf-8", newline="")
    read = read_table(tmp_path / "results.csv", ("photo", "grade", "scene"), CallsError)
    assert len(read) == 3
    kept = end.replace("\r\n", "\n")
    assert read[0][1]["called_note"] == f"nice{kept}blue"
    assert read[2][1]["photo"] == f"b{kept}c.jpg"


def test_a_name_that_begins_like_a_formula_is_no_formula_and_is_read_as_it_was(
    make_graded, tmp_path
):
    table = results_csv([photo_record(make_graded(1, name="=cmd|x.jpg"))], COLOURS)
    assert "\n'=cmd|x.jpg," in table
    (tmp_path / "results.csv").write_text(table, "utf-8", newline="")
    ((_, row),) = read_table(tmp_path / "results.csv", ("photo", "grade", "scene"), CallsError)
    assert row["photo"] == "=cmd|x.jpg"
