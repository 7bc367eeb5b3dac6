"""The seller's price table: what it asks, worked out by hand, and what it refuses."""

from decimal import Decimal as D

import pytest

from grader.errors import SettingsError
from grader.trade.prices import price_by_weight, price_of_chips, price_of_piece, read_price_table


def test_a_price_per_weight_with_size_classes_and_much_taken_at_once():

    table = read_price_table(
        """
        currency = "EUR"
        begins = 2025-01-01
        per = "kg"
        [by_weight]
        select = { any = 20, "40x30" = 35.5 }
        [singles]
        select = 2.5
        [off]
        "5kg" = 10
        "10kg" = 15
        [chips]
        "1kg" = 6
        "500g" = 3.50
        """,
        "PRICES.toml",
    )
    # Worked out by hand.
    assert price_by_weight(table, "select", D(1000)).money == D("20.00")
    assert price_by_weight(table, "select", D(1000), "40x30").money == D("35.50")
    assert price_by_weight(table, "select", D(5000)).money == D("90.00")
    assert price_by_weight(table, "select", D(10000)).money == D("170.00")
    assert price_by_weight(table, "cabbing", D(1000)) is None
    assert price_of_piece(table, "07-001", "select", D(500)).money == D("25.00")
    assert price_of_piece(table, "07-L1", "select", D(500), single=False).money == D("10.00")
    # Half a cent goes up: 0.25 g at 20 a kg is 0.005.
    assert price_by_weight(table, "select", D("0.25")).money == D("0.01")
    assert price_of_chips(table, D(2700)).money == D("15.50")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("currency = 'USD'", "lacks 'begins'"),
        ("currency = 'USD'\nbegins = '2025'\nby_weight = {}", "give a day"),
        ("currency = 'USD'\nbegins = 2025-01-01\nby_weight = {a = '3'}", "give a number"),
        ("currency = 'USD'\nbegins = 2025-01-01\nby_weight = {a = -3}", "give a number"),
        (
            "currency = 'USD'\nbegins = 2025-01-01\nby_weight = {a = nan}",
            "not valid TOML|give a number",
        ),
        (
            "currency = 'USD'\nbegins = 2025-01-01\nby_weight = {}\nspread = [nan, 1]",
            "give two parts",
        ),
        ("currency = 'USD'\nbegins = 2025-01-01\nby_weight = {}\nper = 'stone'", "per is 'stone'"),
        (
            "currency = 'USD'\nbegins = 2025-01-01\nby_weight = {}\noff = {'5kg' = 101}",
            "100 at most",
        ),
        (
            "currency = 'USD'\nbegins = 2025-01-01\nby_weight = {}\nchips = {'5 tons' = 1}",
            "is no unit",
        ),
        ("currency = 'USD'\nbegins = 2025-01-01\nby_wieght = {}", "by_weight"),
        ("currency =", "not valid TOML"),
        (
            "currency = 'USD'\nbegins = 2025-01-01\nby_weight = {}\nby_hand = {'07-1' = 9}",
            "as on the label, 07-001",
        ),
    ],
)
def test_a_price_table_that_cannot_be_is_refused_in_one_line(text, told):
    with pytest.raises(SettingsError, match=told) as refused:
        read_price_table(text, "PRICES.toml")
    assert "\n" not in str(refused.value)
