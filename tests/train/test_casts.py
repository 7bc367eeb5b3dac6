"""Casts: the colours of daylight and lamps against CIE's, and how strong a draw of them is."""

import numpy as np
import pytest

from grader.photo.colour import XYZ_FROM_LINEAR_SRGB
from grader.train.casts import daylight_or_lamp, draw_cast


@pytest.mark.parametrize(
    ("kelvin", "x", "y", "off"),
    [
        # CIE 15: chromaticities of D65 (6504 K), D50 (5003 K), D75 (7504 K), and of A (a Planckian body at 2856 K).
        (6504, 0.3127, 0.3290, 3e-4),
        (5003, 0.3457, 0.3585, 3e-4),
        (7504, 0.2990, 0.3149, 3e-4),
        (2856, 0.4476, 0.4074, 1e-3),
    ],
)
def test_a_light_has_the_colour_that_cie_gives(kelvin, x, y, off):
    xyz = XYZ_FROM_LINEAR_SRGB.astype(float) @ daylight_or_lamp(kelvin)
    assert xyz[:2] / xyz.sum() == pytest.approx([x, y], abs=off)


def test_casts_are_mostly_weak_and_at_times_as_strong_as_a_bulb():
    rng = np.random.default_rng(0)
    ratios = np.log(np.array([draw_cast(rng) for _ in range(2000)]))
    warm = ratios[:, 0] - ratios[:, 2]
    assert np.median(np.abs(warm)) < 0.5
    assert np.quantile(warm, 0.95) > 0.8 and np.quantile(warm, 0.05) < -0.2
