"""The balance of a haul, and a price divided: sums that can be done by hand, and what always holds."""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from grader.trade.haul import Part, balance, money_per, shares_of, worth
from grader.trade.weighing import Parts

MONEY = st.decimals(0, 100_000, places=2)
WEIGHTS = st.lists(st.decimals(D("0.1"), 50_000, places=3), min_size=1, max_size=30)


def test_a_balance_adds_up_and_tells_what_is_guessed_or_not_weighed():
    parts = [
        Part("singles", D(400)),
        Part("singles", None),
        Part("waste", D("100.5"), guessed=True),
        Part("waste", D(50)),
    ]
    told = balance(D(1000), parts)
    assert [(r.row, r.parts, r.grams, r.guessed_g, r.unweighed) for r in told.rows] == [
        ("singles", 2, D(400), D(0), 1),
        ("waste", 2, D("150.5"), D("100.5"), 0),
    ]
    assert (told.gap_g, told.saleable_g) == (D("449.5"), D(400))


def test_waste_is_worth_nothing_and_what_was_got_stands_apart_from_what_is_asked():
    parts = [
        Part("singles", D(400), money=D(9), sold=True),
        Part("lots", D(500), money=D("7.50")),
        Part("sorted", D(100)),
        Part("waste", D(100), money=D(5)),
    ]
    told = worth(parts)
    assert (told.got, told.asked, told.total, told.unpriced) == (D(9), D("7.50"), D("16.50"), 1)
    assert told.grams == 1000


def test_money_per_weight_is_to_the_cent_and_none_without_weight():
    # By hand: 1272 / 120 and 1272 / 84, to the cent.
    pound = D("453.59237")
    assert money_per(D(1272), 120 * pound) == D("10.60")
    assert money_per(D(1272), 84 * pound) == D("15.14")
    assert money_per(D(1), D(0)) is None


@given(total=MONEY, weights=WEIGHTS)
def test_shares_of_a_price_add_up_to_it_and_none_is_off_by_a_cent(total, weights):
    shares = shares_of(total, weights)
    assert sum(shares) == total
    exact = [total * weight / sum(weights) for weight in weights]
    assert all(abs(one - other) < D("0.011") for one, other in zip(shares, exact, strict=True))


def test_the_parts_of_a_broken_piece_stand_to_it():
    assert Parts("07-001", D(1000), D(940), D(50)).gap_g == 10
    assert Parts("07-001", D(1000), D(960), D(50)).gap_g == -10
