"""Orders on the command line: bins sold by weight and bag, parts of a sale that come back, what is held for somebody.
Prices and people are invented; sums are worked out by hand."""

from decimal import Decimal as D

import pytest

LB = D("453.59237")


def report(grader):
    return grader("haul", "report", "07", "--unit", "lb", "--json")


def row(told, name, grade=None):
    return next(r for r in told["by_grade"] if (r["row"], r["grade"]) == (name, grade))


def test_bins_have_numbers_and_are_sold_by_weight_by_the_bag_or_whole(example):
    # In the example chips are noted first, then three bins of sorted stone.
    listed = example("haul", "list", "07")
    assert "07-B1  chips  3628.7 g left" in listed
    assert "07-B3  sorted cabbing  13607.8 g left" in listed
    sold = example("sell", "07-B3=5lb", "07-B1=2x2lb", "07-001", "--json")
    # 5 lb cabbing at 12, two bags of 2 lb at 8, and 220 by hand.
    assert [thing["share"] for thing in sold["things"]] == ["60.00", "16.00", "220.00"]
    assert sold["price"] == "296.00"
    assert D(sold["things"][1]["net_g"]) == 4 * LB and sold["things"][1]["bags"] == 2
    assert "25.00 lb" not in listed and "07-B3  sorted cabbing  11339.8 g of" in example(
        "haul", "list", "07"
    )
    told = report(example)
    # Nothing of the whole changes: what was asked is got.
    assert (told["worth"]["total"], told["worth"]["got"]) == ("1272.00", "296.00")
    assert D(told["gap_g"]) == 0
    example("sell", "07-B4")
    assert "is empty" in example("sell", "07-B4", fails=True)
    assert "holds" in example("sell", "07-B3=26lb", fails=True)


def test_what_is_sold_out_of_a_bin_comes_back_into_it(example):
    example("sell", "07-B2=3lb", "07-B3=5lb")
    assert "07-B2 (sorted, 1360.8 g) came back, 72.00 USD" in example("return", "07-B2", "--only")
    assert "07-B2  sorted select  5443.1 g left" in example("haul", "list", "07")
    told = report(example)
    assert D(row(told, "sorted", "cabbing")["got"]) == 60 and told["worth"]["total"] == "1272.00"
    assert "07-B2 sorted select: 12lb" in example("history", "07-B2")
    example("undo")
    assert "of 5443.1 g left" in example("haul", "list", "07")


def test_one_thing_of_an_order_comes_back_with_its_own_share(example):
    example("sell", "07-001", "07-002", "--for", "300")
    back = example("return", "07-001", "--only", "--why", "too blue", "--json")
    # 300 by what was asked, 220 and 160 of 380.
    assert (back["things"], back["refund"]) == (["07-001"], "173.68")
    states = {r["piece"]: r["state"] for r in example("haul", "list", "07", "--json")}
    assert (states["07-001"], states["07-002"]) == ("there", "sold")
    assert D(report(example)["worth"]["got"]) == D("126.32")
    assert "is not sold" in example("return", "07-001", fails=True)
    # The rest of the order comes back by itself, and the first piece may be sold anew.
    example("sell", "07-001", "--for", "200")
    assert example("return", "07-002", "--json")["things"] == ["07-002"]
    assert D(report(example)["worth"]["got"]) == 200


@pytest.mark.slow
def test_money_alone_goes_back_where_the_buyer_keeps_the_piece(example):
    example("sell", "07-001")
    said = example("return", "07-001", "--stays", "--refund", "20", "--why", "a chip")
    assert said.strip() == "07-001 stays sold, 20.00 USD refunded: a chip"
    assert D(report(example)["worth"]["got"]) == 200
    assert "is sold" in example("sell", "07-001", fails=True)
    # No more goes back than is left of it.
    assert "is more than was paid" in example("return", "07-001", "--refund", "210", fails=True)
    assert "say how much" in example("return", "07-001", "--stays", fails=True)
    assert example("return", "07-001", "--json")["refund"] == "200.00"
    assert D(report(example)["worth"]["got"]) == 0


def test_what_is_held_for_somebody_is_shown_and_not_sold_to_another(example):
    said = example(
        "reserve", "07-001", "07-B2", "--until", "2099-03-01", "--for", "the Tuesday man"
    )
    assert said.strip() == "07-001, 07-B2: held for the Tuesday man until 2099-03-01"
    listed = example("haul", "list", "07")
    assert (
        "07-001  1814.4 g  not called  there, held for the Tuesday man until 2099-03-01" in listed
    )
    assert "left, held for the Tuesday man" in listed
    refused = example("sell", "07-001", fails=True)
    assert "held for the Tuesday man until 2099-03-01; is it for them?" in refused
    assert "is held for the Tuesday man" in example(
        "reserve", "07-001", "--until", "2099-04-01", "--for", "Ann", fails=True
    )
    example("sell", "07-001", "--held")
    example("reserve", "07-B2", "--free")
    example("sell", "07-B2=1lb")
    assert "is held for nobody" in example("reserve", "07-B2", "--free", fails=True)
    assert "held for the Tuesday man until" in example("history", "07-001")


def test_a_hold_ends_with_its_day_and_is_taken_back_by_undo(example):
    example("reserve", "07-001", "--until", "2025-01-01")
    example("sell", "07-001")
    example("reserve", "07-002", "--until", "2099-01-01")
    example("undo")
    example("sell", "07-002")


@pytest.mark.slow
def test_a_packing_slip_tells_the_order_as_it_was_sold(example):
    said = example("sell", "07-001", "07-B3=5lb", "07-B1=2x2lb", "--by", "Ann")
    assert "grader slip 07-001" in said
    example.prices(begins="2025-06-01", select=30)
    text = example("slip", "07-B3")
    for words in ("07-001  piece", "220.00 USD", "60.00 USD", "chips, 2 bags of 907.2 g",
                  "3 in all, 5896.7 g net, 296.00 USD", "By the price table of 1 March 2025"):  # fmt: skip
        assert words in text
    example("slip", "07-001", "--out", "slip.html")
    page = (example.folder / "slip.html").read_text("utf-8")
    assert "296.00 USD" in page and "07-B1" in page
    # It goes to the buyer: no sorter, no path, no network.
    assert "Ann" not in page and str(example.folder) not in page
    assert "http" not in page.replace("http-equiv", "")
    # What comes back is no more in it.
    example("return", "07-001", "--only")
    assert "2 in all" in example("slip", "07-B3")
    assert "is not sold" in example("slip", "07-001", fails=True)


def test_a_parcel_takes_part_of_a_bin(example):
    (example.folder / "BOXES.toml").write_text(
        'begins = 2025-03-01\n[[boxes]]\nname = "small"\ninside = "75 in3"\nmost = "4lb"\n'
    )
    told = example("parcel", "--boxes", "BOXES.toml", "07-B3=3lb", "--json")
    assert D(told["net_g"]) == 3 * LB and told["boxes"][0]["takes"]
    told = example("parcel", "07-B3=5lb", "--json")
    assert not told["boxes"][0]["takes"] and told["parcels"] == []
    assert "It is too heavy or too large for each of your boxes." in example("parcel", "07-B3=5lb")


@pytest.mark.slow
def test_what_no_box_takes_is_shared_out_and_each_parcel_has_its_own_care(example):
    (example.folder / "BOXES.toml").write_text(
        'begins = 2025-03-01\npacking = "500g"\n'
        '[[boxes]]\nname = "small"\ninside = "900 cm3"\nmost = "5kg"\n'
        '[[boxes]]\nname = "crate"\ninside = "30x30x20 cm"\nmost = "24kg"\n'
    )
    example("limits", "set", "post", "--most", "20kg", "--each", "parcel", "--from", "2025-01-01")
    for code, kilos in (("07-001", 14), ("07-002", 8), ("07-003", 6)):
        example("weigh", code, f"{kilos}kg")
    # 32 kg of stone, 23.5 kg in a crate: two.
    ran = example.cli.run("parcel", "--boxes", "BOXES.toml", "07-001", "07-002", "07-003", "07-B3=2x2kg")  # fmt: skip
    assert "No box takes all of it; in 2 parcels of crate:" in ran.stdout
    assert ran.stdout.count("; lift it with care") == 2
    assert "never lift it alone" not in ran.stdout and "might do" not in ran.stdout
    told = example("parcel", "07-001", "07-002", "07-003", "07-B3=2x2kg", "--json")
    assert len(told["parcels"]) == told["fewest"] == 2
    assert sum(D(one["net_g"]) for one in told["parcels"]) == D(told["net_g"]) == 32_000
    assert max(D(one["net_g"]) for one in told["parcels"]) <= 23_500
    assert {one["lift"] for one in told["parcels"]} == {"care"}
    assert "post: this parcel" in ran.stderr


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("sell", "07-001=2lb"), "is sold whole"),
        (("sell", "07-B3=0x2lb"), "sells nothing"),
        (("sell", "07-B3=two"), "is no number"),
        (("sell", "07-B9"), "nothing has that number"),
        (("sell", "07-B3=1lb", "07-B3=2lb"), "stands there twice"),
        (("weigh", "07-B3", "1lb"), "is a bin"),
        (("break", "07-B3", "--into", "2"), "is a bin; name a piece"),
        (("reserve", "07-001"), "give a day, or --free"),
        (("sell", "07-B1=3x1lb"), "no price is known"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(example, args, told):
    assert told in example(*args, fails=True)


def test_what_is_sold_is_held_for_nobody_any_more(example):
    example("reserve", "07-001", "--until", "2099-03-01", "--for", "Bo")
    example("sell", "07-001", "--held")
    listed = example("haul", "list", "07").splitlines()[0]
    assert listed == "07-001  1814.4 g  not called  sold"
