"""What a photo's colours and lengths are referred to, on simulated photos whose light and geometry are the truth."""

from dataclasses import replace

import card_camera as sim
import numpy as np
import pytest

from grader.errors import PhotoError
from grader.photo import reference as references
from grader.photo.chart import reference_linear
from grader.photo.colour import delta_e_2000, lab_from_linear, srgb_curve, srgb_encoding
from grader.photo.light import linear_from_lab
from grader.photo.photo import Photo, Scale
from grader.photo.reference import find_reference, no_reference
from grader.photo.terms import Neutral
from grader.profile import Setup
from grader.render import TRAINING, render_photo

WARM = np.array([1.0, 0.8, 0.55])


CAMERA = sim.Pinhole(size_px=(1600, 1200), focal_px=1200, distance_mm=330, turn_deg=20)


def photo_of(rgb, **known) -> Photo:
    return Photo("a.jpg", rgb, srgb_encoding(), "", **known)


def coded(linear):
    return np.searchsorted((srgb_curve()[1:] + srgb_curve()[:-1]) / 2, linear.clip(0, 1)).astype(
        np.uint8
    )


@pytest.fixture(scope="module")
def with_card():
    scene = sim.Scene.of(sim.page())
    return sim.photograph(scene, CAMERA, sim.Light(), np.random.default_rng(5))


def chart_photo(light=(1.0, 1.0, 1.0)):
    """A chart of 24 patches of 60 px on grey, its colours those of the maker (as stored in colour-science)."""
    picture = np.full((700, 1000, 3), 0.18)
    patches = reference_linear("from November 2014")
    picture[190:540, 230:750] = 0.02
    for k, colour in enumerate(patches):
        y, x = 210 + k // 6 * 80, 250 + k % 6 * 80
        picture[y : y + 60, x : x + 60] = colour
    return coded(picture * light)


@pytest.mark.slow
def test_without_anything_known_the_light_is_estimated():
    rgb = np.random.default_rng(1).integers(0, 256, (200, 300, 3)).astype(np.uint8)
    found = find_reference(photo_of(rgb))
    assert found.colour_source == "estimated" and not found.white_known
    assert found.scale == Scale()
    assert found.remarks == ()


@pytest.mark.slow
def test_the_cameras_colours_stay_where_the_seller_wants_them():
    rgb = np.random.default_rng(1).integers(0, 256, (200, 300, 3)).astype(np.uint8)
    found = find_reference(photo_of(rgb), camera_white=True)
    assert found.colour_source == "uncalibrated" and not found.white_known
    linear = np.random.default_rng(2).random((4, 5, 3)).astype(np.float32)
    np.testing.assert_array_equal(found.corrected(linear, np.arange(5.0), np.arange(4.0)), linear)


def test_the_cards_paper_takes_the_lamps_colour_out(with_card):
    warm = coded(srgb_curve()[with_card] * WARM)
    found = find_reference(photo_of(warm))
    assert found.colour_source == "card"
    # Unprinted office paper is taken for neutral (common practice, no source): a grey beside it must come out neutral.
    grey = np.full((1, 1, 3), 0.2, np.float32) * WARM.astype(np.float32)
    lab = lab_from_linear(found.corrected(grey, np.array([800.0]), np.array([600.0])))[0, 0]
    assert np.hypot(lab[1], lab[2]) < 4
    assert np.hypot(*lab_from_linear(grey)[0, 0, 1:]) > 10


def test_the_paper_beside_a_stone_shows_how_the_light_falls():
    rng = np.random.default_rng(8)
    scene = sim.Scene.of(sim.with_stone(sim.page(), rng))
    light = sim.Light(fall_off=0.5, noise=1.0)
    rgb = sim.photograph(scene, CAMERA, light, np.random.default_rng(9))
    found = find_reference(photo_of(rgb))
    # The same paper at both ends of the card: half the light at one end of the picture, yet one lightness.
    lightness = []
    for x_mm, y_mm in ((40, 200), (158, 10), (40, 40), (160, 170), (100, 30)):
        x, y = (CAMERA.project(np.array([[x_mm, y_mm]], float))[0]).round().astype(int)
        part = srgb_curve()[rgb[y - 4 : y + 5, x - 4 : x + 5]].astype(np.float32)
        even = found.corrected(part, np.arange(x - 4.0, x + 5), np.arange(y - 4.0, y + 5))
        lightness.append(
            (lab_from_linear(part)[..., 0].mean(), lab_from_linear(even)[..., 0].mean())
        )
    before, after = np.ptp(lightness, axis=0)
    assert before > 8
    assert after < 2


def test_paper_that_was_measured_sets_the_white(with_card):
    usual = find_reference(photo_of(with_card))
    found = find_reference(photo_of(with_card), setup=Setup(paper_lab=(94.5, 0.5, -10.0)))
    assert found.colour_source == "card"
    # Bluer paper that looks the same: the light was yellower than was thought, so colours come out bluer.
    grey = np.full((1, 1, 3), 0.2, np.float32)
    at = np.array([800.0]), np.array([600.0])
    before, after = (lab_from_linear(r.corrected(grey, *at))[0, 0] for r in (usual, found))
    assert -6 < after[2] - before[2] < -2


@pytest.mark.slow
def test_covered_paper_does_not_set_the_white(with_card):
    dirty = with_card.copy()
    whole = find_reference(photo_of(with_card))
    x, y = np.intp(whole.card.white_px[0].mean(axis=0))
    dirty[y - 60 : y + 60, x - 60 : x + 60] = (60, 30, 10)
    found = find_reference(photo_of(dirty))
    np.testing.assert_allclose(found.white.gains, whole.white.gains, rtol=0.03)


@pytest.mark.slow
def test_the_card_gives_the_scale_and_the_height_makes_it_smaller(with_card):
    photo = photo_of(with_card, focal_35mm=None)
    level, high, unknown = (
        find_reference(photo, height_mm=h).scale_at(800, 600) for h in (0, 40, None)
    )
    assert level.source == high.source == unknown.source == "card"
    # Similar triangles: at 330 mm a face 40 mm up reads 330 / 290 too large; the focal length is a range.
    camera_mm = CAMERA.height_mm
    assert high.low <= level.mm_per_px * (1 - 40 / camera_mm) <= high.high
    assert unknown.low <= level.mm_per_px * (1 - 60 / camera_mm)
    assert unknown.high - unknown.low > level.high - level.low


@pytest.mark.slow
def test_the_sellers_own_scale_wins_and_a_contradiction_is_told(with_card):
    by_card = find_reference(photo_of(with_card), height_mm=0).scale.mm_per_px
    same = find_reference(photo_of(with_card, scale=Scale(by_card, "hand")), height_mm=0)
    assert same.scale.source == "hand" and same.remarks == ()
    wrong = find_reference(photo_of(with_card, scale=Scale(2 * by_card, "hand")), height_mm=0)
    assert wrong.scale_at(10, 10).mm_per_px == 2 * by_card
    assert [remark.code for remark in wrong.remarks] == ["scales_differ"]


def test_a_face_that_would_reach_the_camera_is_told_in_one_line(with_card):
    with pytest.raises(PhotoError, match=r"^a\.jpg: a face 400 mm above") as refused:
        find_reference(photo_of(with_card), height_mm=400)
    assert "\n" not in str(refused.value)


def test_a_chart_counts_before_all_else():
    found = find_reference(photo_of(chart_photo(WARM)))
    assert found.colour_source == "chart"
    # A stone's blue that is not on the chart.
    blue = linear_from_lab(np.array([45.0, -2.0, -30.0]))
    linear = (blue * WARM).astype(np.float32)[None, None]
    lab = lab_from_linear(found.corrected(linear, np.array([490.0]), np.array([360.0])))[0, 0]
    assert delta_e_2000(lab, np.array([45.0, -2.0, -30.0])) < 3


def test_a_declared_tray_gives_the_colour_of_the_light_alone():
    rgb = coded(np.full((300, 400, 3), 0.2) * WARM)
    found = find_reference(photo_of(rgb), neutral=Neutral((20, 20, 200, 100), "tray"))
    assert found.colour_source == "tray"
    grey = (np.full((1, 1, 3), 0.2) * WARM).astype(np.float32)
    lab = lab_from_linear(found.corrected(grey, np.array([100.0]), np.array([60.0])))[0, 0]
    assert np.hypot(lab[1], lab[2]) < 1.5


def test_a_place_outside_the_photo_is_told():
    photo = photo_of(np.full((300, 400, 3), 90, np.uint8))
    with pytest.raises(PhotoError, match="not within 400 x 300 px"):
        find_reference(photo, neutral=Neutral((350, 20, 200, 100), "paper"))


def test_a_tray_that_is_not_neutral_is_said_to_disagree():
    rendered = render_photo(
        np.random.default_rng(4),
        TRAINING,
        width_px=480,
        height_px=360,
        stones=1,
        ground="grey paper",
    )
    rgb = rendered.rgb.copy()
    tray = Neutral((0, 0, 60, 40), "tray")
    assert not find_reference(photo_of(rgb), neutral=tray).remarks
    rgb[:40, :60] = (70, 110, 190)
    codes = [r.code for r in find_reference(photo_of(rgb), neutral=tray).remarks]
    assert codes == ["whites_differ"]


def test_burnt_paper_gives_no_white_and_says_so():
    photo = photo_of(np.full((300, 400, 3), 255, np.uint8))
    found = find_reference(photo, neutral=Neutral((20, 20, 200, 100), "paper"))
    assert found.colour_source == "estimated"
    assert [remark.code for remark in found.remarks] == ["white_burnt"]


def test_the_cards_own_squares_are_no_chart_that_fits_badly(with_card, monkeypatch):
    chart = references.find_chart(chart_photo(), srgb_encoding())
    found = find_reference(photo_of(with_card))
    on_card = found.card.outline_px.mean(axis=0) + (chart.corners_px - chart.centres_px.mean(0)) / 4
    taken = replace(chart, patches=chart.patches[::-1].copy(), corners_px=on_card)
    monkeypatch.setattr(references, "find_chart", lambda *_: taken)
    assert "chart_fits_badly" not in {r.code for r in find_reference(photo_of(with_card)).remarks}


def test_nothing_is_looked_for_without_asking(with_card):
    plain = no_reference(photo_of(with_card))
    assert plain.card is None and plain.colour_source == "uncalibrated"


def test_a_tilted_camera_is_told_and_leaves_every_direction_in_the_interval():
    scene, camera = sim.Scene.of(sim.page()), replace(CAMERA, tilt_deg=25)
    rgb = sim.photograph(scene, camera, sim.Light(), np.random.default_rng(5))
    found = find_reference(photo_of(rgb), height_mm=0)
    assert "camera_tilted" in {remark.code for remark in found.remarks}
    middle = np.array([[sim.WIDTH_MM / 2, sim.HEIGHT_MM / 2]])
    scale = found.scale_at(*camera.project(middle)[0])
    for angle in np.deg2rad(np.arange(0, 180, 15)):
        step = np.array([[np.cos(angle), np.sin(angle)]])
        px = np.linalg.norm(camera.project(middle + step) - camera.project(middle - step))
        assert scale.low <= 2 / px <= scale.high
