"""The best view: what lies in the template is counted, told and left bright."""

import re
from dataclasses import replace

import numpy as np
import pytest

from grader.face.measurements import Placement, Scene
from grader.profile import load_profile
from grader.report.best import best_words, draw_best
from grader.report.counted import counted_codes
from grader.report.overlay import HATCHED_PX, PICTURE_PX, view_of
from grader.report.result import photo_record
from grader.report.words import WORTH_DRAWING

PROFILE = load_profile()


@pytest.fixture
def placed(make_graded):
    """Return a function that makes a photo with a rectangle of 40 by 20 working px laid on its one stone."""

    def placed(centre_px=(50.0, 25.0), score=80.0, lines=()):
        graded = make_graded(lines=lines)
        place = Placement(
            template="40x20", shape="rectangle", kind="landscape", centre_px=centre_px, turn_deg=0.0,
            size_px=(40.0, 20.0), size_mm=None, score=score, low=score, high=score, parts={}, shore_share=0.1,
            shore_mm=None, shore_evenness=1.0,
        )  # fmt: skip
        (stone,) = graded.pieces
        found = replace(stone.measured.measurements, scene=Scene({}, place, None))
        measured = replace(stone.measured, measurements=found)
        return replace(
            graded,
            measured=replace(graded.measured, pieces=(measured,)),
            pieces=(replace(stone, measured=measured),),
        )

    return placed


def view(graded):
    photo = graded.photo
    return view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX, HATCHED_PX)


def words_of(graded):
    (piece,) = photo_record(graded)["pieces"]
    shown = view(graded)
    return best_words(piece, counted_codes(shown, graded.measured.pieces), shown, PROFILE)


def shares(words):
    return {name: float(value) for name, value in re.findall(r"(\w+) (\d+) %", words)}


def test_what_lies_in_the_template_is_counted(placed):
    # Columns 30 to 70 of the stone: blue up to 50, white from there.
    first, held, lines = words_of(placed())
    assert first.startswith("landscape: 40x20, scene ")
    assert shares(held) == pytest.approx({"blue": 50, "white": 50}, abs=1)
    assert lines == "no line seen in it"
    # Columns 60 to 100: 15 of 40 white, 20 host, 5 unreadable.
    held = words_of(placed((80.0, 25.0)))[1]
    assert shares(held) == pytest.approx({"host": 50, "white": 37.5, "unreadable": 12.5}, abs=1)
    assert held.startswith("in it: host")


def test_only_lines_that_run_through_it_are_told(placed, crack):
    crack = replace(crack, points=np.array([[20.0, 25.5], [55.0, 25.5]]))
    # The second template begins at column 60.
    assert words_of(placed(lines=(crack,)))[2] == "1 crack seen in it"
    assert words_of(placed((80.0, 25.0), lines=(crack,)))[2] == "no line seen in it"
    sound = replace(crack, kind="contact", probability=0.0, contact_chance=0.02)
    assert (
        words_of(placed(lines=(sound, replace(crack, kind="uncertain"))))[2]
        == "1 uncertain line seen in it"
    )


def test_all_but_the_template_is_dimmed(placed):
    graded = placed()
    shown = view(graded)
    picture = draw_best(graded.measured, photo_record(graded), PROFILE)
    left, top, w, h = shown.rect((40 + 68, 40 + 38, 64, 24))
    inside = np.s_[round(top) : round(top + h), round(left) : round(left + w)]
    assert np.array_equal(picture[inside], shown.rgb[inside])
    corner = np.s_[:60, :60]
    assert picture[corner].mean() < 0.7 * shown.rgb[corner].mean()


def test_a_place_that_is_no_scene_is_not_laid(placed):
    assert words_of(placed(score=WORTH_DRAWING - 0.6)) == ["no scene"]
    assert words_of(placed(score=WORTH_DRAWING))[0] != "no scene"
