"""Structure tensor and axial statistics against values worked out or published elsewhere."""

import numpy as np
import pytest

from grader.face.bands.structure import axial_mean, axial_spread, circular_mean, structure_tensor


def wave(angle_deg, period=16.0, shape=(256, 256)):
    """A sine wave whose crests are square to ``angle_deg`` (x right, y up)."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(float)
    a = np.radians(angle_deg)
    return np.sin(2 * np.pi / period * (x * np.cos(a) - y * np.sin(a)))


def whole(gray):
    return structure_tensor(gray, np.ones(gray.shape, bool), np.inf)


@pytest.mark.parametrize("angle", [0.0, 17.0, 30.0, 90.0, 141.0])
def test_one_wave_is_fully_coherent_and_its_stripes_are_square_to_it(angle):
    # Computed from the definition: c = 1; a 3x3 Sobel at period 16 reads 17 deg as 16.83.
    orientation, coherence = whole(wave(angle))
    assert coherence > 0.999
    assert abs((orientation - (angle + 90) + 90) % 180 - 90) < 0.3


@pytest.mark.parametrize("r", [1.0, 0.5, 0.25])
def test_two_crossed_waves_have_the_exact_coherence(r):
    # Exact: (1 - r^2) / (1 + r^2), over whole periods (the mask leaves 16 periods inside).
    gray = wave(0, shape=(258, 258)) + r * wave(90, shape=(258, 258))
    assert abs(whole(gray)[1] - (1 - r**2) / (1 + r**2)) < 1e-6


def test_noise_has_no_direction():
    noise = np.random.default_rng(1).normal(size=(224, 224))
    assert whole(noise)[1] < 0.02


@pytest.mark.parametrize(
    ("sd", "expected"), [(0.1, 0.951), (0.2, 0.830), (0.5, 0.438), (1.0, 0.161)]
)
def test_coherence_falls_with_noise_as_computed(sd, expected):
    # Our own derivation, no source: white noise adds as much to both sums of squares.
    gray = wave(0, shape=(224, 224)) + np.random.default_rng(0).normal(size=(224, 224)) * sd
    assert abs(whole(gray)[1] - expected) < 0.02


def test_rings_are_coherent_only_locally():
    y, x = np.mgrid[:225, :225] - 112.0
    radius = np.hypot(x, y)
    rings, disc = np.sin(2 * np.pi / 16 * radius), radius < 110
    assert structure_tensor(rings, disc, np.inf)[1] < 0.01
    local = structure_tensor(rings, disc, 4.0)[1]
    assert np.median(local[(radius > 24) & (radius < 100)]) > 0.95


def test_the_edge_of_the_mask_is_no_structure():
    gray = np.where(np.arange(64)[:, None] < 32, 0.0, 1.0) * np.ones((64, 64))
    half = np.zeros((64, 64), bool)
    half[:32] = True
    assert structure_tensor(gray, half, np.inf)[1] == 0


# Mardia 1972, Fisher 1993 (from memory); values computed from the doubled angles.
@pytest.mark.parametrize(
    ("deg", "axis", "resultant"),
    [
        ([10, 170], 0, 0.9397),
        ([0, 10, 20], 10, 0.9598),
        ([0, 60, 120], None, 0),
        ([0, 90], None, 0),
        ([5, 175, 0], 0, 0.9899),
    ],
)
def test_axial_mean_takes_10_and_170_as_neighbours(deg, axis, resultant):
    mean, length = axial_mean(np.array(deg))
    assert abs(length - resultant) < 1e-4
    assert axis is None or abs((mean - axis + 90) % 180 - 90) < 1e-4


# Davis 1986, Statistics and Data Analysis in Geology, p. 316: 51 glacial striae, degrees.
STRIAE = [
    23, 27, 53, 58, 64, 83, 85, 88, 93, 99, 100, 105, 113, 113, 114, 117, 121, 123, 125, 126,
    126, 126, 127, 127, 128, 128, 129, 132, 132, 132, 134, 135, 137, 144, 145, 145, 146, 153,
    155, 155, 155, 157, 163, 165, 171, 172, 179, 181, 186, 190, 212,
]  # fmt: skip


def test_glacial_striae_as_directions_and_as_axes():
    # Published R = 0.800 as directions (manual of the R package tectonicr); more digits and the
    # axes recomputed.
    mean, resultant = circular_mean(np.array(STRIAE))
    assert abs(resultant - 0.80037) < 1e-4
    assert abs(mean - 129.19) < 0.01
    axis, axial = axial_mean(np.array(STRIAE))
    assert abs(axial - 0.46629) < 1e-4
    assert abs(axis - 134.37) < 0.01


def test_weights_count_as_repeats():
    assert axial_mean(np.array([10.0, 60.0]), np.array([3, 1])) == pytest.approx(
        axial_mean(np.array([10.0, 10.0, 10.0, 60.0]))
    )


def test_axial_spread_is_half_the_spread_of_the_doubled_angles():
    # Mardia 1972 and Fisher 1993 (from memory): sqrt(-2 ln R). Davis's striae as axes have R = 0.46629
    # (above): 35.39 degrees; {10, 170} has R = cos 20 = 0.93969: 10.10 degrees.
    _, striae = axial_mean(np.array(STRIAE))
    assert axial_spread(striae) == pytest.approx(35.39, abs=0.02)
    assert axial_spread(axial_mean(np.array([10.0, 170.0]))[1]) == pytest.approx(10.10, abs=0.02)
    assert axial_spread(1.0) == 0


@pytest.mark.parametrize("sd", [3.0, 8.0])
def test_axial_spread_of_narrow_directions_is_their_standard_deviation(sd):
    deg = 175 + np.random.default_rng(3).normal(0, sd, 20000)
    assert axial_spread(axial_mean(deg % 180)[1]) == pytest.approx(sd, rel=0.03)
