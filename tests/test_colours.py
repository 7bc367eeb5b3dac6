"""``grader colours``: spots in, a profile of the seller's own stone out."""

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
from grader.spots import read_spots_csv, spots_of

pytestmark = pytest.mark.usefixtures("measured_once")


@pytest.fixture(scope="module")
def green_stone(tmp_path_factory):
    """A face of green and white bands beside brown host, which the shipped profile does not know: a photo, filled."""
    y, x = np.mgrid[:300, :400]
    noise = np.random.default_rng(0).normal(0, 2, (300, 400, 3))
    bands = np.where((y // 45 % 2 == 0)[..., None], (52.0, -32, 14), (86.0, 0, 3))
    lab = np.where((x > 300)[..., None], (38.0, 12, 22), bands) + noise
    bgr = cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_Lab2BGR)
    path = tmp_path_factory.mktemp("claim") / "green.png"
    cv2.imwrite(str(path), np.clip(bgr * 255 + 0.5, 0, 255).astype(np.uint8))
    return path


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
    assert len(found.wrong) <= len(found.wrong_before)
    assert found.better
    assert not found.off_stone


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
        ("green.png,4,4,10,,blue", "leave w and h empty"),
        ("green.png,4,4,inf,nan,blue", "leave w and h empty"),
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


def test_spots_that_gain_nothing_are_named_and_the_profile_is_not_recommended(
    green_stone, tmp_path
):
    table, out = green_stone.parent / "contrary.csv", tmp_path / "contrary.toml"
    # One place, marked as two classes: one of the two must stay wrong.
    table.write_text(
        "photo,x,y,w,h,class\ngreen.png,40,55,60,25,white\ngreen.png,40,55,60,25,host\n", "utf-8"
    )
    ran = CliRunner().invoke(app, ["colours", str(table), "--out", str(out), "--whole"])
    assert ran.exit_code == 0, ran.output
    assert "line 3: marked host, still named otherwise" in ran.stdout
    assert "no gain on these spots" in ran.stdout
    assert "use it" not in ran.output


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
