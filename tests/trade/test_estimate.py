"""What a stone may weigh by the size of its face, against solids whose weight is known."""

from math import pi

import numpy as np
import pytest

from grader.trade.estimate import OWN_PIECES, chunk_g, own_g, own_heft, plausible_g, slab_g

POUND = 453.59237


def test_a_pound_as_a_chunk_lies_in_its_range():
    # A pound is 174.5 cm3 at 2.60 g/cm3, a cube of 5.6 cm (by hand: 453.59 / 2.60). As an ellipsoid with three
    # axes alike, which fills pi / 6 = 52 % of its box, its middle is a circle of 3/2 V / d.
    d = (174.5 * 6 / pi) ** (1 / 3)
    low, high = chunk_g(pi * d**2 / 4, (2.6, 2.6))
    assert low < POUND < high


@pytest.mark.parametrize("density", [2.4, 2.65, 2.9])
def test_the_range_grows_as_a_body_does(density):
    # Twice as long each way is eight times the weight.
    small, large = chunk_g(10, (density, density)), chunk_g(40, (density, density))
    assert large == pytest.approx([8 * one for one in small])


def test_a_slab_weighs_area_times_thickness():
    # 229 cm2 of slab at 1/4 in and 0.050 in for the saw come from a pound without end loss (by hand:
    # 174.5 cm3 / 0.762 cm): without the saw's part, which is 16.7 %, the slabs weigh 83.3 % of it at 2.60 g/cm3.
    low, high = slab_g(229, (6.35, 6.35), (2.6, 2.6))
    assert low == high == pytest.approx(POUND * (1 - 0.167), rel=2e-3)


def test_ones_own_weighed_pieces_tell_better_than_the_shares_from_memory():
    rng = np.random.default_rng(3)
    areas = rng.uniform(5, 60, 200)
    grams = areas**1.5 * rng.uniform(0.9, 1.1, 200)
    heft = own_heft(list(zip(areas, grams, strict=True)))
    assert heft == pytest.approx(np.quantile(grams / areas**1.5, (0.05, 0.95)))
    own = own_g(20, heft)
    assert own[1] / own[0] < 1.3 < chunk_g(20)[1] / chunk_g(20)[0]
    assert own_heft([(5.0, 10.0)] * (OWN_PIECES - 1)) is None
    inside = [own_g(a, heft) for a in areas]
    held = np.mean([low <= g <= high for (low, high), g in zip(inside, grams, strict=True)])
    assert 0.85 <= held <= 0.95


def test_only_what_cannot_be_is_odd():
    low, high = plausible_g(20)
    # A slab of 6 mm and a block as deep as its face is long are stones as others; a pound typed as grams is not.
    assert low < slab_g(20, (6, 6))[0] and high > 20**1.5 * 2.65
    for typed in (1.35, 612 * 453.59, 612_000):
        assert not low <= typed <= high
