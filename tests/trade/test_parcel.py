"""Boxes by weight and volume, and when lifting wants care."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from grader.errors import SettingsError
from grader.report.parcel import parcel_lines
from grader.trade.parcel import CARE_G, TWO_G, fits, lift, read_boxes, share_out

POUND = D("453.59237")
TABLE = """
begins = 2025-01-01
boxes = [
  {name = "small", inside = "75 in3", most = "70lb"},
  {name = "medium", inside = "514 in3", most = "70lb"},
  {name = "large", inside = "792 in3", most = "70lb"},
  {name = "far", inside = "30x20x15 cm", most = "4lb", to = "abroad"},
]
"""


@pytest.mark.parametrize(
    ("box", "loose_lb", "close_lb"), [("small", 2.8, 4.2), ("medium", 19.3, 28.9), ("large", 29.7, 44.6)]
)  # fmt: skip
def test_so_much_stone_fits_a_box(box, loose_lb, close_lb):
    # By hand: 75, 514 and 792 in3 filled to 40-60 % with stone of 2.6 g/cm3 hold 3-4, 19-29 and 30-45 lb.
    boxes = read_boxes(TABLE, "BOXES.toml")

    def by_volume(pounds):
        of_all = fits(boxes, D(str(pounds)) * POUND, "domestic")
        return next(fit.by_volume for fit in of_all if fit.box.name == box)

    assert by_volume(loose_lb - 0.1) == "yes"
    assert by_volume(loose_lb + 0.2) == by_volume(close_lb - 0.1) == "if packed closely"
    assert by_volume(close_lb + 0.2) == "no"


def test_a_box_to_another_place_is_another_and_its_limit_counts_with_the_packing():
    boxes = read_boxes(TABLE + 'packing = "1lb"', "BOXES.toml")
    (three,) = fits(boxes, 3 * POUND, "abroad")
    (more,) = fits(boxes, 3 * POUND + 1, "abroad")
    assert three.box.inside_cm3 == 9000
    assert (three.takes, more.takes, more.by_weight) == (True, False, False)


def test_lifting_wants_care_from_nine_kilos_and_two_from_twenty_three():
    """NIOSH 94-110, rev. 2021, Applications Manual: the recommended weight is 23 kg times multipliers of the hands' way
    out H, height V and travel D in cm and the twist A in degrees; bent, far out and twisted it is 9.94 kg."""
    out, height, travel, twist = 40, 30, 70, 30
    kilos = (
        23
        * (25 / out)
        * (1 - 0.003 * abs(height - 75))
        * (0.82 + 4.5 / travel)
        * (1 - 0.0032 * twist)
    )
    assert kilos == pytest.approx(9.94, abs=0.005)
    assert int(kilos) * 1000 == CARE_G and TWO_G == 23_000
    assert round(float(TWO_G / D("453.59237"))) == 51
    assert [lift(D(g)) for g in (8999, 9000, 22999, 23000)] == [None, "care", "care", "two"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("begins = 2025-01-01", "lacks 'boxes'"),
        ("begins = 2025-01-01\nboxes = 3", "not a list of tables"),
        (TABLE.replace("75 in3", "75"), "write it as 514 in3"),
        (TABLE.replace("75 in3", "3x4 cm"), "write it as 514 in3"),
        (TABLE.replace("70lb", "70 stone"), "is no unit"),
        (TABLE + "fill = [0.6, 0.4]", "two shares"),
        (TABLE + "fill = 3", "two shares"),
        (TABLE + "fill = [true, 1]", "two shares"),
        (TABLE + "fill = [0.4]", "two shares"),
        (TABLE + "fill = [nan, 0.6]", "two shares"),
        (TABLE + "density = 0", "from 0.1 to 25"),
        (TABLE + "density = nan", "density is NaN; give g/cm3"),
        (TABLE + "density = inf", "from 0.1 to 25"),
        (TABLE.replace("75 in3", "1e999999 in3"), "write it as 514 in3"),
        (TABLE.replace("75 in3", "inf cm3"), "write it as 514 in3"),
        (TABLE.replace("75 in3", "-5x-5x1 cm"), "write it as 514 in3"),
        (TABLE.replace("4lb", "0lb"), "boxes.most is 0"),
        (TABLE.replace("4lb", "-4lb"), "no weight is below 0"),
        (TABLE + "packing = '-1lb'", "no weight is below 0"),
        ("begins = 'x'\nboxes = []", "give a day"),
        ("begins", "not valid TOML"),
    ],
)
def test_a_table_of_boxes_that_cannot_be_is_refused_in_one_line(text, told):
    with pytest.raises(SettingsError, match=told) as refused:
        read_boxes(text, "BOXES.toml")
    assert "\n" not in str(refused.value)


def test_what_no_box_takes_goes_in_as_few_parcels_as_can_be_of_the_smallest_box_that_will_do():
    boxes = read_boxes(TABLE, "BOXES.toml")
    # Medium holds 28 lb of stone packed closely and large 44: two of either take 50 lb, one of neither does.
    things = [(f"07-{n}", 10 * POUND) for n in range(1, 6)]
    parcel = share_out(things, boxes, "domestic")
    assert [part.fits[0].box.name for part in parcel.parts] == ["large", "large"]
    # Medium takes two of ten pounds, so three parcels; of five pounds five.
    things = [(f"07-{n}", 5 * POUND) for n in range(1, 11)]
    parcel = share_out(things, boxes, "domestic")
    assert [part.fits[0].box.name for part in parcel.parts] == ["medium", "medium"]
    assert all(part.fits[0].takes for part in parcel.parts)
    assert sorted(code for part in parcel.parts for code in part.codes) == sorted(
        c for c, _ in things
    )
    assert (parcel.fewest, sum(part.net_g for part in parcel.parts)) == (2, 50 * POUND)


def test_what_one_box_takes_is_not_shared_out_and_what_none_takes_is_told():
    boxes = read_boxes(TABLE, "BOXES.toml")
    assert share_out([("07-1", 3 * POUND)], boxes, "domestic").parts == ()
    heavy = share_out([("07-1", POUND), ("07-2", 50 * POUND)], boxes, "domestic")
    assert heavy.parts == ()
    assert "One of these is by itself too heavy" in "\n".join(parcel_lines(heavy, "lb"))


def test_where_a_parcel_less_might_do_it_is_said():
    boxes = read_boxes(TABLE, "BOXES.toml")
    parcel = share_out([(f"07-{n}", 10 * POUND) for n in range(1, 6)], boxes, "domestic")
    assert "might do" not in "\n".join(parcel_lines(parcel, "lb"))
    told = parcel_lines(replace(parcel, fewest=1), "lb")
    assert "By weight 1 might do; no way to share it out so was found." in told
    assert "  1: 07-1, 07-2, 07-3, 07-4: 40.00 lb net, packed closely; lift it with care" in told
