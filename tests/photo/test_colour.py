"""Colour against published values: IEC 61966-2-1, CIE 15, Sharma et al. 2005, SMPTE EG 432-1."""

import numpy as np
import pytest
from skimage import color

from grader.photo.colour import (
    WHITE_XYZ,
    chroma_hue,
    delta_e_2000,
    lab_from_linear,
    linear_srgb,
    srgb_curve,
    srgb_encoding,
)
from grader.photo.icc import D50_XYZ, adaptation, encoding_of_profile
from grader.render.icc_profile import D65_XY, display_p3_profile

# Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, table 1: L a b | L a b = CIEDE2000.
SHARMA_PAIRS = """
50 2.6772 -79.7751|50 0 -82.7485=2.0425
50 3.1571 -77.2803|50 0 -82.7485=2.8615
50 2.8361 -74.0200|50 0 -82.7485=3.4412
50 -1.3802 -84.2814|50 0 -82.7485=1.0000
50 -1.1848 -84.8006|50 0 -82.7485=1.0000
50 -0.9009 -85.5211|50 0 -82.7485=1.0000
50 0 0|50 -1 2=2.3669
50 -1 2|50 0 0=2.3669
50 2.49 -0.001|50 -2.49 0.0009=7.1792
50 2.49 -0.001|50 -2.49 0.0010=7.1792
50 2.49 -0.001|50 -2.49 0.0011=7.2195
50 2.49 -0.001|50 -2.49 0.0012=7.2195
50 -0.001 2.49|50 0.0009 -2.49=4.8045
50 -0.001 2.49|50 0.0010 -2.49=4.8045
50 -0.001 2.49|50 0.0011 -2.49=4.7461
50 2.5 0|50 0 -2.5=4.3065
50 2.5 0|73 25 -18=27.1492
50 2.5 0|61 -5 29=22.8977
50 2.5 0|56 -27 -3=31.9030
50 2.5 0|58 24 15=19.4535
50 2.5 0|50 3.1736 0.5854=1.0000
50 2.5 0|50 3.2972 0=1.0000
50 2.5 0|50 1.8634 0.5757=1.0000
50 2.5 0|50 3.2592 0.3350=1.0000
60.2574 -34.0099 36.2677|60.4626 -34.1751 39.4387=1.2644
63.0109 -31.0961 -5.8663|62.8187 -29.7946 -4.0864=1.2630
61.2901 3.7196 -5.3901|61.4292 2.2480 -4.9620=1.8731
35.0831 -44.1164 3.7933|35.0232 -40.0716 1.5901=1.8645
22.7233 20.0904 -46.6940|23.0331 14.9730 -42.5619=2.0373
36.4612 47.8580 18.3852|36.2715 50.5065 21.2231=1.4146
90.8027 -2.0831 1.4410|91.1528 -1.6435 0.0447=1.4441
90.9257 -0.5406 -0.9208|88.6381 -0.8985 -0.7239=1.5381
6.7747 -0.2908 -2.4247|5.8714 -0.0985 -2.2286=0.6377
2.0776 0.0795 -1.1350|0.9033 -0.0636 -0.5514=0.9082
"""


def _pairs():
    for line in SHARMA_PAIRS.split("\n"):
        if line:
            pair, value = line.split("=")
            first, second = (tuple(map(float, lab.split())) for lab in pair.split("|"))
            yield first, second, float(value)


def _lab(*codes: int) -> np.ndarray:
    return lab_from_linear(linear_srgb(np.array([codes], np.uint8), srgb_encoding()))[0]


def _p3():
    return encoding_of_profile(display_p3_profile(), 256)


def test_there_are_34_published_pairs():
    assert len(list(_pairs())) == 34


@pytest.mark.parametrize(("first", "second", "published"), list(_pairs()))
def test_ciede2000_is_as_published_and_the_same_both_ways(first, second, published):
    assert float(delta_e_2000(first, second)) == pytest.approx(published, abs=1e-4)
    assert float(delta_e_2000(second, first)) == pytest.approx(published, abs=1e-4)


def test_ciede2000_agrees_with_an_independent_implementation():
    # scikit-image, deltaE_ciede2000.
    rng = np.random.default_rng(5)
    first = rng.uniform((0, -80, -80), (100, 80, 80), (500, 3))
    second = rng.uniform((0, -80, -80), (100, 80, 80), (500, 3))
    ours, theirs = delta_e_2000(first, second), color.deltaE_ciede2000(first, second)
    np.testing.assert_allclose(ours, theirs, atol=1e-6)


@pytest.mark.parametrize(("code", "light"), [(0, 0.0), (128, 0.215861), (255, 1.0)])
def test_srgb_codes_decode_as_the_standard_says(code, light):
    # IEC 61966-2-1:1999
    assert srgb_curve()[code] == pytest.approx(light, abs=1e-6)


def test_srgb_of_half_decodes_as_the_standard_says():
    # IEC 61966-2-1:1999: 0.5 gives 0.214041; codes 32767 and 32768 lie on both sides of it.
    curve = srgb_curve(65536)
    assert (curve[32767] + curve[32768]) / 2 == pytest.approx(0.214041, abs=1e-6)


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.74, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((255, 255, 255), (100, 0, 0)),
        ((0, 0, 0), (0, 0, 0)),
    ],
)
def test_lab_of_primaries_is_as_defined(rgb, lab):
    # CIE 15 with the matrix of IEC 61966-2-1; 0.03 for the rounding of white.
    np.testing.assert_allclose(_lab(*rgb), lab, atol=0.03)


@pytest.mark.parametrize(("light", "lightness"), [(0.18, 49.496), (0.184187, 50.0), (0.0, 0.0)])
def test_lightness_of_grey_is_as_defined(light, lightness):
    # CIE 15
    grey = np.full((1, 3), light, np.float32)
    np.testing.assert_allclose(lab_from_linear(grey)[0], (lightness, 0, 0), atol=1e-3)


@pytest.mark.parametrize(("code", "lightness"), [(128, 53.585), (119, 50.034)])
def test_lightness_of_grey_codes_is_as_defined(code, lightness):
    # IEC 61966-2-1 and CIE 15
    assert _lab(code, code, code)[0] == pytest.approx(lightness, abs=1e-3)


def test_lab_agrees_with_an_independent_implementation():
    # scikit-image, rgb2lab.
    rng = np.random.default_rng(6)
    rgb = rng.integers(0, 256, (2000, 3), np.uint8)
    ours = lab_from_linear(linear_srgb(rgb, srgb_encoding()))
    theirs = color.rgb2lab(rgb)
    # The other one rounds its matrix and its white to other places: at most 0.02 was seen.
    assert delta_e_2000(ours, theirs).max() < 0.02


def test_lab_of_16_bits_continues_that_of_8_bits():
    eight = np.array([[40, 80, 160], [250, 3, 77]], np.uint8)
    fine = eight.astype(np.uint16) * 257
    np.testing.assert_allclose(
        linear_srgb(fine, srgb_encoding(65536)), linear_srgb(eight, srgb_encoding()), atol=1e-6
    )


def test_hue_of_blue_is_measured_from_red_counter_clockwise():
    chroma, hue = chroma_hue(np.array([[50.0, 3.0, 4.0], [50, 0, -2], [50, -1, 0]], np.float32))
    np.testing.assert_allclose(chroma, (5, 2, 1), rtol=1e-6)
    np.testing.assert_allclose(hue, (53.1301, 270, 180), atol=1e-3)


def test_white_points_are_the_published_ones():
    # D65 of CIE 15 as x, y; D50 of ICC.1:2022.
    x, y = D65_XY
    np.testing.assert_allclose(WHITE_XYZ, (x / y, 1, (1 - x - y) / y), atol=1e-3)
    np.testing.assert_allclose(D50_XYZ, (0.9642, 1, 0.8249))


def test_bradford_takes_daylight_white_to_print_white():
    # Lam 1985 as used by ICC profiles (transform from memory, entries computed from the whites).
    d65, d50 = np.array([0.95047, 1, 1.08883]), np.array([0.96422, 1, 0.82521])
    matrix = adaptation(d65, d50)
    published = [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]]
    np.testing.assert_allclose(matrix, published, atol=3e-4)
    np.testing.assert_allclose(matrix @ d65, d50, atol=1e-12)


def test_display_p3_becomes_linear_srgb_by_the_published_primaries():
    # Computed from the published primaries of SMPTE EG 432-1, white D65; a version 4 profile has 16-bit fractions.
    published = [[1.2249, -0.2249, 0], [-0.0421, 1.0421, 0], [-0.0196, -0.0786, 1.0983]]
    np.testing.assert_allclose(_p3().to_linear_srgb, published, atol=2e-4)
    np.testing.assert_allclose(_p3().curves, srgb_encoding().curves, atol=1e-4)
    assert _p3().name == "Display P3"


def test_a_blue_outside_srgb_is_not_clipped():
    blue = np.array([[20, 60, 220]], np.uint8)
    light = linear_srgb(blue, _p3())[0]
    assert light[0] < 0
    # Nothing is lost: the way back gives the light of the codes.
    back = np.linalg.solve(_p3().to_linear_srgb, light)
    np.testing.assert_allclose(back, srgb_curve()[blue[0]], atol=1e-5)
    assert linear_srgb(np.array([[0, 0, 255]], np.uint8), _p3())[0, 2] > 1.09


@pytest.mark.parametrize(
    ("rgb", "error"),
    [
        ((40, 80, 160), 1.78),
        ((60, 110, 200), 2.21),
        ((120, 100, 80), 2.06),
        ((255, 0, 0), 6.82),
        ((128, 128, 128), 0.0),
    ],
)
def test_a_p3_photo_taken_for_srgb_is_off_by_what_the_primaries_say(rgb, error):
    # Computed with colour-science 0.4.7 from SMPTE EG 432-1 and IEC 61966-2-1.
    codes = np.array([rgb], np.uint8)
    right = lab_from_linear(linear_srgb(codes, _p3()))
    wrong = lab_from_linear(linear_srgb(codes, srgb_encoding()))
    assert delta_e_2000(right, wrong)[0] == pytest.approx(error, abs=0.02)
