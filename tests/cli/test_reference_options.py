"""Scale, height and neutral places as they are given on the command line, and ``grader doctor``."""

import json

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger

run = CliRunner().invoke
pytestmark = pytest.mark.usefixtures("measured_once")


@pytest.fixture
def photo(tmp_path):
    """A plain picture; graded whole it is one face."""
    # Of one colour but for noise: no scene is to be looked for.
    picture = np.random.default_rng(1).integers(118, 126, (120, 160, 3)).astype(np.uint8)
    path = tmp_path / "a.png"
    cv2.imwrite(str(path), picture)
    return path


def checked(photo, *options):
    ended = run(app, ["check", str(photo), "--whole", "--json", *options])
    assert ended.exit_code == 0, ended.output
    return json.loads(ended.stdout)


@pytest.mark.slow
def test_a_length_measured_in_the_photo_is_a_scale(photo):
    scale = checked(photo, "--scale-px", "412:100mm")["photo"]["scale"]
    assert scale["mm_per_px"] == pytest.approx(100 / 412)
    assert scale["source"] == "hand"
    assert scale["low"] == scale["high"] == scale["mm_per_px"]


@pytest.mark.slow
def test_decimals_may_stand_behind_a_comma(photo):
    assert checked(photo, "--mm-per-px", "0,085")["photo"]["scale"]["mm_per_px"] == 0.085
    scale = checked(photo, "--scale-px", "412,5:100,5mm")["photo"]["scale"]["mm_per_px"]
    assert scale == pytest.approx(100.5 / 412.5)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--scale-px", "412"], "412:100mm"),
        (["--scale-px", "0:100mm"], "412:100mm"),
        (["--scale-px", "412:100mm", "--mm-per-px", "0.1"], "not both"),
        (["--paper-at", "1,2,3"], "x,y,w,h"),
        (["--paper-at", "1,2,3,4", "--tray-at", "1,2,3,4"], "not both"),
        (["--height-mm", "-3"], "--height-mm: -3: give a number from 0 to 500"),
        (["--height-mm", "high"], "'high' is no number; write it as 12.5"),
        (["--mm-per-px", "1,085"], "may be a thousand or a decimal; write 1085 or 1.085"),
        (["--paper-at", "12,5"], "four whole numbers of px with commas between"),
        (["--state", "moist"], "--state: 'moist' is not one of"),
        (["--wide"], "no such option"),
    ],
)
@pytest.mark.parametrize("command", ["check", "cutplan", "doctor"])
def test_what_makes_no_sense_is_told(photo, command, options, words):
    ended = run(app, [command, str(photo), *options])
    assert ended.exit_code == 2
    assert words in ended.stderr
    # One line: which command and option, what is wrong, what to do.
    assert ended.stderr.count("\n") == 1 and f" {command}: " in ended.stderr


@pytest.mark.slow
def test_a_neutral_place_sets_where_colours_are_known_from(photo):
    assert checked(photo)["photo"]["colour"]["source"] == "estimated"
    assert checked(photo, "--camera-white")["photo"]["colour"]["source"] == "uncalibrated"
    record = checked(photo, "--tray-at", "10,10,100,50")
    assert record["photo"]["colour"]["source"] == "tray"
    with open_ledger(default_path()) as ledger:
        _, camera, tray = [e.fact for e in ledger.entries() if e.fact.kind == "measured"]
    assert camera.terms == {"camera_white": True, "whole": True}
    assert tray.terms["neutral"] == {"box": [10, 10, 100, 50], "kind": "tray"}


@pytest.mark.parametrize("command", ["check", "cutplan", "doctor"])
def test_a_place_outside_the_photo_is_one_line(photo, command):
    ended = run(app, [command, str(photo), "--paper-at", "150,10,100,50"])
    assert ended.exit_code == 1
    assert "not within 160 x 120 px" in ended.stderr
    assert "Traceback" not in ended.output


@pytest.mark.slow
def test_doctor_tells_and_draws_what_was_found(photo, tmp_path):
    out = tmp_path / "found.png"
    ended = run(app, ["doctor", str(photo), "--whole", "--picture", str(out), "--mm-per-px", "0.2"])
    assert ended.exit_code == 0, ended.output
    for words in (
        "none seen",
        "0.2 mm per px by hand",
        "light estimated from the photo",
        "may be off: lightness by 33",
        "Stone 1",
        "focus",
        "exposure",
        "from 0.3 mm",
    ):
        assert words in ended.stdout
    drawn, before = cv2.imread(str(out)), cv2.imread(str(photo))
    assert drawn.shape == before.shape
    assert (drawn != before).any()


def test_doctor_never_draws_over_the_photo(photo):
    ended = run(app, ["doctor", str(photo), "--picture", str(photo)])
    assert ended.exit_code == 2
    assert "is the photo itself" in ended.output
