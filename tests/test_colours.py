"""``grader colours``: spots in, a profile of the seller's own stone out."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from grader import load_profile, looking
from grader.cli.main import app
from grader.colours import fit_profile, marked_photos
from grader.errors import SpotsError
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.photo.terms import PhotoTerms
from grader.profile import profile_text
from grader.report.fitted import fitted_lines, written_words
from grader.spots import at_cell, cell_name, cell_of, read_spots_csv, spots_of

pytestmark = [pytest.mark.usefixtures("measured_once"), pytest.mark.slow]


def banded_face(path, colour, seed=0, wide_px=45):
    """Write a face of bands of that L*, a*, b* and of white, beside brown host: a photo, filled."""
    y, x = np.mgrid[:300, :400]
    noise = np.random.default_rng(seed).normal(0, 2, (300, 400, 3))
    bands = np.where((y // wide_px % 2 == 0)[..., None], colour, (86.0, 0, 3))
    lab = np.where((x > 300)[..., None], (38.0, 12, 22), bands) + noise
    bgr = cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_Lab2BGR)
    cv2.imwrite(str(path), np.clip(bgr * 255 + 0.5, 0, 255).astype(np.uint8))
    return path


#: A green that the shipped profile does not know.
GREEN = (52.0, -32, 14)


@pytest.fixture(scope="module")
def green_stone(tmp_path_factory):
    """A green and white face, which the shipped profile does not know."""
    return banded_face(tmp_path_factory.mktemp("claim") / "green.png", GREEN)


@pytest.fixture(scope="module")
def green_stones(tmp_path_factory):
    """Four such stones, each a little lighter than the one before, their folder."""
    folder = tmp_path_factory.mktemp("haul")
    for n in range(4):
        banded_face(folder / f"{n}.png", (46.0 + 4 * n, -32, 14), n)
    return folder


@pytest.fixture(scope="module")
def green_photos(green_stones, measured_once):
    """The same, measured."""
    return marked_photos(three_each(), [green_stones], PhotoTerms(whole=True), load_profile(), None)


def fitted_on(spots, photos):
    """The profile fitted to spots on photos that are measured."""
    named = dict.fromkeys(spot.photo for spot in spots)
    return fit_profile(spots, {n: photos[n] for n in named}, "banded", name="mine")


def three_each(stones=4):
    """A point of blue, white and host on each stone: twelve on four."""
    at = {"blue": "150,20", "white": "100,67", "host": "350,150"}
    return spots_of([f"{n}.png,{xy},,,{name}" for n in range(stones) for name, xy in at.items()])


def fitted_by(spots, folder, name="mine"):
    """The profile fitted to spots on photos that one face fills, without a ledger."""
    photos = marked_photos(spots, [folder], PhotoTerms(whole=True), load_profile(), None)
    return fit_profile(spots, photos, "banded", name=name)


SPOTS = """photo;x;y;w;h;class
green.png;40;10;60;25;blue
green.png;200;110;;;blue
green.png;40;55;60;25;white
green.png;330;100;40;80;host
"""


def test_a_green_stone_is_read_as_its_seller_marked_it(green_stone, tmp_path):
    table, out = green_stone.parent / "spots.csv", tmp_path / "green.toml"
    table.write_text(SPOTS, "utf-8-sig")
    ran = CliRunner().invoke(app, ["colours", str(table), "--out", str(out), "--whole"])
    assert ran.exit_code == 0, ran.output
    assert "spots marked: blue 2, white 1, host 1" in ran.stdout
    fitted = load_profile(out)
    assert fitted.name == "green"
    assert fitted.ladder == load_profile().ladder
    low, high = fitted.colours[0].hue_deg
    assert low < 160 < high
    # Comments of the profile it started from are still there.
    assert out.read_text("utf-8").count("#") == profile_text("banded")[1].count("#")
    found = fitted_by(read_spots_csv(table), green_stone.parent, "green")
    (face,) = found.shares
    # Of 7 stripes 4 are green, the last of them 30 rows high, on three quarters of the width.
    assert abs(face.after["blue"] - 0.41) < abs(face.before["blue"] - 0.41)
    assert face.after["blue"] == pytest.approx(0.41, abs=0.12)
    assert not found.wrong
    assert not found.off_stone
    # There is no other stone to judge by.
    assert found.judgement.verdict == "too few"
    assert not found.judgement.stones
    assert "too few to tell whether that gains" in ran.stdout


def test_spots_on_the_command_line(green_stone, tmp_path):
    out = tmp_path / "mine.toml"
    # As a phone writes it: with a capital.
    spots = [f"{green_stone},40,10,60,25,Blue", f"{green_stone},60,70,,,white"]
    args = [part for spot in spots for part in ("--spot", spot)]
    ran = CliRunner().invoke(app, ["colours", *args, "--out", str(out), "--whole"])
    assert ran.exit_code == 0, ran.output
    fitted, base = load_profile(out), load_profile()
    assert fitted.version == base.version + 1
    assert fitted.colours[0].hue_deg[0] < 160 < base.colours[0].hue_deg[0]


@pytest.mark.parametrize("name", ["mine.toml", "grader.toml"])
def test_no_file_that_is_there_is_written_over(green_stone, tmp_path, name):
    mine = tmp_path / name
    mine.write_text(profile_text("banded")[1], "utf-8")
    spots = [f"{green_stone},40,10,60,25,blue", f"{green_stone},60,70,,,white"]
    args = [part for spot in spots for part in ("--spot", spot)]
    ran = CliRunner().invoke(app, ["colours", *args, "--out", str(mine), "--whole"])
    assert ran.exit_code == 2
    assert mine.read_text("utf-8") == profile_text("banded")[1]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("green.png,40,10,,,blu", "did you mean 'blue'"),
        ("green.png,4000,10,,,blue", "off the photo of 400 x 300 px"),
        ("green.png,4,x,,,blue", "give photo,x,y,w,h,class"),
        ("green.png,4,4,10,,blue", "w and h empty for a point"),
        ("green.png,4,4,inf,nan,blue", "w and h empty for a point"),
        ("green.png,4,4,blue", "give photo,x,y,w,h,class"),
        ("green.png,390,4,60,20,blue", "off the photo of 400 x 300 px"),
        ("gone.png,4,4,,,blue", "gone.png"),
    ],
)
def test_a_spot_that_cannot_be_used_is_told_by_row(green_stone, row, words):
    with pytest.raises(SpotsError, match=words):
        fitted_by(spots_of([row, "green.png,60,70,,,white"]), green_stone.parent)


def test_spots_of_one_class_say_nothing(green_stone):
    with pytest.raises(SpotsError, match="two classes"):
        fitted_by(spots_of([f"{green_stone},60,70,,,white"]), green_stone.parent)


def test_a_table_without_its_columns_is_refused(tmp_path):
    table = tmp_path / "spots.csv"
    table.write_text("photo,x,y\na.jpg,1,2\n", "utf-8")
    with pytest.raises(SpotsError, match="no column 'w'"):
        read_spots_csv(table)


@pytest.mark.parametrize("text", ["", "sep=;\n", "photo,x,y,w,h,class\n"])
def test_a_table_that_holds_nothing_is_refused(tmp_path, text):
    table = tmp_path / "spots.csv"
    table.write_text(text, "utf-8")
    with pytest.raises(SpotsError):
        read_spots_csv(table)


def test_decimals_of_a_spot_may_stand_behind_a_comma(tmp_path):
    table = tmp_path / "spots.csv"
    table.write_text("photo;x;y;w;h;class\na.jpg;1,5;2.5;10,25;3;blue\n", "utf-8")
    (spot,) = read_spots_csv(table)
    assert (spot.x, spot.y, spot.w, spot.h) == (1.5, 2.5, 10.25, 3)
    table.write_text("photo;x;y;w;h;class\na.jpg;1,500;2;;;blue\n", "utf-8")
    with pytest.raises(SpotsError, match="line 2: give photo"):
        read_spots_csv(table)


def test_a_cell_too_many_is_told_and_lines_are_counted_as_in_an_editor(tmp_path):
    table = tmp_path / "spots.csv"
    table.write_text("photo,x,y,w,h,class\na.jpg,1,2,,,blue,more\n", "utf-8")
    with pytest.raises(SpotsError, match="line 2: more cells than the first line names"):
        read_spots_csv(table)
    table.write_text("photo,x,y,w,h,class\na.jpg,1,2,,,blue,\n\nb.jpg,1,,,,blue\n", "utf-8")
    with pytest.raises(SpotsError, match="line 4: give photo"):
        read_spots_csv(table)


def test_twelve_spots_on_four_stones_show_the_gain_on_stones_held_out(green_photos):
    fitted = fitted_on(three_each(), green_photos)
    found = fitted.judgement
    assert [(one.piece, one.spots) for one in found.stones] == [(1, 3)] * 4
    assert found.spots == 12
    # Green is a third of the marks: as it came, the tool named none of it so.
    assert found.before < 0.75
    assert found.after > 0.95
    assert (found.better >= 4, found.worse, found.verdict) == (True, 0, "gain")
    assert fitted_lines(fitted)[-1].startswith("a gain, by 12 spots on 4 stones held out in turn: ")
    assert "use it: grader check" in written_words("mine.toml", fitted)


@pytest.mark.parametrize("stones", [2, 3])
def test_fewer_spots_are_said_to_be_few(green_photos, stones):
    fitted = fitted_on(three_each(stones), green_photos)
    assert fitted.judgement.verdict == "too few"
    # What can be said is said all the same.
    assert fitted.judgement.after > fitted.judgement.before
    (last,) = fitted_lines(fitted)[-1:]
    assert last.startswith(f"too few to tell, {3 * stones} spots on {stones} stones")
    assert "mark 12 spots on 3 stones or more" in last
    assert "look at it first" in written_words("mine.toml", fitted)


def test_a_stone_is_judged_without_its_own_spots(green_photos):
    """One stone marked contrary to the others: they cannot name it so, though the profile learned from all."""
    spots = three_each()
    contrary = {"blue": "white", "white": "blue", "host": "host"}
    spots = [replace(s, name=contrary[s.name]) if s.photo == "3.png" else s for s in spots]
    judgement = fitted_on(spots, green_photos).judgement
    *sound, odd = judgement.stones
    assert odd.after < 0.5
    assert all(stone.after > odd.after for stone in sound)


def test_spots_that_gain_nothing_are_named_and_the_profile_is_not_recommended(tmp_path):
    """Stones that the shipped profile knows: all is named as marked before."""
    for n in range(4):
        banded_face(tmp_path / f"{n}.png", (42.0, 4, -30 - n), n)
    table, out = tmp_path / "known.csv", tmp_path / "known.toml"
    rows = [f"{s.photo},{s.x:g},{s.y:g},,,{s.name}" for s in three_each()]
    table.write_text("photo,x,y,w,h,class\n" + "\n".join(rows), "utf-8")
    ran = CliRunner().invoke(app, ["colours", str(table), "--out", str(out), "--whole"])
    assert ran.exit_code == 0, ran.output
    assert "no gain, by 12 spots on 4 stones held out in turn" in ran.stdout
    assert "keep the profile you had" in ran.stdout
    assert "use it" not in ran.output


def test_one_place_marked_as_two_classes_is_told(green_stone, tmp_path):
    rows = [f"{green_stone},40,55,60,25,{name}" for name in ("white", "host")]
    fitted = fitted_by(spots_of(rows), green_stone.parent)
    assert len(fitted.wrong) == 1
    assert any("still named otherwise" in line for line in fitted_lines(fitted))


def test_a_spot_of_glare_is_of_no_class_and_is_judged_all_the_same(green_photos):
    spots = three_each()
    glare = spots_of(["0.png,250,110,,,Glare"])
    spots = [spot for spot in spots if spot.photo in ("0.png", "1.png")]
    without = fitted_on(spots, green_photos)
    with_glare = fitted_on([*spots, *glare], green_photos)
    assert with_glare.profile == without.profile
    assert with_glare.spots == {"blue": 2, "white": 2, "host": 2, "glare": 1}
    first, other = (one.judgement.stones[0] for one in (without, with_glare))
    assert (first.spots, other.spots) == (3, 4)
    # There is no glare on it: that spot is named otherwise, and says so.
    assert other.after == pytest.approx(first.after * 3 / 4)
    assert [spot.name for spot in with_glare.wrong] == ["glare"]


# --- the grid -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "cell"),
    [("A1", (0, 0)), ("c4", (2, 3)), ("Z32", (25, 31)), ("AA1", (26, 0)), ("AF10", (31, 9))],
)
def test_a_cell_is_lettered_as_columns_of_a_spreadsheet_are(text, cell):
    assert cell_of(text) == cell
    assert cell_name(*cell) == text.upper()


@pytest.mark.parametrize("text", ["", "A0", "4C", "4", "AAA1", "C4=", "C-4"])
def test_what_is_no_cell_is_none(text):
    assert cell_of(text) is None


def test_the_grid_shows_where_a_cell_lies(tmp_path):
    """A red dot in the middle of C4 of an otherwise grey photo is under the point of C4 in the picture."""
    photo = np.full((480, 640, 3), 90, np.uint8)
    # 640 px / 32 cells: 20 px each, so that C4 spans x 40 to 60, y 60 to 80.
    photo[60:80, 40:60] = (0, 0, 200)
    path, grid = tmp_path / "grey.png", tmp_path / "grid.png"
    cv2.imwrite(str(path), photo)
    ran = CliRunner().invoke(app, ["colours", str(path), "--grid", str(grid)])
    assert ran.exit_code == 0, ran.output
    picture = cv2.imread(str(grid))
    assert picture.shape == (1440, 1920, 3)
    red = (picture[..., 2] > 150) & (picture[..., 1] < 60)
    rows, columns = np.nonzero(red)
    assert (rows.mean() / 3, columns.mean() / 3) == pytest.approx((70, 50), abs=2)
    # The point of the cell: pale within the red.
    assert picture[210, 150].min() > 200
    (spot,) = spots_of([f"{path},C4=blue"])
    assert (at_cell(spot, 640, 480).x, at_cell(spot, 640, 480).y) == (50, 70)


def test_spots_by_cells_are_those_by_px(green_stones, green_photos):
    # 400 px / 32: 12.5 px a cell; the middles of M2, H6 and AC13.
    by_cell = spots_of([f"{n}.png,M2=blue,H6=white,AC13=host" for n in range(2)])
    by_px = spots_of(
        [
            f"{n}.png,{xy},,,{name}"
            for n in range(2)
            for name, xy in (("blue", "156.25,18.75"), ("white", "93.75,68.75"), ("host", "356.25,156.25"))
        ]
    )  # fmt: skip
    fitted = [fitted_on(spots, green_photos) for spots in (by_cell, by_px)]
    assert fitted[0].profile == fitted[1].profile
    assert fitted[0].judgement == fitted[1].judgement
    table = green_stones / "cells.csv"
    table.write_text("photo,x,y,w,h,class\n0.png,M2,,,,blue\n0.png,H6,,,,white\n", "utf-8")
    assert [spot.cell for spot in read_spots_csv(table)] == [(12, 1), (7, 5)]


def test_a_cell_off_the_photo_is_told_by_its_name(green_photos):
    with pytest.raises(SpotsError, match="B30: off the photo of 400 x 300 px"):
        fitted_on(spots_of(["0.png,B30=blue,M2=white"]), green_photos)


@pytest.mark.parametrize(
    "args",
    [
        ("--grid", "grid.png"),
        ("green.png", "--grid", "grid.png", "--out", "mine.toml"),
        ("green.png", "--grid", "grid.txt"),
        ("green.png", "--grid", "green.png"),
        ("spots.csv",),
    ],
)
def test_a_grid_goes_with_a_photo_alone_and_spots_with_a_place_for_the_profile(
    green_stone, args, monkeypatch
):
    monkeypatch.chdir(green_stone.parent)
    before = green_stone.read_bytes()
    assert CliRunner().invoke(app, ["colours", *args]).exit_code == 2
    assert green_stone.read_bytes() == before


def test_photos_that_are_not_there_are_each_told_before_the_want_of_a_second_class(tmp_path):
    spots = spots_of(["gone.png,4,4,,,blue", "lost.png,4,4,,,blue"])
    with pytest.raises(SpotsError, match=r"gone\.png.*\n.*lost\.png"):
        fitted_by(spots, tmp_path)


def test_a_photo_is_measured_as_it_was_shown_last(green_stone, tmp_path, monkeypatch):
    spots = spots_of([f"{green_stone},40,10,60,25,blue", f"{green_stone},60,70,,,white"])
    ran = CliRunner().invoke(app, ["check", str(green_stone), "--whole", "--mm-per-px", "0.2"])
    assert ran.exit_code == 0, ran.output
    asked = []
    measure = looking.measure_file

    def measure_file(photo, terms, profile, calls=()):
        asked.append((photo, terms))
        return measure(photo, terms, profile, calls)

    monkeypatch.setattr(looking, "measure_file", measure_file)
    with open_ledger(default_path()) as ledger:
        terms = PhotoTerms(mm_per_px=0.3)
        photos = marked_photos(spots, [tmp_path], terms, load_profile(), ledger)
    # What the seller says now only counts where nothing was shown before.
    assert asked == [(green_stone, PhotoTerms(mm_per_px=0.2, whole=True))]
    assert len(photos[str(green_stone)].pieces) == 1
