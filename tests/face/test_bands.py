"""Bands on drawn faces whose runs can be counted."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000

from grader.face.bands.bands import measure_bands
from grader.face.face import Face
from grader.face.measurements import Banding, RegionColour, Regions
from grader.profile import load_profile

BANDED = load_profile("banded")
BLUE, WHITE, HOST, GLARE = 1, 2, 3, 9
#: L*, a*, b* in which the drawn classes are told apart; any three would do.
COLOURS = {BLUE: (45, 0, -30), WHITE: (88, 0, 2), HOST: (50, 8, 15)}


def bands_of(codes, mm_per_px=None) -> Banding:
    codes = codes.astype(np.uint8)
    colour = {}
    for name, (code, (light, a, b)) in zip(("blue", "white", "host"), COLOURS.items(), strict=True):
        hue = float(np.degrees(np.arctan2(b, a)) % 360)
        present = (codes == code).any()
        colour[name] = RegionColour(light, float(np.hypot(a, b)), hue, 0.0) if present else None
    lab = np.zeros((*codes.shape, 3), np.float32)
    face = Face(np.zeros_like(lab), lab, codes > 0, 1.0, (0.0, 0.0), mm_per_px)
    return measure_bands(face, Regions(codes, {}, {}, colour, 0.0), BANDED)


def stripes(size=400, thickness=25, turn_deg=0.0, first=BLUE, second=WHITE):
    y, x = np.mgrid[:size, :size] - size / 2
    turn = np.radians(turn_deg)
    return np.where((y * np.cos(turn) + x * np.sin(turn)) // thickness % 2 == 0, first, second)


def disc(codes):
    y, x = np.mgrid[: codes.shape[0], : codes.shape[1]] - codes.shape[0] / 2 + 0.5
    return np.where(np.hypot(x, y) < codes.shape[0] / 2 - 4, codes, 0)


def five_bands(ground=HOST, size=400):
    codes = np.full((size, size), ground)
    for k in range(5):
        codes[40 + 70 * k : 66 + 70 * k] = BLUE
    return codes


def test_level_stripes_across_the_whole_face_are_unbroken():
    bands = bands_of(stripes())
    assert bands.continuity == pytest.approx(1, abs=0.01)
    assert bands.fill_share == pytest.approx(1, abs=0.01)
    assert bands.bands == 16
    assert bands.direction_deg == pytest.approx(0, abs=0.5)
    assert bands.thickness_px == pytest.approx(25, abs=1)


@pytest.mark.parametrize("turn", [20.0, 45.0, 90.0, 145.0])
def test_direction_is_counter_clockwise_as_seen(turn):
    # Turned by +20 deg as seen, a level stripe rises to the right, where rows count down.
    direction = bands_of(disc(stripes(turn_deg=turn))).direction_deg
    assert 0 <= direction < 180
    assert abs((direction - turn + 90) % 180 - 90) < 1.5


@pytest.mark.parametrize("ground", [HOST, WHITE])
def test_five_bands_cut_in_the_middle_have_the_worked_out_continuity(ground):
    # By construction, an index of our own: each band is as long as the face is wide and cut over 10 % of it: runs of
    # 45 %, 90 % filled.
    codes = five_bands(ground)
    codes[:, 180:220] = np.where(codes[:, 180:220] == BLUE, ground, codes[:, 180:220])
    bands = bands_of(codes)
    assert bands.continuity == pytest.approx(0.45, abs=0.01)
    assert bands.fill_share == pytest.approx(0.90, abs=0.01)
    assert bands.bands == 5


@pytest.mark.parametrize("seed", range(4))
def test_continuity_is_the_mean_intercept_along_the_bands(seed):
    """ASTM E112 (from memory): total length of the test lines within a phase by the number of intercepts; the bands'
    middle lines are the test lines. No index of continuity is published: ours is that mean by the face's width."""
    rng = np.random.default_rng(seed)
    codes = five_bands()
    rows = 53 + 70 * np.arange(5)
    for row in rows:
        for start in 60 + 80 * rng.choice(4, rng.integers(0, 4), replace=False):
            codes[row - 13 : row + 13, start : start + rng.integers(20, 41)] = HOST
    along = (codes[rows] == BLUE).astype(int)
    begins = np.diff(np.pad(along, ((0, 0), (1, 0))), axis=1) == 1
    intercept = along.sum() / begins.sum()
    assert bands_of(codes).continuity == pytest.approx(intercept / 400, abs=0.015)


@pytest.mark.parametrize(("offset_share", "continuity"), [(0.2, 1.0), (0.5, 0.5)])
def test_an_offset_ends_a_run_from_a_third_of_the_thickness(offset_share, continuity):
    whole = five_bands()
    codes = whole.copy()
    codes[:, 200:] = np.roll(whole, round(26 * offset_share), axis=0)[:, 200:]
    assert bands_of(codes).continuity == pytest.approx(continuity, abs=0.03)


@pytest.mark.parametrize("seen_as", [BLUE, WHITE, HOST])
def test_a_crack_across_changes_no_continuity(seen_as):
    codes = stripes().astype(np.uint8)
    cv2.line(codes, (150, 0), (220, 399), seen_as, 3)
    assert bands_of(codes).continuity == pytest.approx(bands_of(stripes()).continuity, abs=0.02)


def test_glare_over_a_band_is_no_gap():
    codes = stripes().astype(np.uint8)
    cv2.circle(codes, (200, 200), 12, GLARE, -1)
    assert bands_of(codes).continuity == pytest.approx(1, abs=0.02)


@pytest.mark.parametrize(
    ("mm_per_px", "continuity"),
    [
        (0.04, (3 * 1.0 + 2 * 0.88) / 5),
        (0.5, (3 * 1.0 + 2 * 0.88 + 2 * 0.05) / 7),
        (None, (3 * 1.0 + 2 * 0.88 + 2 * 0.05) / 7),
    ],
)
def test_runs_under_a_millimetre_are_left_out(mm_per_px, continuity):
    # Five bands of 400 px, 4 px thick, two of them cut from px 20 to 48: the stubs of 20 px are 0.8
    # or 10 mm, or 5 % of the width.
    codes = np.full((400, 400), HOST)
    for k in range(5):
        codes[40 + 70 * k : 44 + 70 * k] = BLUE
    codes[40:120, 20:48] = HOST
    assert bands_of(codes, mm_per_px).continuity == pytest.approx(continuity, abs=0.02)


def folded_continuity():
    """Worked out from the drawing: arcs of the middle lines y = 25 (k + 1/2) - 25 sin(x / 40)."""
    x, runs = np.arange(0, 400, 0.25), []
    for k in range(-2, 18):
        y = 25 * (k + 0.5) - 25 * np.sin(x / 40)
        turns = np.flatnonzero(np.diff(np.r_[0, ((y >= 0) & (y < 400)).astype(int), 0]))
        for start, end in zip(turns[::2], turns[1::2], strict=True):
            arc = np.hypot(np.diff(x[start:end]), np.diff(y[start:end])).sum()
            runs.append(min(arc / 400, 1))
    return np.mean([run for run in runs if run >= 0.02])


def test_folded_bands_are_followed():
    y, x = np.mgrid[:400, :400]
    folded = np.where((y + 25 * np.sin(x / 40)) // 25 % 2 == 0, BLUE, WHITE)
    bands = bands_of(folded)
    # Bands that the upper and lower edge cut along their length are the uncertainty.
    assert bands.continuity == pytest.approx(folded_continuity(), abs=0.05)
    assert abs((bands.direction_deg + 90) % 180 - 90) < 6


def test_rings_are_bands_without_a_straight_line_among_them():
    y, x = np.mgrid[:400, :400] - 199.5
    radius = np.hypot(x, y)
    rings = np.where(radius < 195, np.where(radius // 25 % 2 == 0, BLUE, WHITE), 0)
    assert bands_of(rings).continuity > 0.7


def _checker():
    y, x = np.mgrid[:400, :400]
    return np.where((x // 30 + y // 30) % 2 == 0, BLUE, WHITE)


def _mottle(sigma):
    noise = np.random.default_rng(3).normal(size=(400, 400)).astype(np.float32)
    return np.where(cv2.GaussianBlur(noise, (0, 0), sigma) > 0, BLUE, WHITE)


@pytest.mark.parametrize(
    "codes",
    [
        _checker(),
        _mottle(0.6),
        _mottle(8),
        _mottle(25),
        *(np.full((200, 300), c) for c in (BLUE, WHITE, HOST)),
    ],
    ids=["checker", "noise", "fine mottle", "coarse mottle", "all blue", "all white", "all host"],
)
def test_no_bands_give_no_numbers(codes):
    assert bands_of(codes) == Banding()


def test_contrast_is_the_difference_of_the_class_colours():
    # scikit-image, deltaE_ciede2000, of the two colours as they are drawn.
    expected = deltaE_ciede2000(COLOURS[BLUE], COLOURS[WHITE])
    assert bands_of(stripes()).contrast_de00 == pytest.approx(float(expected), abs=1e-4)


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(
    turns=st.integers(0, 3),
    mirrored=st.booleans(),
    thickness=st.integers(14, 60),
    turn_deg=st.floats(0, 180, exclude_max=True),
)
def test_turning_and_mirroring_change_the_continuity_little(turns, mirrored, thickness, turn_deg):
    codes = disc(stripes(size=320, thickness=thickness, turn_deg=turn_deg))
    moved = np.rot90(codes, turns)
    moved = moved[:, ::-1] if mirrored else moved
    # Now and then one run more or less is parted near the outline: 0.063 at 35 px and 110.25 degrees, mirrored.
    assert abs(bands_of(codes).continuity - bands_of(moved).continuity) < 0.08


@pytest.mark.slow
def test_turning_and_mirroring_mostly_change_the_continuity_hardly_at_all():
    rng = np.random.default_rng(0)
    changes = []
    for _ in range(24):
        codes = disc(
            stripes(size=320, thickness=int(rng.integers(14, 61)), turn_deg=rng.uniform(0, 180))
        )
        moved = np.rot90(codes, int(rng.integers(4)))[:, :: int(rng.choice([-1, 1]))]
        changes.append(abs(bands_of(codes).continuity - bands_of(moved).continuity))
    assert np.quantile(changes, 0.9) < 0.01


def faulted(throw, lean=0.25, thickness=25, size=400):
    """Level bands of one thickness, everything right of a leaning line thrown down by ``throw`` px."""
    y, x = np.mgrid[:size, :size] - size / 2
    right = x - lean * y > 0
    return np.where((y - throw * right) // thickness % 2 == 0, BLUE, WHITE)


@pytest.mark.parametrize("throw", [13, 18])
def test_a_fault_offsets_every_band_it_crosses_by_its_throw(throw):
    # Sixteen bands of 25 px, each crossed once; those at the rim may be lost.
    bands = bands_of(faulted(throw))
    assert 13 <= bands.offsets <= 17
    assert bands.throw_px == pytest.approx(throw, abs=2)
    assert bands.continuity == pytest.approx(0.5, abs=0.06)


def test_no_fault_no_offsets():
    for codes in (stripes(), disc(stripes(turn_deg=30)), five_bands()):
        bands = bands_of(codes)
        assert bands.offsets == 0
        assert bands.throw_px is None


def test_borders_are_traced_where_blue_meets_white():
    # Level stripes of 25 px from the middle: borders at every multiple, traced between px.
    bands = bands_of(stripes())
    rows = sorted(float(np.median(border[:, 1])) for border in bands.borders)
    assert rows == pytest.approx([25.0 * k for k in range(1, 16)], abs=0.3)
    assert bands.waviness == pytest.approx(0, abs=0.02)
    assert bands.direction_spread_deg < 3
    assert bands.thickness_spread_px < 2


@pytest.mark.parametrize("sigma", [2.0, 5.0])
def test_the_width_of_a_border_is_that_of_the_blur_it_was_drawn_with(sigma):
    # A step blurred by a Gaussian goes from 10 to 90 % over 2 x 1.28155 sigma (normal quantiles).
    codes = stripes(thickness=50).astype(np.uint8)
    lab = np.float32([COLOURS[BLUE], COLOURS[WHITE]])[(codes == WHITE).astype(int)]
    face = Face(None, cv2.GaussianBlur(lab, (0, 0), sigma), codes > 0, 1.0, (0.0, 0.0), None)
    colour = {
        name: RegionColour(
            light, float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360), 0.0
        )
        for name, (light, a, b) in (("blue", COLOURS[BLUE]), ("white", COLOURS[WHITE]))
    } | {"host": None}
    bands = measure_bands(face, Regions(codes, {}, {}, colour, 0.0), BANDED)
    assert bands.border_width_px == pytest.approx(2 * 1.28155 * sigma, rel=0.15)
