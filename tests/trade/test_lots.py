"""Lots of a set weight: none short, as many as can be, little given away."""

from itertools import product

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from published_packing import PUBLISHED, pieces_of

from grader.trade.lots import lots_by_hand, make_lots

pieces = st.lists(st.integers(1, 60), min_size=1, max_size=8)


def sound(grams, size, lots):
    """Every piece at most once, none short, what is left told."""
    used = [i for lot in lots.lots for i in lot.pieces]
    assert sorted([*used, *lots.left]) == list(range(len(grams)))
    for lot in lots.lots:
        assert lot.grams == sum(grams[i] for i in lot.pieces) >= size
        assert lot.over_g == lot.grams - size


def test_the_published_instance_comes_within_one_of_all_that_weighs_enough():
    """u120_00, read as covering."""
    grams = pieces_of(PUBLISHED["u120_00"][1])
    assert (len(grams), sum(grams)) == (120, 7078)
    lots = make_lots(grams, 150)
    sound(grams, 150, lots)
    assert len(lots.lots) >= 7078 // 150 - 1


@pytest.mark.parametrize("seed", range(50))
def test_a_planted_optimum_is_missed_by_one_at_most(seed):
    rng = np.random.default_rng(seed)
    grams = []
    count = int(rng.integers(5, 20))
    for _ in range(count):
        cuts = np.sort(rng.choice(np.arange(20, 481), int(rng.integers(1, 6)), replace=False))
        grams += [int(g) for g in np.diff([0, *cuts, 500]) if g > 0]
    lots = make_lots(grams, 500, tries=10)
    sound(grams, 500, lots)
    assert len(lots.lots) >= count - 1


def most_by_all_ways(grams, size):
    """Every way to put pieces into lots, as many lots as pieces, or into none (place 0)."""
    most, places_in_all = 0, len(grams) + 1
    for places in product(range(places_in_all), repeat=len(grams)):
        sums = np.bincount(places, grams, minlength=places_in_all)[1:]
        most = max(most, int((sums >= size).sum()))
    return most


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=5), st.integers(30, 90))
@example([30] * 5, 30)
def test_with_few_pieces_no_way_gives_more(grams, size):
    lots = make_lots(grams, size, tries=1)
    sound(grams, size, lots)
    assert lots.proved
    assert len(lots.lots) == most_by_all_ways(grams, size)


@given(pieces, st.integers(1, 120), st.integers(1, 3), st.integers(0, 3))
def test_no_lot_has_fewer_or_more_pieces_than_asked_for(grams, size, fewest, more):
    lots = make_lots(grams, size, fewest=fewest, most=fewest + more, tries=3)
    sound(grams, size, lots)
    assert all(fewest <= len(lot.pieces) <= fewest + more for lot in lots.lots)
    assert len(lots.lots) <= lots.most


@pytest.mark.slow
def test_of_three_hundred_pieces_hardly_anything_is_given_away():
    grams = [int(g) for g in np.random.default_rng(3).lognormal(np.log(110), 0.5, 300)]
    assert np.median(grams) <= 500 / 4
    lots = make_lots(grams, 500)
    sound(grams, 500, lots)
    assert lots.over_share <= 0.005
    assert len(lots.lots) >= sum(grams) // 500 - 1


def test_the_same_seed_gives_the_same_lots():
    grams = list(range(20, 90))
    assert make_lots(grams, 150, seed=4) == make_lots(grams, 150, seed=4)


@pytest.mark.parametrize("grams, size, limits", [
    ([0, 5], 10, {}), ([5], 0, {}), ([5], 10, {"fewest": 0}), ([5], 10, {"fewest": 3, "most": 2}),
])  # fmt: skip
def test_what_cannot_be_is_refused(grams, size, limits):
    with pytest.raises(ValueError):
        make_lots(grams, size, **limits)


def test_lots_by_hand_weigh_what_their_pieces_do_and_may_be_short():
    made = lots_by_hand([300, 290, 220, 210], 500, [[0, 3], [2]])
    assert [(lot.pieces, lot.grams, lot.over_g) for lot in made.lots] == [
        ((0, 3), 510, 10),
        ((2,), 220, -280),
    ]
    assert (made.left, made.most) == ((1,), 2)
