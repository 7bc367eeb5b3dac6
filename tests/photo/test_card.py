"""The photo card, seen by a pinhole camera whose geometry is the truth."""

from dataclasses import replace
from types import SimpleNamespace

import card_camera as sim
import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import GraderError
from grader.photo import card_layout as layout
from grader.photo.card import CardSighting, find_card
from grader.photo.card_layout import (
    DICTIONARY,
    HEIGHT_MM,
    MARK_MM,
    MARKS,
    SQUARE_MM,
    STRIPS,
    WIDTH_MM,
    black_boxes,
)
from grader.photo.pose import camera_over, focal_range_px
from grader.photo.scale import face_scale
from grader.profile import Setup

MIDDLE = np.array([WIDTH_MM / 2, HEIGHT_MM / 2])
CAMERA = sim.Pinhole(tilt_deg=20, towards_deg=200, turn_deg=25, distance_mm=330)


@pytest.fixture(scope="module")
def scene():
    return sim.Scene.of(sim.page())


@pytest.fixture
def take(scene):
    """Return a function that photographs the card."""
    return lambda camera=CAMERA, light=None, **harm: sim.photograph(
        scene, camera, light or sim.Light(), np.random.default_rng(5), **harm
    )


def true_scale(camera, at_mm=MIDDLE):
    steps = np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]])
    right, left, down, up = camera.project(at_mm + steps)
    return 1 / np.sqrt(abs(np.linalg.det(np.column_stack([right - left, down - up]))))


def middle_px(camera):
    return tuple(camera.project(MIDDLE[None])[0])


def codes(remarks):
    return {remark.code for remark in remarks}


def one_line(remarks):
    return all(remark.text and "\n" not in remark.text for remark in remarks)


# The layout


@pytest.mark.parametrize("strip", STRIPS, ids=["left", "lower"])
def test_strips_are_the_boards_that_opencv_draws(strip):
    # Outside check: OpenCV's own picture of a ChArUco board of these squares and ids.
    px_per_mm = 14
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    board = cv2.aruco.CharucoBoard(
        (strip.columns, strip.rows), SQUARE_MM, MARK_MM, dictionary, np.array(strip.ids)
    )
    size = round(strip.columns * SQUARE_MM * px_per_mm), round(strip.rows * SQUARE_MM * px_per_mm)
    drawn = np.full(size[::-1], 255, np.uint8)
    for box in black_boxes():
        left, top = (box.x_mm - strip.x_mm) * px_per_mm, (box.y_mm - strip.y_mm) * px_per_mm
        if 0 <= left < size[0] and 0 <= top < size[1]:
            right, bottom = left + box.w_mm * px_per_mm, top + box.h_mm * px_per_mm
            drawn[round(top) : round(bottom), round(left) : round(right)] = 0
    assert (drawn != board.generateImage(size)).mean() < 1e-3


def test_every_mark_is_of_the_dictionary_and_none_can_be_read_mirrored():
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    ids = [number for strip in STRIPS for number in strip.ids]
    assert len(set(ids)) == len(ids) == MARKS
    for number in ids:
        bits = (cv2.aruco.generateImageMarker(dictionary, number, 7)[1:-1, 1:-1] > 0).astype(
            np.uint8
        )
        assert dictionary.getDistanceToId(bits, number, True) == 0
        mirrored = np.ascontiguousarray(bits[:, ::-1])
        nearest = min(dictionary.getDistanceToId(mirrored, other, True) for other in ids)
        # More than OpenCV corrects at the most.
        assert nearest > dictionary.maxCorrectionBits


def test_nothing_lies_over_a_strip():
    strips = [layout.Box(s.x_mm, s.y_mm, s.columns * SQUARE_MM, s.rows * SQUARE_MM) for s in STRIPS]
    others = [
        layout.BAR,
        layout.RULE,
        layout.STONE_AREA,
        *layout.WHITES,
        *(g.box for g in layout.GREYS),
    ]
    for number, one in enumerate([*strips, *others]):
        assert one.corners_mm().min() >= 0
        assert (one.corners_mm() <= (WIDTH_MM, HEIGHT_MM)).all()
        for other in [*strips, *others][number + 1 :]:
            apart = (
                one.x_mm + one.w_mm <= other.x_mm
                or other.x_mm + other.w_mm <= one.x_mm
                or one.y_mm + one.h_mm <= other.y_mm
                or other.y_mm + other.h_mm <= one.y_mm
            )
            assert apart, (one, other)


# Finding


@pytest.mark.parametrize("turn", [0, 180, 271])
@pytest.mark.parametrize(("tilt", "limit"), [(0, 0.005), (25, 0.005), (35, 0.01)])
def test_a_whole_card_gives_the_scale(take, turn, tilt, limit):
    # A turn of 180 is the upside-down card: it reads as any other.
    camera = replace(CAMERA, turn_deg=turn, tilt_deg=tilt)
    sighting, remarks = find_card(take(camera))
    at = middle_px(camera)
    assert remarks == sighting.remarks == ()
    assert sighting.marks_seen == MARKS
    assert sighting.mm_per_px(at) == pytest.approx(true_scale(camera), rel=limit)
    assert 0.002 < sighting.relative_uncertainty(at) < 0.01
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (WIDTH_MM, HEIGHT_MM)
    np.testing.assert_allclose(sighting.outline_px, camera.project(corners), atol=1.0)
    assert sighting.tilt_deg == pytest.approx(tilt, abs=4)


def test_scale_in_a_direction_is_that_of_a_short_step(take):
    sighting, _ = find_card(take())
    for angle in (0, 40, 90, 130):
        step = np.array([np.cos(np.deg2rad(angle)), -np.sin(np.deg2rad(angle))])
        at = np.array(middle_px(CAMERA))
        ends = sighting.card_mm(np.array([at - step, at + step]))
        expected = np.linalg.norm(ends[1] - ends[0]) / 2
        assert sighting.mm_per_px(tuple(at), angle) == pytest.approx(expected, rel=1e-4)
    # Tilted by 20 degrees, across the tilt a px is 1 / cos 20 longer (geometry).
    scales = [sighting.mm_per_px(middle_px(CAMERA), a) for a in range(0, 180, 2)]
    assert max(scales) / min(scales) == pytest.approx(1 / np.cos(np.deg2rad(20)), rel=0.01)


def test_white_and_greys_lie_where_paper_and_greys_are(take):
    rgb = take(light=sim.Light(paper=215, noise=0.5))
    sighting, _ = find_card(rgb)

    def code(quad):
        mask = np.zeros(rgb.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round(quad - 0.5).astype(np.int32)], 1)
        return float(np.median(rgb[mask > 0]))

    assert [code(quad) for quad in sighting.white_px] == pytest.approx([215, 215], abs=3)
    greys = [code(grey.quad_px) for grey in sighting.greys]
    assert greys == sorted(greys, reverse=True)
    assert max(greys) < 210


def test_sixteen_bits_read_as_eight(take):
    rgb = take()
    of8, of16 = find_card(rgb)[0], find_card(rgb.astype(np.uint16) * 257)[0]
    np.testing.assert_allclose(of8.homography, of16.homography)


@pytest.mark.slow
def test_a_card_that_is_small_in_twelve_megapixels_is_found(take):
    camera = sim.Pinhole((4000, 3000), 2900, 900, 10, 40, 70)
    sighting, _ = find_card(take(camera))
    assert sighting.mm_per_px(middle_px(camera)) == pytest.approx(true_scale(camera), rel=0.005)


# What is wrong with a card, each told in one line


def test_no_card(take):
    rgb = np.random.default_rng(1).integers(0, 255, (600, 800, 3), np.uint8)
    sighting, remarks = find_card(rgb)
    assert sighting is None
    assert codes(remarks) == {"card_not_found"}
    assert one_line(remarks)
    assert find_card(np.full((300, 300, 3), 255, np.uint8))[0] is None  # face down


@pytest.mark.parametrize("shape", [(1, 1, 3), (7, 3, 3), (2, 4000, 3)])
def test_pictures_of_odd_shapes_hold_no_card(shape):
    assert find_card(np.full(shape, 90, np.uint8))[0] is None


def test_a_mirrored_photo_is_told_and_its_lengths_hold(take):
    rgb = take()
    straight, _ = find_card(rgb)
    sighting, remarks = find_card(rgb[:, ::-1])
    x, y = middle_px(CAMERA)
    at = (CAMERA.size_px[0] - x, y)
    assert codes(remarks) == {"card_mirrored"}
    assert one_line(remarks)
    assert sighting.mm_per_px(at) == pytest.approx(true_scale(CAMERA), rel=0.005)
    assert sighting.relative_uncertainty(at) == pytest.approx(
        straight.relative_uncertainty((x, y)), rel=1e-3
    )
    heights = [
        camera_over(s.homography, CAMERA.size_px, 1500).height_mm for s in (straight, sighting)
    ]
    assert heights[0] == pytest.approx(heights[1], rel=1e-3)


def test_half_hidden_by_the_lower_strip_and_more(take):
    cover = np.array([[-40, 110], [220, 110], [220, 300], [-40, 300]])
    sighting, remarks = find_card(take(cover=cover))
    assert codes(remarks) == {"card_half_hidden"}
    assert one_line(remarks)
    assert sighting.marks_seen < MARKS / 2
    whole, _ = find_card(take())
    at = middle_px(CAMERA)
    unsure = sighting.relative_uncertainty(at)
    assert unsure > whole.relative_uncertainty(at)
    assert abs(sighting.mm_per_px(at) / true_scale(CAMERA) - 1) < unsure


def test_glare_is_told_apart_from_a_cover(take):
    camera = replace(CAMERA, size_px=(1200, 900), focal_px=900)
    sighting, remarks = find_card(take(camera, glare=(30, 220, 90)))
    assert codes(remarks) == {"card_half_hidden"}
    assert "in glare" in remarks[0].text
    at = middle_px(camera)
    assert abs(sighting.mm_per_px(at) / true_scale(camera) - 1) < sighting.relative_uncertainty(at)


def test_a_card_half_outside_the_picture(take):
    camera = replace(CAMERA, aside_mm=(0, 150), distance_mm=300)
    sighting, remarks = find_card(take(camera))
    assert codes(remarks) == {"card_half_hidden"}
    assert "outside the picture" in remarks[0].text
    quads = [*sighting.white_px, *(grey.quad_px for grey in sighting.greys)]
    assert len(quads) < len(layout.WHITES) + len(layout.GREYS)
    assert all((quad >= 0).all() and (quad <= camera.size_px).all() for quad in quads)


def test_a_bent_card_is_told_and_costs_certainty(take):
    camera = sim.Pinhole((800, 600), 600, 235, tilt_deg=10, turn_deg=90)
    sighting, remarks = find_card(take(camera, surface=lambda x, y: 5 * ((y - 120) / 120) ** 2))
    assert "card_bent" in codes(remarks)
    assert one_line(remarks)
    at = middle_px(camera)
    unsure = sighting.relative_uncertainty(at)
    assert unsure > 0.01
    assert abs(sighting.mm_per_px(at) / true_scale(camera) - 1) < unsure
    assert sighting.corners_used < sighting.corners_seen


def test_a_card_printed_wider_than_high_is_told(scene):
    wide = sim.Scene.of(cv2.resize(scene.pages[1], None, fx=2.06, fy=2.0))
    camera = replace(CAMERA, tilt_deg=3)
    sighting, remarks = find_card(
        sim.photograph(wide, camera, sim.Light(), np.random.default_rng(2))
    )
    assert codes(remarks) == {"card_uneven"}
    assert sighting.uneven_share == pytest.approx(0.03, abs=0.005)
    assert sighting.relative_uncertainty(middle_px(camera)) > 0.015


def test_of_two_cards_the_larger_is_used(take):
    near, far = replace(CAMERA, tilt_deg=5, turn_deg=95), replace(CAMERA, distance_mm=520)
    rgb = np.concatenate([take(far), take(near)], axis=1)
    sighting, remarks = find_card(rgb)
    assert "two_cards" in codes(remarks)
    assert one_line(remarks)
    x, y = middle_px(near)
    assert sighting.mm_per_px((CAMERA.size_px[0] + x, y)) == pytest.approx(
        true_scale(near), rel=0.005
    )


def test_too_little_of_a_card_is_no_card(take):
    # Two marks stay in sight.
    cover = np.array([[-40, -40], [220, -40], [220, 213], [40, 213], [40, 300], [-40, 300]])
    rest = np.array([[62, 213], [220, 213], [220, 300], [62, 300]])
    rgb = take(cover=cover)
    cv2.fillPoly(rgb, [CAMERA.project(rest).astype(np.int32)], (40, 40, 40))
    sighting, remarks = find_card(rgb)
    assert sighting is None
    assert codes(remarks) == {"card_not_found"}


# Height


def flat_sighting(distance_mm, focal_px=3000.0, size_px=(4000, 3000)):
    """A card seen square on from a known distance: no picture, geometry alone."""
    scale = focal_px / distance_mm
    homography = np.array(
        [
            [scale, 0, size_px[0] / 2 - scale * WIDTH_MM / 2],
            [0, scale, size_px[1] / 2 - scale * HEIGHT_MM / 2],
            [0, 0, 1],
        ]
    )
    return CardSighting(
        homography, size_px, MARKS, 158, 158, 0.1, 0.0, 0.0, 0.0, (), (), np.zeros((8, 8))
    )


@pytest.mark.parametrize(("height_mm", "too_large"), [(10, 10 / 290), (40, 40 / 260)])
def test_similar_triangles(height_mm, too_large):
    # Geometry: at 300 mm a face 40 mm high reads 300 / 260 = 15.4 % too large.
    sighting = flat_sighting(300.0)
    scale = face_scale(sighting, 3000.0, height_mm)
    on_card = sighting.mm_per_px(scale.at_px)
    assert on_card == pytest.approx(0.1)
    assert on_card / scale.mm_per_px - 1 == pytest.approx(too_large)
    assert scale.camera_mm == pytest.approx((300, 300))
    # The part that is taken off: 10 mm of 300 mm are 3.33 %.
    assert scale.face_per_card[0] == pytest.approx(1 - height_mm / 300)


def test_a_card_at_face_height_needs_no_focal_length():
    sighting = flat_sighting(300.0)
    scale = face_scale(sighting, (1000.0, 9000.0), 0.0)
    assert scale.mm_per_px == pytest.approx(sighting.mm_per_px(scale.at_px))
    assert scale.high / scale.low - 1 < 0.006


def test_what_is_unknown_widens_the_interval():
    sighting = flat_sighting(300.0)
    known = face_scale(sighting, 3000.0, 30.0)
    focal = face_scale(sighting, (2700.0, 3300.0), 30.0)
    height = face_scale(sighting, 3000.0, Setup.height_mm)
    both = face_scale(sighting, (2700.0, 3300.0), Setup.height_mm)
    for narrow, wide in ((known, focal), (known, height), (focal, both), (height, both)):
        assert wide.low < narrow.low < narrow.mm_per_px < narrow.high < wide.high


@given(
    st.floats(200, 600), st.floats(0, 35), st.floats(0, 360), st.floats(0, 360), st.floats(0, 60)
)
def test_lengths_on_a_face_hold_at_any_tilt_turn_and_height(distance, tilt, towards, turn, height):
    # The projection of a raised plane is the pinhole's own; no picture is taken.
    camera = sim.Pinhole((4000, 3000), 3000.0, distance, tilt, towards, turn)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (WIDTH_MM, HEIGHT_MM)
    homography = cv2.getPerspectiveTransform(
        corners.astype(np.float32), camera.project(corners).astype(np.float32)
    )
    sighting = replace(flat_sighting(300.0), homography=homography)
    computed = camera_over(homography, camera.size_px, 3000.0)
    assert computed.height_mm == pytest.approx(camera.height_mm, rel=1e-3)
    assert computed.tilt_deg == pytest.approx(tilt, abs=0.1)
    face = face_scale(sighting, 3000.0, height)
    start, end = np.array([60.0, 80.0]), np.array([130.0, 150.0])
    length, low, high = face.length_mm(*camera.project(np.array([start, end]), height))
    assert length == pytest.approx(np.linalg.norm(end - start), rel=1e-3)
    assert low < length < high


def test_a_face_that_would_reach_the_camera_is_refused():
    with pytest.raises(GraderError, match=r"a face 320 mm above the card would reach the camera"):
        face_scale(flat_sighting(300.0), 3000.0, 320.0)


def test_focal_length_of_exif_by_diagonal_and_by_long_side():
    # A 35 mm frame is 36 x 24 mm, its diagonal 43.27 mm (geometry); 4:3 has a diagonal of 5/4.
    low, high = focal_range_px((4000, 3000), 26)
    assert low < 26 * 4000 / 36 < 26 * 5000 / 43.267 < high
    assert high / low < 1.09
    # Portrait, cut to 16:9, cut to a square: the lens is the same.
    assert focal_range_px((3000, 4000), 26) == (low, high)
    assert focal_range_px((4000, 2250), 26) == pytest.approx((low, high))
    assert focal_range_px((3000, 3000), 26) == pytest.approx((low, high))


@pytest.mark.parametrize("unknown", [None, 0, float("nan")])
def test_without_exif_the_range_is_that_of_phones(unknown):
    # 24 to 30 mm of a 35 mm camera: common practice, no source.
    low, high = focal_range_px((4000, 3000), unknown)
    assert low == pytest.approx(24 * 4000 / 36)
    assert high == pytest.approx(30 * 5000 / np.hypot(36, 24))


# Many photos


@pytest.mark.slow
def test_cards_are_found_and_true_in_any_light(scene):
    rng = np.random.default_rng(77)
    missed, errors = 0, SimpleNamespace(low=[], high=[])
    for number in range(200):
        size = (4000, 3000) if number % 4 == 0 else (2000, 1500)
        camera = sim.random_camera(rng, size, rng.uniform(0, 35), (0.55, 0.98))
        sighting, _ = find_card(
            sim.photograph(scene, camera, sim.random_light(rng, max(size)), rng)
        )
        if sighting is None:
            missed += 1
            continue
        error = abs(sighting.mm_per_px(middle_px(camera)) / true_scale(camera) - 1)
        (errors.low if camera.tilt_deg <= 25 else errors.high).append(error)
    assert missed <= 2
    assert np.quantile(errors.low, 0.95) < 0.005
    assert np.quantile(errors.high, 0.95) < 0.01
