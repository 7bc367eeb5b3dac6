"""Limits, costs, own sales most like a piece. All invented."""

import pytest


def test_hauls_add_up_against_what_was_typed_and_nothing_is_said_to_be_allowed(grader):
    (grader.folder / "grader.toml").write_text('unit = "lb"\n')
    grader("trip", "new", "North", "--begins", "2025-03-01")
    grader("limits", "set", "permit 12", "--most", "250lb", "--each", "day", "--from", "2025-01-01",
           "--note", "letter of the owner")  # fmt: skip
    ran = grader.cli.run("haul", "new", "07", "--trip", 1, "--raw", "100lb")
    assert ran.stderr == ""
    ran = grader.cli.run("haul", "new", "08", "--trip", 1, "--raw", "130lb")
    assert "230.00 lb of the 250lb a day that you typed" in ran.stderr
    assert "little is left" in ran.stderr
    ran = grader.cli.run("haul", "new", "09", "--trip", 1, "--raw", "30lb")
    assert (
        "260.00 lb of the 250lb" in ran.stderr and "that is more; ask whoever set it" in ran.stderr
    )
    grader("haul", "new", "10", "--raw", "5lb")
    ran = grader.cli.run("limits", "list")
    assert (
        "permit 12: 250lb a day, as you typed it, from 2025-01-01 on (letter of the owner)"
        in ran.stdout
    )
    assert "hauls of no trip, 1" in ran.stderr and "your own words added up" in ran.stderr
    told = grader("limits", "list", "--json")
    assert [(t["span"], t["state"]) for t in told["taken"]] == [("2025-03-01", "over")]
    assert "allowed" not in ran.output
    grader("undo")
    grader("undo")
    assert grader("limits", "list", "--json")["taken"][0]["state"] == "near"


def test_a_parcel_is_held_against_the_post_as_it_was_typed(example):
    (example.folder / "BOXES.toml").write_text(
        'begins = 2025-03-01\n[[boxes]]\nname = "crate"\ninside = "90000 cm3"\nmost = "40kg"\n'
    )
    example(
        "limits", "set", "post abroad", "--most", "30kg", "--each", "parcel", "--from", "2025-01-01"
    )
    example("weigh", "07-001", "31kg")
    ran = example.cli.run("parcel", "--boxes", "BOXES.toml", "07-001")
    assert "crate: fits" in ran.stdout
    assert "post abroad: this parcel: 31000 g of the 30kg a parcel that you typed" in ran.stderr


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("limits", "set", " ", "--most", "1kg", "--each", "day"), "give the limit a name"),
        (("limits", "set", "p", "--most", "0kg", "--each", "day"), "above 0"),
        (("limits", "set", "p", "--most", "1kg", "--each", "moon"), "moon"),
        (("trip", "cost", "9", "10", "--currency", "USD"), "no trip 9"),
        (("prices", "alike", "07-B1"), "is no single piece"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(example, args, told):
    assert told in example(*args, fails=True)


@pytest.mark.slow
def test_the_five_most_alike_own_sales_with_their_prices(grader):
    (grader.folder / "grader.toml").write_text('currency = "USD"\nunit = "lb"\n')
    grader("haul", "new", "07", "--raw", "20kg")
    for number in range(9):
        grader.cli.photo(f"photos/{number}.jpg", f"1{' line' if number > 6 else ''} {number}")
    grader.cli.run("batch", "photos", "--haul", "07", "--mm-per-px", "0.5")
    grams = [500, 100, 110, 480, 900, 520, 2000, 505, 700]
    rows = [f"07-{n:03d},{g}g" for n, g in enumerate(grams, start=1)]
    (grader.folder / "w.csv").write_text("\n".join(["piece,weight", *rows]))
    grader("weigh", "--from", "w.csv")
    assert "no single piece is sold yet" in grader("prices", "alike", "07-001")
    for n in range(2, 9):
        grader("sell", f"07-00{n}", "--for", str(10 * n))
    told = grader("prices", "alike", "07-001", "--json")["alike"]
    # All faces are the same but 07-008's, which has a line; of the others the nearest in weight come first.
    assert [one["piece"] for one in told][:2] == ["07-006", "07-004"] and len(told) == 5
    assert [one["price"] for one in told][:2] == ["60.00", "40.00"]
    assert told[-1]["piece"] != "07-008" and told[0]["apart"] < told[-1]["apart"]
    text = grader("prices", "alike", "07-001")
    assert "07-006  60.00 USD (52.34 per lb), 1.15 lb" in text
    # A sale that came back is none.
    grader("return", "07-006")
    assert grader("prices", "alike", "07-001", "--json")["alike"][0]["piece"] == "07-004"
    grader("prices", "alike", "07-001", "--out", "alike.html")
    page = (grader.folder / "alike.html").read_text("utf-8")
    assert page.count("data:image/jpeg") >= 2 and "40.00 USD" in page
