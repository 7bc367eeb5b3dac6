"""Typed limits added up by day, trip and year: sums by hand. Limits are invented, after the kind that 43 CFR 8365.1-5
sets for public land (so much a day, so much a year)."""

from decimal import Decimal as D

from grader.trade.limits import Limit, Taken, against, against_parcel


def limit(name="permit", most=100, each="day", begins="2025-01-01"):
    return Limit(name, f"{most} g", D(most), each, begins)


TAKEN = (
    Taken("2025-03-01", 1, D(60)),
    Taken("2025-03-01", 2, D(39)),
    Taken("2025-03-02", 2, D(70)),
    Taken("2026-03-02", 3, D(101)),
    Taken(None, None, D(500)),
)


def sums(*limits):
    return [(one.limit.name, one.span, one.grams, one.state) for one in against(limits, TAKEN)]


def test_hauls_add_up_by_day_trip_and_year():
    assert sums(limit()) == [
        ("permit", "2025-03-01", D(99), "near"),
        ("permit", "2025-03-02", D(70), "below"),
        ("permit", "2026-03-02", D(101), "over"),
    ]
    assert [row[1:3] for row in sums(limit(each="trip"))] == [
        ("trip 1", D(60)),
        ("trip 2", D(109)),
        ("trip 3", D(101)),
    ]
    assert [row[1:3] for row in sums(limit(each="year"))] == [("2025", D(169)), ("2026", D(101))]
    assert sums(limit(each="parcel")) == []


def test_exactly_as_much_as_the_limit_is_not_over_it():
    assert [row[3] for row in sums(limit(most=101))] == ["near", "below", "near"]


def test_a_later_limit_of_that_name_counts_from_its_day_on():
    old, new = limit(most=1000), limit(most=50, begins="2025-03-02")
    states = [row[3] for row in sums(old, new)]
    assert states == ["below", "over", "over"]
    assert sums(new, old) == sums(old, new)
    # Before its day nothing is counted; another name is another limit.
    assert [row[1] for row in sums(new)] == ["2025-03-02", "2026-03-02"]
    assert len(sums(old, limit("rule of the land"))) == 6


def test_a_parcel_stands_to_limits_of_parcels_alone():
    post = limit("post", 30_000, "parcel")
    (told,) = against_parcel([limit(), post], D(30_001), "2025-06-01")
    assert (told.limit, told.state) == (post, "over")
    assert against_parcel([post], D(1), "2024-12-31") == []
