"""The scene on drawn landscapes: where it is found, its part scores, and the weighted sum.

Sky above water above shore, and what makes a picture of them: common practice, no source. Part scores are our own.
"""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.face.face import Face
from grader.face.measurements import Line, RegionColour, Regions
from grader.face.scene import search
from grader.face.scene.flow import BANDS_WORTH
from grader.face.scene.maps import board_of, maps_of
from grader.face.scene.poses import Poses, fits
from grader.face.scene.scene import measure_scene, place_scores
from grader.face.scene.score import FINE_CELLS, LIMITS, scene_score, score_poses
from grader.face.scene.templates import room, templates_for
from grader.profile import SCENE_PARTS, load_profile

BANDED = load_profile("banded")
pytestmark = pytest.mark.usefixtures("measured_once")
BLUE, WHITE, HOST = 1, 2, 3
HEIGHT, WIDTH = 300, 400
Y, X = np.mgrid[:HEIGHT, :WIDTH] + 0.5
OVAL = ((X - WIDTH / 2) / 195) ** 2 + ((Y - HEIGHT / 2) / 145) ** 2 < 1
LANDSCAPE = np.where(Y < 110, WHITE, np.where(Y < 210, BLUE, HOST))
COLOURS = {"blue": (45, 30, 270), "white": (88, 2, 90), "host": (50, 17, 62)}
#: At this scale the face is 41 x 30.5 mm.
MM_PER_PX = 41 / 390
#: At this one it takes the smallest oval, and hardly lets it turn.
SMALL_MM_PER_PX = 18.8 / 390


def face_of(codes, colours=COLOURS, mask=OVAL, mm_per_px=None):
    codes = np.where(mask, codes, 0).astype(np.uint8)
    colour = {
        name: RegionColour(*lch, 0.0) if (codes == code).any() else None
        for code, (name, lch) in enumerate(colours.items(), start=1)
    }
    face = Face(None, None, mask, 1.0, (0.0, 0.0), mm_per_px)
    return face, Regions(codes, {}, {}, colour, 0.0)


def scene_of(codes, lines=(), **given):
    return measure_scene(*face_of(codes, **given), tuple(lines), BANDED)


def score_of(codes, lines=(), **given):
    return scene_of(codes, lines, **given).best.score


def small(codes, lines=(), **given):
    """On a face that the smallest oval just fits, so that no other place hides a fault."""
    return scene_of(codes, lines, mm_per_px=SMALL_MM_PER_PX, **given).best


def crack(*points, kind="crack"):
    points = np.array(points, float)
    return Line(points, float(np.hypot(*np.diff(points, axis=0).T).sum()), 2.0, kind, 0.9)


def test_sky_above_water_above_shore_is_a_full_landscape():
    scene = scene_of(LANDSCAPE, mm_per_px=MM_PER_PX)
    assert set(scene.parts) == set(SCENE_PARTS)
    for part in set(SCENE_PARTS) - {"islands"}:
        assert scene.parts[part] == pytest.approx(1, abs=0.11), part
    assert scene.best.score > 90
    assert scene.best.kind == "landscape"


def test_the_largest_oval_lies_where_it_fits_and_its_shore_is_measured():
    best = small(LANDSCAPE)
    assert best.template == "18x13 oval"
    assert best.size_mm == (18.0, 13.0)
    # The face leaves the oval 8 px to the sides and 10 above and below, and the outline's grain.
    assert best.centre_px == pytest.approx((200, 150), abs=13)
    assert min(best.turn_deg, 360 - best.turn_deg) < 4
    # From the border at 210 to the oval's lower rim, over the columns that reach below it: the rim
    # of an oval of half axes a, b lies at y + b sqrt(1 - (x / a)^2).
    y = best.centre_px[1]
    a, b = (side / 2 for side in best.size_px)
    x = np.linspace(-0.8 * a, 0.8 * a, 2001)
    thick = np.maximum(y + b * np.sqrt(1 - (x / a) ** 2) - 210, 0).mean()
    assert best.shore_mm == pytest.approx(thick * SMALL_MM_PER_PX, abs=0.35)


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_a_turned_photo_has_the_same_scene_turned(quarter):
    first = scene_of(LANDSCAPE, mm_per_px=MM_PER_PX).best
    turned = scene_of(
        np.rot90(LANDSCAPE, quarter), mask=np.rot90(OVAL, quarter), mm_per_px=MM_PER_PX
    ).best
    assert turned.score == pytest.approx(first.score, abs=3)
    off = (turned.turn_deg - first.turn_deg - 90 * quarter + 180) % 360 - 180
    assert abs(off) < 6


@pytest.mark.parametrize("angle", [23, 151, 290])
def test_a_photo_turned_by_any_angle_has_the_same_scene_turned(angle):
    h, w = LANDSCAPE.shape
    side = int(np.hypot(h, w)) + 4
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), angle, 1.0)
    matrix[:, 2] += (side - w) / 2, (side - h) / 2
    codes, mask = (
        cv2.warpAffine(layer.astype(np.uint8), matrix, (side, side), flags=cv2.INTER_NEAREST)
        for layer in (LANDSCAPE, OVAL)
    )
    first = scene_of(LANDSCAPE, mm_per_px=MM_PER_PX).best
    turned = scene_of(codes, mask=mask > 0, mm_per_px=MM_PER_PX).best
    assert turned.score == pytest.approx(first.score, abs=3)
    assert abs((turned.turn_deg - first.turn_deg - angle + 180) % 360 - 180) < 6
    expected_px = matrix[:, :2] @ first.centre_px + matrix[:, 2]
    # The sky is as good a little higher or lower: a twentieth of the face.
    assert turned.centre_px == pytest.approx(tuple(expected_px), abs=15)


@pytest.mark.slow
def test_mirrored_or_twice_as_large_it_scores_the_same():
    first = score_of(LANDSCAPE)
    assert score_of(LANDSCAPE[:, ::-1], mask=OVAL[:, ::-1]) == pytest.approx(first, abs=2)
    twice = scene_of(LANDSCAPE.repeat(2, 0).repeat(2, 1), mask=OVAL.repeat(2, 0).repeat(2, 1)).best
    assert twice.score == pytest.approx(first, abs=2)


@pytest.mark.slow
def test_a_small_landscape_is_found_in_a_large_face_of_water():
    codes = np.full((HEIGHT, WIDTH), BLUE)
    codes[60:105, 200:330], codes[135:170, 200:330] = WHITE, HOST
    best = scene_of(codes, mm_per_px=0.15).best
    assert best.kind == "landscape"
    assert best.score > 60
    x, y = best.centre_px
    assert 220 < x < 310
    assert 90 < y < 150


@pytest.mark.slow
@pytest.mark.parametrize("code", [BLUE, WHITE, HOST])
def test_a_face_of_one_colour_scores_low(code):
    assert score_of(np.full((HEIGHT, WIDTH), code)) < 35


@pytest.mark.slow
def test_noise_scores_low():
    noise = np.random.default_rng(4).integers(1, 4, (HEIGHT, WIDTH))
    assert score_of(noise) < 40


@pytest.mark.slow
def test_straight_stripes_without_land_are_worth_what_bands_are():
    limit = 100 * BANDS_WORTH
    for wide in (12, 30, 70):
        assert score_of(np.where(Y // wide % 2, BLUE, WHITE)) <= limit + 1e-6, wide


def test_a_face_that_is_all_glare_is_unknown():
    scene = scene_of(np.full((HEIGHT, WIDTH), 9))
    assert set(scene.parts.values()) == {None}
    assert scene.best is None


@pytest.mark.slow
def test_a_bright_seam_in_host_is_a_stream():
    off = np.abs(Y - 150 + 0.15 * (X - 200))
    best = scene_of(np.where(off < 13, BLUE, np.where(off < 22, WHITE, HOST))).best
    assert best.kind == "stream"
    assert best.score > 80
    # The seam falls by 0.15 to the left, so it rises to the right, or falls when looked at from
    # the other side.
    assert best.turn_deg % 180 == pytest.approx(np.degrees(np.arctan(0.15)), abs=6)
    broken = np.where((np.abs(Y - 150) < 22) & (np.abs(X - 200) > 60), BLUE, HOST)
    assert score_of(broken) < best.score - 10


@pytest.mark.slow
def test_a_hair_thin_or_a_pale_seam_is_no_stream():
    off = np.abs(Y - 150 + 0.15 * (X - 200))
    for seam in (np.where(off < 4, BLUE, HOST), np.where(off < 22, WHITE, HOST)):
        assert score_of(seam) < 55
    assert score_of(np.where(off < 4, WHITE, HOST)) < 35


def swirls(turns):
    """Stripes of white and blue, wound up around the middle."""
    dx, dy = X - 200, Y - 150
    angle = turns * np.exp(-(dx**2 + dy**2) / 100**2)
    across = np.sin(angle) * dx + np.cos(angle) * dy
    return np.where(across % 50 < 20, WHITE, BLUE)


@pytest.mark.slow
def test_swirls_are_surf_and_the_same_stripes_in_pieces_are_not():
    best = scene_of(swirls(2.5)).best
    assert best.kind == "surf"
    assert best.score > 70 > score_of(swirls(0.0))
    rng, tile = np.random.default_rng(3), 30
    codes = swirls(2.5)
    tiles = [(y, x) for y in range(0, 300, tile) for x in range(0, 390, tile)]
    pieces = codes.copy()
    for (y, x), k in zip(tiles, rng.permutation(len(tiles)), strict=True):
        y0, x0 = tiles[k]
        pieces[y : y + tile, x : x + tile] = codes[y0 : y0 + tile, x0 : x0 + tile]
    assert score_of(pieces) < 50


def test_host_alone_beside_a_landscape_is_no_stream():
    assert scene_of(LANDSCAPE).best.kind == "landscape"


@pytest.mark.slow
def test_the_runner_up_is_another_picture():
    codes = np.where(X < 200, LANDSCAPE, LANDSCAPE[::-1])
    scene = scene_of(codes)
    first, second = scene.best, scene.runner_up
    turned = abs((first.turn_deg - second.turn_deg + 180) % 360 - 180)
    apart = np.hypot(*np.subtract(first.centre_px, second.centre_px))
    assert turned > 30 or apart > 0.4 * first.size_px[1] or first.kind != second.kind
    assert second.score <= first.score


@pytest.mark.parametrize(
    ("fault", "codes"),
    [
        ("tilted", np.where(Y - 0.65 * (X - 200) < 110, WHITE,
                            np.where(Y - 0.65 * (X - 200) < 210, BLUE, HOST))),
        ("no water", np.where(LANDSCAPE == BLUE, HOST, LANDSCAPE)),
        ("land on both sides", np.where(np.abs(X - 200) > 110, HOST, np.where(Y < 130, WHITE, BLUE))),
        ("bands across", np.where(X // 40 % 2 == 0, LANDSCAPE, LANDSCAPE[::-1])),
    ],
)  # fmt: skip
def test_one_fault_costs_much(fault, codes):
    assert small(codes).score < small(LANDSCAPE).score - 12, fault


def test_a_face_too_small_for_any_template_is_capped():
    scene = scene_of(LANDSCAPE, mm_per_px=0.03)
    assert scene.best.template == "under 18x13"
    assert scene.parts["size"] == 0
    assert scene.best.score <= LIMITS["size"]


def test_islands_of_host_in_the_water_are_a_bonus_and_many_are_clutter():
    one, many = LANDSCAPE.copy(), LANDSCAPE.copy()
    one[150:168, 190:212] = HOST
    for x in range(60, 340, 32):
        for y in (118, 150, 182):
            many[y : y + 16, x : x + 16] = HOST
    none = small(LANDSCAPE).parts["islands"]
    assert small(one).parts["islands"] == 1 > none > small(many).parts["islands"]


def test_pale_zones_have_little_contrast():
    pale = {"blue": (80, 6, 270), "white": (85, 2, 270), "host": (84, 4, 270)}
    assert small(LANDSCAPE, colours=pale).parts["contrast"] < 0.4


def test_a_crack_through_the_middle_caps_the_score():
    split = small(LANDSCAPE, [crack((20, 140), (380, 160))])
    assert split.parts["focal"] == 0
    assert split.score <= LIMITS["focal"]


@pytest.mark.slow
def test_a_template_is_laid_beside_a_crack():
    split = crack((280, 0), (280, 300))
    best = scene_of(LANDSCAPE, [split], mm_per_px=MM_PER_PX).best
    assert best.parts["focal"] > 0.8


def test_a_crack_at_the_rim_and_a_pattern_line_do_not_count():
    clean = small(LANDSCAPE).score
    assert small(LANDSCAPE, [crack((30, 130), (50, 170))]).score == pytest.approx(clean, abs=1)
    seam = crack((60, 140), (340, 160), kind="pattern line")
    assert small(LANDSCAPE, [seam]).score == clean


def test_two_faults_limit_the_score_twice():
    """By hand: 100 is held to 40 % for the line and of that to 75 % for the water; to 57.5 % at half the water lost
    and half the horizon: (75 + 25 / 2) % of (45 + 55 / 2) %."""
    weights = {"balance": 998, "focal": 1, "water": 1, "horizon": 1}
    assert scene_score({"balance": 1, "focal": 0, "water": 0}, weights) == pytest.approx(30)
    halves = {"balance": 1, "water": 0.5, "horizon": 0.5}
    assert scene_score(halves, weights) == pytest.approx(0.875 * 72.5)


def test_a_face_without_water_stays_under_its_limit():
    dry = small(np.where(LANDSCAPE == BLUE, WHITE, LANDSCAPE))
    assert dry.parts["water"] == 0
    assert dry.score <= LIMITS["water"]


def laid_board(codes, mm_per_px=MM_PER_PX, **given):
    """What templates are laid on, and those that the face may take."""
    face, regions = face_of(codes, mm_per_px=mm_per_px, **given)
    maps = maps_of(regions.codes, face.mask, BANDED)
    mm = mm_per_px / maps[-1].scale
    return board_of(maps, regions, (), BANDED), templates_for(maps[-1].readings > 0, mm, BANDED)


def everywhere(board, template):
    """A template in the middle of the face and 5 % of it to each side, at every second degree, and these turns as they
    are in the face."""
    middle = np.array([[200, 150], [220, 150], [180, 150], [200, 165], [200, 135]])
    turns = np.arange(0, 360, 2.0)
    laid = Poses(template, np.repeat(board.maps[-1].laid(middle), len(turns), 0), np.tile(turns, 5))
    return laid, (laid.turn_deg + board.maps[-1].table.turn_deg) % 360


def turned_by(a, b):
    return np.abs((a - b + 180) % 360 - 180)


@pytest.mark.parametrize("angle", [0, 37, 160])
def test_up_is_where_the_sky_is(angle):
    """By geometry: a landscape turned by an angle lies right at that turn."""
    height_px = (X - 200) * np.sin(np.radians(angle)) + (Y - 150) * np.cos(np.radians(angle))
    codes = np.where(height_px < -25, WHITE, np.where(height_px < 25, BLUE, HOST))
    board, templates = laid_board(codes)
    for template in templates:
        laid, turns = everywhere(board, template)
        off = turned_by(turns, angle)
        likely = search.likely_upright(board, laid, "landscape")
        assert likely[off < search.UP_WITHIN_DEG["landscape"] - 10].all(), template.name
        assert not likely[off > search.UP_WITHIN_DEG["landscape"] + 10].any(), template.name


@pytest.mark.parametrize("angle", [0, 37, 160])
def test_a_stream_lies_along_its_seam_either_way_up(angle):
    """By geometry: a seam turned by an angle runs level at that turn and at the one opposite."""
    height_px = (X - 200) * np.sin(np.radians(angle)) + (Y - 150) * np.cos(np.radians(angle))
    board, templates = laid_board(np.where(np.abs(height_px) < 22, WHITE, HOST))
    bare, _ = laid_board(np.full((HEIGHT, WIDTH), HOST))
    for template in templates:
        laid, turns = everywhere(board, template)
        laid, turns = laid[: len(turns) // 5], turns[: len(turns) // 5]
        off = np.minimum(turned_by(turns, angle), turned_by(turns, angle + 180))
        likely = search.likely_upright(board, laid, "stream")
        assert likely[off < search.UP_WITHIN_DEG["stream"] - 8].all(), template.name
        assert not likely[off > search.UP_WITHIN_DEG["stream"] + 8].any(), template.name
        assert not search.likely_upright(bare, laid, "stream").any()


def test_where_nothing_tells_the_way_up_the_tables_is_taken():
    board, templates = laid_board(np.full((HEIGHT, WIDTH), BLUE))
    laid, _ = everywhere(board, templates[0])
    likely = search.likely_upright(board, laid, "landscape")
    off = turned_by(laid.turn_deg, 0)
    assert likely[off < 65].all() and not likely[off > 67].any()


@pytest.mark.slow
@pytest.mark.parametrize("tilt", [0.1, 0.5])
def test_the_turns_left_out_hide_no_better_place(tilt):
    """Every template at every place and turn of a grid, by brute force: it holds the search, the score is ours."""
    level = Y - tilt * (X - 200)
    codes = np.where(level < 120, WHITE, np.where(level < 190, BLUE, HOST))
    board, templates = laid_board(codes, mm_per_px=24 / 390)
    h, w = board.outside.shape
    step = 0.06 * min(h, w)
    y, x = np.mgrid[0:h:step, 0:w:step]
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    most = 0.0
    for template in templates:
        for turn in np.arange(0, 360, 6.0):
            laid = Poses(template, places, np.full(len(places), turn))
            laid = laid[fits(board, laid)]
            if len(laid.turn_deg):
                found = score_poses(board, laid, FINE_CELLS, slipped=True)
                most = max(most, *(scored.scores.max() for scored in found.values()))
    best = scene_of(codes, mm_per_px=24 / 390).best
    assert best.score >= most - 0.5


def test_of_each_template_a_share_and_at_least_three_are_followed():
    half = search.MOVES[0]._replace(goes_on=0.5)
    assert [search._number(half, [0] * n) for n in (20, 9, 5, 2)] == [10, 5, 3, 3]


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(
    ends=st.lists(st.tuples(st.floats(10, 390), st.floats(10, 290)), min_size=2, max_size=4),
    before=st.booleans(),
)
def test_an_added_crack_never_raises_the_score(ends, before):
    lines = [crack((150, 150), (170, 150))] if before else []
    # The search may stop a hair elsewhere; no place itself becomes better.
    assert small(LANDSCAPE, [*lines, crack(*ends)]).score <= small(LANDSCAPE, lines).score + 2


def test_score_is_the_weighted_mean_of_what_is_known():
    # (3 * 0.5 + 1 * 1) / 4 = 62.5 %
    assert (
        scene_score(
            {"balance": 0.5, "water": 1.0, "zones": None}, {"balance": 3, "water": 1, "zones": 9}
        )
        == 62.5
    )
    assert scene_score({"horizon": None}, {"horizon": 1}) == 0


@pytest.mark.parametrize("part", LIMITS)
def test_a_part_limits_the_score_only_where_it_has_a_weight(part):
    good = {"balance": 1.0, part: 0.0}
    assert scene_score(good, {"balance": 19, part: 1}) == min(LIMITS[part], 95)
    assert scene_score(good, {"balance": 19, part: 0}) == 100


def test_room_of_a_rectangle_and_of_an_oval_in_a_rectangle():
    inside = np.zeros((82, 122), bool)
    inside[1:81, 1:121] = True
    # Of 120 x 80 px: a frame of 3:2 fills it, an oval of 4:3 is 80 px high, turned a quarter it is
    # 80 px long.
    assert room(inside, 1.5, "rectangle", 0)[0].max() == pytest.approx(60, abs=1.5)
    assert room(inside, 4 / 3, "oval", 0)[0].max() == pytest.approx(80 * 4 / 3 / 2, abs=1.5)
    assert room(inside, 4 / 3, "oval", 90)[0].max() == pytest.approx(40, abs=1.5)


def test_templates_come_from_the_profile_and_without_scale_from_the_face():
    names = [t.name for t in templates_for(OVAL, MM_PER_PX, BANDED)]
    assert {"40x30 oval", "30x22 oval", "25x18 oval", "18x13 oval", "25 round"} <= set(names)
    free = templates_for(OVAL, None, BANDED)
    assert {t.size_mm for t in free} == {None}
    assert all("the largest that fits" in t.name for t in free)


def test_given_places_score_as_the_best_place_does_and_upside_down_scores_less():
    best = scene_of(LANDSCAPE).best
    poses = np.array(
        [[*best.centre_px, best.turn_deg], [*best.centre_px, best.turn_deg + 180], [60, 60, 40]]
    )
    upright, overturned, aside = place_scores(*face_of(LANDSCAPE), BANDED, best.size_px, poses)
    assert upright == pytest.approx(best.score, abs=6)
    assert overturned < upright - 20
    assert aside < upright - 10


def test_a_face_that_cannot_be_read_has_no_scenes():
    face, regions = face_of(np.full((HEIGHT, WIDTH), 9))
    assert (place_scores(face, regions, BANDED, (80, 60), np.array([[200, 150, 0.0]])) == 0).all()
