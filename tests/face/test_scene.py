"""Part scores on drawn landscapes, and the weighted sum."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.face.face import Face
from grader.face.measurements import Banding, Line, RegionColour, Regions
from grader.face.scene import CAP, measure_scene, scene_score
from grader.profile import SCENE_PARTS, load_profile

BANDED = load_profile("banded")
BLUE, WHITE, HOST = 1, 2, 3
HEIGHT, WIDTH = 300, 400
Y, X = np.mgrid[:HEIGHT, :WIDTH]
OVAL = ((X - WIDTH / 2) / 195) ** 2 + ((Y - HEIGHT / 2) / 145) ** 2 < 1
LANDSCAPE = np.where(Y < 110, WHITE, np.where(Y < 210, BLUE, HOST))
COLOURS = {"blue": (45, 30, 270), "white": (88, 2, 90), "host": (50, 17, 62)}
UNBROKEN = Banding(continuity=0.9)


def parts_of(codes, lines=(), banding=UNBROKEN, colours=COLOURS):
    codes = np.where(OVAL, codes, 0).astype(np.uint8)
    colour = {
        name: RegionColour(*lch, 0.0) if (codes == code).any() else None
        for code, (name, lch) in enumerate(colours.items(), start=1)
    }
    face = Face(np.zeros((*codes.shape, 3)), np.zeros((*codes.shape, 3)), OVAL, 1.0, (0.0, 0.0))
    return measure_scene(
        face, Regions(codes, {}, {}, colour, 0.0), tuple(lines), banding, BANDED
    ).parts


def score_of(codes, lines=(), banding=UNBROKEN):
    return scene_score(parts_of(codes, lines, banding), BANDED.scene_weights)


def crack(*points, kind="crack"):
    points = np.array(points, float)
    return Line(points, float(np.hypot(*np.diff(points, axis=0).T).sum()), 2.0, kind, 0.9)


def test_sky_above_water_above_shore_is_a_full_landscape():
    parts = parts_of(LANDSCAPE)
    assert set(parts) == set(SCENE_PARTS)
    for part in (
        "horizon",
        "height",
        "zones",
        "water",
        "contrast",
        "balance",
        "continuity",
        "focal",
    ):
        assert parts[part] == pytest.approx(1, abs=0.11), part
    assert score_of(LANDSCAPE) > 90


def test_upside_down_it_is_less_of_a_landscape():
    assert score_of(LANDSCAPE[::-1]) < score_of(LANDSCAPE) - 15
    assert parts_of(LANDSCAPE[::-1])["zones"] < parts_of(LANDSCAPE)["zones"]


def test_on_its_side_it_has_no_horizon():
    parts = parts_of(np.where(X < 140, WHITE, np.where(X < 270, BLUE, HOST)))
    assert parts["horizon"] < 0.2
    assert parts["height"] < 0.2


@pytest.mark.parametrize("code", [BLUE, WHITE, HOST])
def test_a_face_of_one_colour_scores_low(code):
    assert score_of(np.full((HEIGHT, WIDTH), code), banding=Banding()) < 35


def test_noise_scores_low():
    noise = np.random.default_rng(4).integers(1, 4, (HEIGHT, WIDTH))
    assert score_of(noise, banding=Banding()) < 50 < score_of(LANDSCAPE) - 30


def test_a_face_that_is_all_glare_is_unknown():
    assert set(parts_of(np.full((HEIGHT, WIDTH), 9)).values()) == {None}


def test_continuity_is_full_from_seventy_percent_and_unknown_without_bands():
    assert parts_of(LANDSCAPE, banding=Banding(continuity=0.35))["continuity"] == pytest.approx(0.5)
    assert parts_of(LANDSCAPE, banding=Banding(continuity=0.7))["continuity"] == pytest.approx(1)
    assert parts_of(LANDSCAPE, banding=Banding())["continuity"] is None


def test_islands_of_host_in_the_water_are_a_bonus_and_many_are_clutter():
    one, many = LANDSCAPE.copy(), LANDSCAPE.copy()
    one[150:168, 190:212] = HOST
    for x in range(60, 340, 32):
        for y in (118, 150, 182):
            many[y : y + 16, x : x + 16] = HOST
    none = parts_of(LANDSCAPE)["islands"]
    assert parts_of(one)["islands"] == 1 > none > parts_of(many)["islands"]


def test_pale_zones_have_little_contrast():
    pale = {"blue": (80, 6, 270), "white": (85, 2, 270), "host": (84, 4, 270)}
    assert parts_of(LANDSCAPE, colours=pale)["contrast"] < 0.4


def test_a_crack_through_the_middle_caps_the_score():
    assert score_of(LANDSCAPE, [crack((60, 140), (340, 160))]) == pytest.approx(CAP)


def test_a_crack_at_the_rim_and_a_pattern_line_do_not_count():
    assert score_of(LANDSCAPE, [crack((30, 130), (50, 170))]) == score_of(LANDSCAPE)
    assert score_of(LANDSCAPE, [crack((60, 140), (340, 160), kind="pattern line")]) == score_of(
        LANDSCAPE
    )


@settings(max_examples=10, deadline=None)
@given(
    ends=st.lists(st.tuples(st.floats(10, 390), st.floats(10, 290)), min_size=2, max_size=4),
    before=st.booleans(),
)
def test_an_added_crack_never_raises_the_score(ends, before):
    lines = [crack((150, 150), (170, 150))] if before else []
    assert score_of(LANDSCAPE, [*lines, crack(*ends)]) <= score_of(LANDSCAPE, lines)


def test_score_is_the_weighted_mean_of_what_is_known():
    # (3 * 0.5 + 1 * 1) / 4 = 62.5 %
    assert (
        scene_score(
            {"horizon": 0.5, "water": 1.0, "zones": None}, {"horizon": 3, "water": 1, "zones": 9}
        )
        == 62.5
    )
    assert scene_score({"horizon": None}, {"horizon": 1}) == 0


def test_score_is_capped_by_the_focal_part_only_where_it_has_a_weight():
    good = {"horizon": 1.0, "focal": 0.0}
    assert scene_score(good, {"horizon": 19, "focal": 1}) == CAP
    assert scene_score(good, {"horizon": 19, "focal": 0}) == 100
