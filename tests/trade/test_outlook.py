"""Ranges of what a haul may come to, against shares and sums that are known."""

import numpy as np
import pytest

from grader.trade.outlook import Spread, Stock, outlook, wilson

LADDER = ("waste", "tumbling", "cabbing", "select")


# Wilson 1927, J. Am. Stat. Assoc. 22:209-212, by hand: 10 % in a random 50 is a true share of 4 to 21 %, in a random
# 100 of 6 to 17 % (95 %).
@pytest.mark.parametrize(("count", "of", "low", "high"), [(5, 50, 4, 21), (10, 100, 6, 17)])
def test_a_share_in_a_random_sample_has_wilsons_interval(count, of, low, high):
    told = wilson(count, of)
    assert (round(100 * told.low), round(100 * told.high)) == (low, high)


# The same by hand: 80 % of 30 is 63 to 90 %, of 60 it is 68 to 88 %.
@pytest.mark.parametrize(("count", "of", "low", "high"), [(24, 30, 63, 90), (48, 60, 68, 88)])
def test_the_interval_of_a_large_share(count, of, low, high):
    told = wilson(count, of)
    assert (100 * told.low, 100 * told.high) == pytest.approx((low, high), abs=1)


def test_none_or_all_of_a_sample_is_no_certainty():
    assert wilson(0, 20).low == 0 < wilson(0, 20).high
    assert wilson(20, 20).low < 1 == wilson(20, 20).high
    with pytest.raises(ValueError):
        wilson(0, 0)


def test_the_interval_holds_the_true_share_in_nineteen_of_twenty_samples():
    rng = np.random.default_rng(1)
    for share in (0.05, 0.3, 0.6):
        counts = rng.binomial(60, share, 4000)
        held = np.mean([wilson(c, 60).low <= share <= wilson(c, 60).high for c in counts])
        assert 0.93 <= held <= 0.975


def test_what_is_settled_is_no_range():
    told = outlook([Stock(500, {"select": 20}, {"select": 1.0}, size="40x30")], LADDER, Spread())
    assert told.total.money == (20, 20, 20) and told.total.grams == (500, 500, 500)
    assert set(told.by_kind) == {("select", "40x30")}


def test_many_stones_come_to_their_mean_and_spread_as_chance_has_it():
    # 400 stones, each select with 0.3 at 10 or cabbing at 2: mean 400 x 4.4, deviation sqrt(400 x 0.21) x 8.
    stones = [Stock(100, {"select": 10, "cabbing": 2}, {"cabbing": 0.7, "select": 0.3})] * 400
    low, middle, high = outlook(stones, LADDER, Spread()).total.money
    assert middle == pytest.approx(1760, abs=10)
    assert high - low == pytest.approx(2 * 1.2816 * np.sqrt(400 * 0.21) * 8, rel=0.1)


def test_prices_and_sales_widen_it_and_a_part_that_is_not_sold_lowers_it():
    stone = [Stock(1000, {"select": 100}, {"select": 1.0})]
    low, middle, high = outlook(stone, LADDER, Spread((0.8, 1.2))).total.money
    # Of an even spread eight in ten lie between its tenth parts.
    assert (low, middle, high) == pytest.approx((84, 100, 116), abs=1.5)
    half = outlook(stone, LADDER, Spread(sells={"select": (0.5, 0.5)})).total.money
    assert half == pytest.approx((50, 50, 50))


def test_a_bin_told_by_a_sample_comes_to_its_shares():
    counts = {"select": 5, "cabbing": 45}
    told = outlook(
        [Stock(10_000, {"select": 1000, "cabbing": 100}, counts=counts)], LADDER, Spread()
    )
    low, middle, high = told.by_kind["select", None].grams
    # The shares of the notes, 4 to 21 %, are 95 %; eight in ten lie within.
    assert 400 < low < 1000 < high < 2100 and middle == pytest.approx(1000, rel=0.15)
    assert sum(ranges.grams[1] for ranges in told.by_kind.values()) == pytest.approx(
        10_000, rel=0.05
    )


def test_the_same_seed_gives_the_same_and_nothing_comes_to_nothing():
    stones = [Stock(1, {"select": 1}, {"cabbing": 0.5, "select": 0.5})] * 9
    assert outlook(stones, LADDER, Spread(), 3) == outlook(stones, LADDER, Spread(), 3)
    assert outlook([], LADDER, Spread()).total.money == (0, 0, 0)


def test_what_has_no_price_is_told_so_and_not_as_nothing():
    stock = [Stock(500, {"select": 20.0}, {"select": 1.0}), Stock(300, {}, {"chips": 1.0})]
    told = outlook(stock, ["select"], Spread())
    assert {kind: one.priced for kind, one in told.by_kind.items()} == {
        ("select", None): True,
        ("chips", None): False,
    }
