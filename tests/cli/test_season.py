"""Hauls side by side, stock, cost and first guesses; invented, sums worked out by hand."""

from datetime import date, timedelta
from decimal import Decimal as D

import pytest

from grader.trade.haul import Part
from grader.trade.season import by_age, sold_a_week, stock_cost, weeks_left

TODAY = date(2025, 7, 1)


def ago(days):
    return (TODAY - timedelta(days)).isoformat()


def test_stock_is_told_by_age_and_only_what_is_there_for_sale():
    stock = [
        (ago(0), Part("singles", D(100), money=D(5))),
        (ago(30), Part("sorted", D(200))),
        (ago(31), Part("lots", D(400), money=D(8))),
        (ago(400), Part("chips", D(50))),
        (ago(400), Part("waste", D(9000))),
        (ago(9), Part("singles", D(70), money=D(9), sold=True)),
    ]
    told = [(b.days, b.parts, b.grams, b.asked) for b in by_age(stock, TODAY)]
    assert told == [
        ((0, 30), 2, D(300), D(5)),
        ((31, 90), 1, D(400), D(8)),
        ((366, None), 1, D(50), D(0)),
    ]


def test_weeks_of_stock_left_go_by_what_was_sold_of_late():
    # 12 weeks with 2,400 g sold are 200 g a week; older sales do not count.
    sold = [(ago(1), D(400)), (ago(80), D(2000)), (ago(200), D(9999))]
    a_week = sold_a_week(sold, TODAY)
    assert a_week == 200 and weeks_left(D(1000), a_week) == D("5.0")
    # Since the first sale where that is less, a week at least.
    assert sold_a_week([(ago(13), D(300)), (ago(0), D(100))], TODAY) == 200
    assert sold_a_week([(ago(0), D(70))], TODAY) == 70
    assert sold_a_week([(ago(99), D(70))], TODAY) is None and weeks_left(D(5), None) is None


def test_stock_at_cost_is_what_is_left_of_each_trips_money_by_weight():
    costs, weights = (
        {"a": D(100), "b": D(60)},
        {"a": (D(25), D(100)), "c": (D(5), D(5)), "b": (D(0), D(9))},
    )
    assert stock_cost(costs, weights) == D("25.00")


def test_trips_are_compared_with_stock_cost_and_what_is_asked_apart(example):
    example("trip", "cost", "1", "84", "--currency", "USD", "--note", "fuel")
    example("trip", "new", "South <b>cut</b>", "--spot", "gully", "--hours", "5")
    example("haul", "new", "08", "--trip", "2", "--raw", "10lb")
    example("haul", "add", "08", "sorted", "5lb", "--grade", "cabbing")
    example("sell", "08-B1=1lb")
    told = example("haul", "report", "--unit", "lb", "--json")
    first, second = told["trips"]
    assert (first["name"], first["total"], first["cost"]) == (
        "trip 1, North bench",
        "1272.00",
        "84",
    )
    assert (second["total"], second["hand_hours"]) == ("60.00", None)
    assert [row["name"] for row in told["spots"]] == ["upper seam", "gully"]
    # All of trip 1 is there still: all of its cost is in stock; of trip 2 none was noted.
    assert (told["stock_at_cost"], told["trips_without_cost"]) == ("84.00", [2])
    # 1,272 and 4 lb at 12; 1 lb was sold in the first week, 88 lb are there.
    assert (told["stock_asked"], told["weeks_left"]) == ("1320.00", "88.0")
    text = example("haul", "report", "--unit", "lb")
    for words in ("per hour 212.00", "per hand and hour 70.67", "stock for 88.0 weeks",
                  "asked for it 1,320.00 USD: not a cost", "0 to 30 days old"):  # fmt: skip
        assert words in text
    example("haul", "report", "--out", "all")
    page = (example.folder / "all" / "hauls.html").read_text("utf-8")
    assert (
        "South &lt;b&gt;" in page
        and "1,272.00" in page
        and "http" not in page.replace("http-equiv", "")
    )


def test_the_first_guess_stands_beside_the_result(example):
    example("haul", "new", "08", "--raw", "10lb", "--guess", "120")
    example("haul", "add", "08", "sorted", "5lb", "--grade", "cabbing")
    text = example("haul", "report", "08", "--unit", "lb")
    assert "your first guess was 120.00 USD; now 60.00 USD (50 % of that)" in text
    assert example("haul", "report", "08", "--json")["guess"] == "120"


@pytest.fixture
def sampled(example):
    """A bin of which ten pieces were photographed: eight called cabbing, two select."""
    for number in range(10):
        example.cli.photo(f"drawn/{number}.jpg", f"1 {number}")
    refused = example("haul", "add", "07", "unsorted", "30lb", "--sample", "drawn", fails=True)
    assert "was not graded yet; run grader batch" in refused
    example.cli.run("batch", "drawn", "--mm-per-px", "0.5")
    for number in range(10):
        grade = "select" if number < 2 else "cabbing"
        ran = example.cli.run("call", f"drawn/{number}.jpg", "--mm-per-px", "0.5", "--grade", grade)
        assert ran.exit_code == 0, ran.output
    example("haul", "add", "07", "unsorted", "30lb", "--sample", "drawn")
    return example


@pytest.mark.slow
def test_a_bin_by_weight_is_told_by_a_random_sample_of_photos(sampled):
    told = sampled("haul", "report", "07", "--unit", "lb", "--json")
    shares = told["bins"][0]["shares"]
    # Wilson, worked out with statsmodels: 2 of 10 is 5.7 to 51.0 %.
    assert shares["select"]["low"] == pytest.approx(0.0567, abs=1e-3)
    assert shares["select"]["high"] == pytest.approx(0.5098, abs=1e-3)
    # It is worth nothing until it is sorted, but may come to what its shares come to: 30 lb between 12 and 24.
    assert told["worth"]["total"] == "1272.00"
    low, _, high = told["may_come_to"]
    assert 1272 - 460 + 300 < low < high < 1272 + 30 * 24
    assert "select 20 % (6 to 51 %)" in sampled("haul", "report", "07", "--unit", "lb")


@pytest.mark.slow
def test_ranges_follow_the_chances_of_grades_and_what_the_seller_says_of_sales(example):
    for number in range(6):
        example.cli.photo(f"photos/{number}.jpg", f"1 {number}")
    example("haul", "new", "08", "--raw", "10lb")
    example.cli.run("batch", "photos", "--haul", "08", "--mm-per-px", "0.5")
    rows = [f"08-{n:03d},1lb" for n in range(1, 7)]
    (example.folder / "w.csv").write_text("\n".join(["piece,weight", *rows]))
    example("weigh", "--from", "w.csv")
    told = example("haul", "report", "08", "--unit", "lb", "--json")
    low, middle, high = told["may_come_to"]
    # 6 lb of unsettled grade: between all tumbling (or waste, worth nothing) and all select.
    assert 0 <= low < middle < high <= 6 * 24
    assert {kind["size"] for kind in told["by_kind"]} != {None}
    example.prices(
        begins="2025-04-01", more="[sells]\nselect = [0.5, 0.5]\ncabbing = 0.5\ntumbling = 0.5\n"
    )
    half = example("haul", "report", "08", "--unit", "lb", "--json")["may_come_to"]
    assert half == pytest.approx([low / 2, middle / 2, high / 2])
    text = example("haul", "report", "08", "--unit", "lb")
    assert "what you say is sold" in text
    # 10 lb came out of the ground: what all may come to, by the pound.
    cents = [f"{round(one / 2, 2) / 10:.2f}" for one in (low, high)]
    assert f"per raw lb, may come to {cents[0]} to {cents[1]}" in text
    example("haul", "report", "08", "--out", "r")
    page = (example.folder / "r" / "haul-08.html").read_text("utf-8")
    assert page.count("data:image/jpeg") == 6 and "What it may come to" in page


@pytest.mark.slow
def test_money_an_hour_is_rounded_half_up_in_both_reports(grader):
    # 157.47 in 6 hours are 26.245.
    grader("trip", "new", "Ledge", "--hours", "6", "--hands", "1")
    grader("haul", "new", "07", "--trip", "1", "--raw", "20lb")
    grader("weigh", "07-1", "1lb", "--new")
    grader.prices()
    grader("sell", "07-1", "--for", "157.47")
    assert "26.25 USD per hour" in grader("haul", "report", "07", "--unit", "lb")
    assert "per hour 26.25, per hand and hour 26.25" in grader("haul", "report", "--unit", "lb")


@pytest.mark.slow
def test_a_lot_that_was_sold_before_it_was_weighed_counts_as_sold_stone(grader):
    grader("haul", "new", "07", "--raw", "5kg")
    for number in (1, 2, 3, 4):
        grader("weigh", f"07-{number}", "500g", "--new")
        photo = grader.cli.photo(f"photos/{number}.jpg", f"1 {number}")
        grader.cli.run("call", photo, "--grade", "cabbing")
        grader("haul", "photo", f"07-{number}", photo)
    made = grader("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "900g")
    assert "lot 07-L2: 1000 g" in made
    grader.prices()
    grader("sell", "07-L1", "--for", "20")
    told = grader("haul", "report")
    # 1,000 g are sold in the first week, and 1,000 g are there.
    assert "1.000 kg sold a week of late" in told and "stock for 1.0 weeks" in told


def test_a_cost_is_in_the_currency_of_the_prices_and_one_in_another_is_not_told_as_none(example):
    example("trip", "cost", "1", "85", "--currency", "EUR")
    assert "no cost was noted in USD" in example("haul", "report")
    assert "85.00 USD" in example("trip", "cost", "1", "85")
    assert "stock at cost 85.00 USD" in example("haul", "report")


def test_a_cost_without_any_currency_asks_for_one(grader):
    grader("trip", "new", "Ledge")
    told = grader("trip", "cost", "1", "85", fails=True)
    assert "no currency is known; say it with --currency USD" in told
