"""``grader cutplan`` on hand-made photos: what is told, drawn and written, and what is refused."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from grader.cutting import cut_piece
from grader.profile import load_profile
from grader.report.cautions import SAW_CAUTIONS
from grader.report.cutsheet import cut_record, cut_svg, cut_text, draw_cuts

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def cut(make_graded):
    def make(oval_mm=(18.0, 13.0), *, mm_per_px=0.25, pieces=1, **made):
        measured = make_graded(pieces, mm_per_px=mm_per_px, **made).measured
        profile = load_profile()
        cuts = tuple(cut_piece(piece, oval_mm, 1.0, profile) for piece in measured.pieces)
        return measured, cuts

    return make


def test_the_text_tells_both_plans_and_what_to_take_care_of(cut):
    text = cut_text(*cut())
    for words in (
        "most pieces",
        "best scenes first",
        "of the face",
        "18x13 mm",
        "1 mm kept",
        "No line seen",
    ):
        assert words in text
    for caution in SAW_CAUTIONS:
        assert caution.text in text and caution.source in text


def test_pattern_lines_through_templates_are_told_once_with_their_numbers(cut, crack):
    # A healed line across the middle: not avoided, so some template lies on it.
    healed = replace(crack, kind="pattern line")
    (line,) = [s for s in cut_text(*cut(lines=(healed,))).splitlines() if s.startswith("  lines ")]
    assert line.count("healed lines or seams") == 1
    assert "run through templates 1, 2 (most pieces) and templates 1, 2 (best scenes first)" in line


def test_the_record_is_strict_json_in_px_of_the_photo(cut, crack):
    measured, cuts = cut(lines=(crack,))
    record = json.loads(json.dumps(cut_record(measured, cuts), allow_nan=False))
    (piece,) = record["pieces"]
    x, y, w, h = measured.pieces[0].piece.box
    for plan in piece["plans"].values():
        assert plan["count"] == len(plan["templates"])
        for placed in plan["templates"]:
            # 18x13 mm at 0.25 mm per px with 1 mm kept from the rim: at least 30 px from it.
            assert x + 30 - 1 <= placed["x"] <= x + w - 30 + 1
            assert y + 30 - 1 <= placed["y"] <= y + h - 30 + 1
            assert "crack" not in placed["lines"]
    assert piece["template"]["long_px"] == pytest.approx(72, abs=0.1)


def test_without_a_scale_templates_are_relative_and_it_is_said(cut):
    measured, cuts = cut(mm_per_px=None)
    (piece,) = cut_record(measured, cuts)["pieces"]
    assert piece["template"]["long_mm"] is None
    assert piece["template"]["long_px"] == pytest.approx(200 / 3, abs=0.1)
    assert piece["warnings"][0]["code"] == "no_scale"
    assert "not known: templates are drawn" in cut_text(measured, cuts)


def test_the_drawing_is_in_true_size_and_in_layers(cut, crack):
    _, cuts = cut(lines=(crack,))
    svg = ET.fromstring(cut_svg(cuts[0], "most", "a.jpg").encode())
    layers = {group.get("id"): group for group in svg.findall(f"{SVG}g")}
    assert list(layers) == ["outline", "glare", "lines", "templates", "bar", "words"]
    width = float(svg.get("width").removesuffix("mm"))
    assert width == float(svg.get("viewBox").split()[2])
    for ellipse in layers["templates"].findall(f"{SVG}ellipse"):
        assert (float(ellipse.get("rx")), float(ellipse.get("ry"))) == (9.0, 6.5)
    rim = layers["outline"].find(f"{SVG}path").get("d").replace("M", "").replace("Z", "").split("L")
    rim = np.array([point.split(",") for point in rim], float)
    np.testing.assert_allclose(np.ptp(rim, axis=0), [200 * 0.25, 100 * 0.25], atol=0.02)
    bar = layers["bar"].find(f"{SVG}path").get("d")
    assert float(bar.split("H")[1]) - float(bar.split("M")[1].split(",")[0]) == pytest.approx(50)
    count = len(cuts[0].plans.most_pieces.templates)
    numbers = [
        t.text for t in layers["templates"].findall(f"{SVG}text") if t.get("font-size") == "4.5"
    ]
    assert numbers == [str(n) for n in range(1, count + 1)] and count
    assert "Silica dust" in " ".join(t.text for t in layers["words"])


@pytest.mark.slow
def test_the_picture_holds_the_photo_and_a_foot(cut):
    measured, cuts = cut(pieces=2)
    rgb = draw_cuts(measured, cuts, "scenes")
    assert rgb.shape[1] == measured.photo.width and rgb.shape[0] > measured.photo.height
    assert (rgb[: measured.photo.height] != measured.photo.rgb).any()


@pytest.fixture
def stones(cli):
    """The command before a hand-made photo."""

    def run(*args, pieces=1, mm_per_px=0.25):
        scale = () if mm_per_px is None else ("--mm-per-px", mm_per_px)
        photo = cli.photo("a.jpg", f"{pieces}")
        return cli.run("cutplan", photo, "--template", "18x13", *scale, *args)

    return run


def test_files_are_written_and_json_stands_alone(cli, stones):
    ran = stones("--json", "--svg", "a.svg", "--picture", "a.png", "--plan", "scenes")
    assert ran.exit_code == 0, ran.stderr
    assert json.loads(ran.stdout)["pieces"][0]["id"] == 1
    assert ET.parse(cli.folder / "a.svg") and (cli.folder / "a.png").stat().st_size > 1000


@pytest.mark.slow
def test_your_word_on_a_line_counts_for_the_saw_too(cli):
    photo = cli.photo("a.jpg", "1 line")
    plan = ("cutplan", photo, "--mm-per-px", 0.25, "--template", "18x13")
    # A crack across the middle is cut around; as a pattern line it is not.
    avoided = cli.run(*plan).stdout
    cli.run("call", photo, "--line", 1, "--is", "pattern")
    through = cli.run(*plan).stdout
    assert [call.line.says for call in cli.asked[0].calls] == ["pattern"]
    assert "seams run through" not in avoided and "seams run through" in through
    assert cli.run(*plan, "--no-ledger").stdout == avoided


@pytest.mark.parametrize(
    ("args", "given", "words", "code"),
    [
        (("--svg", "a.svg"), {"mm_per_px": None}, "no scale, so no drawing in true size", 1),
        (("--svg", "a.svg"), {"pieces": 2}, "here are 2; name it with --piece", 1),
        (("--piece", "9"), {}, "no piece 9, it holds one stone", 1),
        (("--svg", "a.pdf"), {}, "end the name in .svg", 2),
        (("--template", "2x1"), {}, "give long x short in mm", 2),
        (("--template", "wide"), {}, "give long x short in mm", 2),
        (("--template", "30,22"), {}, "a round or an oval? write 30.22 or 30x22", 2),
        (("--margin-mm", "21"), {}, "--margin-mm: 21: give a number from 0 to 20", 2),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line(cli, stones, args, given, words, code):
    ran = stones(*args, **given)
    assert ran.exit_code == code
    assert words in ran.stderr.splitlines()[-1]
    assert not (cli.folder / "a.svg").exists()


def test_decimals_may_stand_behind_a_comma(stones):
    ran = stones("--json", "--template", "18,5x13,5", "--margin-mm", "1,25")
    template = json.loads(ran.stdout)["pieces"][0]["template"]
    assert [template[k] for k in ("long_mm", "short_mm", "margin_mm")] == [18.5, 13.5, 1.25]


@pytest.mark.slow
def test_a_drawing_of_the_sellers_is_never_replaced_and_our_own_is(cli, stones):
    assert stones("--svg", "plan.svg").exit_code == 0
    assert stones("--svg", "plan.svg").exit_code == 0
    (cli.folder / "plan.svg").write_text("<svg>drawn on by the seller</svg>")
    for option, name in (("--svg", "plan.svg"), ("--picture", "b.png")):
        (cli.folder / name).write_text("<svg>drawn on by the seller</svg>")
        ran = stones(option, name)
        assert ran.exit_code == 2 and f"{option}: {name} is there already" in ran.stderr
        assert (cli.folder / name).read_text() == "<svg>drawn on by the seller</svg>"


def test_a_drawing_of_a_photo_with_an_odd_name_is_well_formed(cut):
    _, cuts = cut()
    drawn = ET.fromstring(cut_svg(cuts[0], "most", "a\x1b[31m\x00\x07<&>.jpg"))
    assert "<&>.jpg" in drawn.find(f"{SVG}title").text
