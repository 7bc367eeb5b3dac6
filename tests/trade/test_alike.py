"""Which pieces are most like one: made-up measures whose nearest are known."""

import numpy as np
import pytest

from grader.trade.alike import BY, most_alike


def piece(rng, **fixed):
    return {name: float(rng.uniform(1, 2)) for name in BY} | fixed


def test_the_same_piece_is_the_likest_and_order_does_not_matter():
    rng = np.random.default_rng(4)
    sold = [piece(rng) for _ in range(30)]
    first = most_alike(sold[17], sold)
    assert first[0] == (17, 0.0) and len(first) == 5
    turned = most_alike(sold[17], sold[::-1])
    assert [29 - place for place, _ in turned] == [place for place, _ in first]
    apart = [far for _, far in first]
    assert apart == sorted(apart)


def test_units_do_not_matter():
    rng = np.random.default_rng(5)
    sold, own = [piece(rng) for _ in range(20)], piece(rng)
    in_lb = [one | {"weight_g": one["weight_g"] / 453.59237} for one in [*sold, own]]
    assert [p for p, _ in most_alike(own, sold)] == [
        p for p, _ in most_alike(in_lb[-1], in_lb[:-1])
    ]


def test_two_drawn_at_random_are_a_root_of_two_apart():
    # The expected squared difference of two standard normal values is 2.
    rng = np.random.default_rng(6)
    sold = [
        {name: rng.normal() for name in BY if name not in ("area_cm2", "weight_g")}
        for _ in range(400)
    ]
    far = [a for one in sold[:40] for _, a in most_alike(one, sold, 400)]
    assert np.mean(np.square(far)) == pytest.approx(2, abs=0.15)


def test_what_is_not_known_of_a_piece_makes_it_no_nearer():
    rng = np.random.default_rng(7)
    sold = [piece(rng) for _ in range(20)] + [{"weight_g": 1.5}]
    own = dict.fromkeys(BY, 1.5)
    places = [place for place, _ in most_alike(own, sold, 21)]
    assert places[-1] != 20 or places.index(20) > 0
    assert most_alike(own, []) == []
    assert most_alike({}, [{}, {}]) == [(0, 0.0), (1, 0.0)]
