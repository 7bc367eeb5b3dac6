"""Keep or break: what can be worked out by hand, and what must hold whatever is drawn."""

import numpy as np
import pytest

from grader.settings import BreakRanges
from grader.trade.keep import (
    Breakable,
    PartWorth,
    Trials,
    judged,
    plan_near,
    spread,
    tried,
    usual_plan,
)

#: A world without chance: what is struck opens, nothing else does, nothing is lost.
SURE = BreakRanges((1, 1), (0, 0), (0, 0), (0, 0), (0, 0))
#: Two cells of 60 and 40 %, one line between them.
HALVES = Breakable(500.0, (0.6, 0.4), (1.0,), ((0, 0), (0, 1)))
#: Three cells in a row, two lines.
ROW = Breakable(1000.0, (0.5, 0.3, 0.2), (0.9, 0.6), ((0, 0, 0), (0, 1, 1), (0, 0, 1), (0, 1, 2)))


def only(per_g):
    return PartWorth((1.0,), (per_g,))


def trials(stone=HALVES, plan=1, worth_of=lambda cells: only(1.0), ranges=SURE, seed=3, n=2000):
    return tried(stone, plan, worth_of, ranges, np.random.default_rng(seed), n)


def test_where_nothing_is_lost_and_a_gram_costs_the_same_both_ways_bring_the_same():
    done = trials()
    assert done.whole == pytest.approx(500)
    assert done.broken == pytest.approx(500)
    assert judged(done).advice == "yours to say"


def test_the_break_even_price_is_what_the_parts_bring():
    # By hand: 60 % of 500 g at 2.00 and 40 % at 0.50, in the mean 700.
    worth = {(0, 1): only(1.0), (0,): only(2.0), (1,): only(0.5)}
    told = judged(trials(worth_of=worth.__getitem__, n=20_000))
    assert told.break_even == pytest.approx(700, rel=0.01)
    assert told.whole.low == told.whole.high == 500
    assert told.advice == "break"


def test_parts_that_are_worth_less_are_not_made():
    worth = {(0, 1): only(1.0), (0,): only(0.5), (1,): only(0.2)}
    assert judged(trials(worth_of=worth.__getitem__)).advice == "keep"


def test_a_difference_within_its_doubt_is_the_sellers_to_say():
    rng = np.random.default_rng(0)
    whole = rng.normal(10, 3, 1000)
    assert judged(Trials(whole, whole + rng.normal(0.5, 2, 1000), whole, ())).advice == "yours to say"  # fmt: skip


def test_a_blow_that_parts_nothing_only_bruises():
    closed = Breakable(500.0, (0.6, 0.4), (0.0,), ((0, 0), (0, 1)))
    done = trials(closed, ranges=BreakRanges(breaks_more=(0, 0)), worth_of=lambda c: only(1.0))
    assert [(way.opened, len(way.grams)) for way in done.ways] == [(0, 1)]
    assert (done.broken <= done.whole).all() and done.broken == pytest.approx(500, rel=0.01)


def test_weights_of_parts_add_up_to_the_stone_less_its_loss():
    done = trials(ranges=BreakRanges(), n=500)
    for way in done.ways:
        assert sum(way.grams) < 500
    assert sum(way.chance for way in done.ways) == pytest.approx(1)
    two = next(way for way in done.ways if len(way.grams) == 2)
    assert two.low_g[0] < two.grams[0] < two.high_g[0]
    assert two.grams[0] == pytest.approx(300, rel=0.1)


def test_lines_that_nobody_strikes_may_open_too_and_struck_ones_may_not():
    ways = trials(ROW, plan=0b10, ranges=BreakRanges(breaks_more=(0, 0))).ways
    chance = {way.opened: way.chance for way in ways}
    # Struck it opens in 0.6 of stones, where it is a crack, times 0.75 to 0.98.
    assert chance[0b10] + chance[0b11] == pytest.approx(0.6 * 0.865, abs=0.04)
    assert 0 < chance[0b01] + chance[0b11] < 0.4


def test_grades_are_drawn_by_their_chances():
    worth = PartWorth((0.2, 0.5, 0.3), (0.0, 1.0, 3.0))
    money = trials(worth_of=lambda cells: worth, n=20_000).whole / 500
    shares = [float(np.mean(money == each)) for each in worth.per_g]
    assert shares == pytest.approx(worth.chances, abs=0.015)


def test_chips_of_the_loss_are_sold():
    lossy = BreakRanges((1, 1), (0, 0), (0, 0), (0.1, 0.1), (0.5, 0.5))
    stone = Breakable(500.0, (0.6, 0.4), (1.0,), ((0, 0), (0, 1)), chips_per_g=0.4)
    # By hand: 450 g at 1.00, and half of 50 g at 0.40.
    assert trials(stone, ranges=lossy).broken == pytest.approx(460)


def test_the_same_seed_gives_the_same_and_a_wider_weight_a_wider_range():
    assert (trials(ranges=BreakRanges()).broken == trials(ranges=BreakRanges()).broken).all()
    guessed = Breakable(500.0, (0.6, 0.4), (1.0,), ((0, 0), (0, 1)), grams_sd_share=0.15)
    wide = spread(trials(guessed).whole)
    # 1.2816 standard deviations to each side hold eight of ten of a normal distribution.
    assert (wide.low, wide.high) == pytest.approx((500 - 96, 500 + 96), rel=0.03)


def test_the_usual_plan_is_along_all_that_parts_likelier_than_not():
    assert usual_plan(ROW) == 0b11
    doubtful = Breakable(1.0, ROW.shares, (0.3, 0.4), ROW.parts)
    assert usual_plan(doubtful) == 0b10


@pytest.mark.parametrize(("grams", "plan"), [(500, 0b01), (800, 0b10), (200, 0b11)])
def test_the_plan_for_a_weight_is_the_one_whose_parts_are_nearest(grams, plan):
    # Parts by hand: 500 and 500; 800 and 200; 500, 300 and 200.
    assert plan_near(ROW, grams) == plan
