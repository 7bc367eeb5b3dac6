"""Weights estimated from the size of a face, weights that do not fit it, and lots of one size class."""

import json

import pytest


@pytest.fixture
def haul(grader):
    """Pieces 07-001 to 07-003, each alone on a photo of known scale: 200 by 100 px at 0.5 mm, so 50 cm2 at most."""
    grader("haul", "new", "07", "--raw", "20kg")
    for number in range(3):
        grader.cli.photo(f"photos/{number}.jpg", f"1 {number}")
    ran = grader.cli.run("batch", "photos", "--haul", "07", "--mm-per-px", "0.5")
    assert ran.exit_code == 0, ran.output
    return grader


def test_what_was_not_weighed_is_listed_with_an_estimate_that_is_marked_so(haul):
    first = haul("haul", "list", "07").splitlines()[0]
    assert first.startswith("07-001  not weighed, ") and "(estimate)" in first
    record = haul("haul", "list", "07", "--json")[0]
    low, high = record["estimate_g"]
    assert record["net_g"] is None and 2 * low < high
    # Of an even thickness it is narrower: area x 10 mm at 2.4 to 2.9 g/cm3.
    thin = haul("haul", "list", "07", "--thick-mm", "10", "--json")[0]["estimate_g"]
    assert thin[1] / thin[0] == pytest.approx(2.9 / 2.4)
    (haul.folder / "grader.toml").write_text("density = [2.6, 2.6]\n")
    thin = haul("haul", "list", "07", "--thick-mm", "10", "--json")[0]["estimate_g"]
    assert thin[1] == pytest.approx(thin[0])


def test_a_weight_that_does_not_fit_is_kept_as_typed_with_one_kind_line(haul):
    low, high = haul("haul", "list", "07", "--json")[0]["estimate_g"]
    ran = haul.cli.run("weigh", "07-001", f"{(low + high) / 2:.0f}g")
    assert "fit" not in ran.stderr
    ran = haul.cli.run("weigh", "07-002", "1.35")  # a pound and a third, typed without its unit
    assert ran.stdout.startswith("07-002: 1.4 g")
    assert ran.stderr.count("\n") == 1
    assert "looks little for a face of" in ran.stderr and "kept as you typed it" in ran.stderr
    assert "looks much" in haul.cli.run("weigh", "07-003", "90kg").stderr
    record = haul("haul", "list", "07", "--json")[1]
    assert record["typed"] == "1.35" and record["estimate_g"] is None
    (haul.folder / "w.csv").write_text("piece,weight\n07-001,2\n07-002,2\n07-003,2\n")
    assert haul.cli.run("weigh", "--from", "w.csv").stderr.count("looks little") == 3


def test_without_a_scale_nothing_is_estimated(grader):
    grader("haul", "new", "07", "--raw", "20kg")
    grader.cli.photo("photos/a.jpg", "1")
    grader.cli.run("batch", "photos", "--haul", "07")
    assert grader("haul", "list", "07").splitlines()[0].startswith("07-001  not weighed  ")
    assert grader("haul", "list", "07", "--json")[0]["estimate_g"] is None


def test_lots_of_one_size_class(haul):
    proposed = haul("haul", "list", "07", "--proposed", "--json")
    grade = proposed[0]["grade"]
    (haul.folder / "w.csv").write_text("piece,weight\n07-001,200\n07-002,200\n07-003,200\n")
    haul("weigh", "--from", "w.csv")
    lots = ("lots", "make", "--haul", "07", "--grade", grade, "--size", "300g", "--class")
    assert "no loose piece" in haul(*lots, "99x99", fails=True)
    told = json.loads(haul.cli.run("check", "photos/0.jpg", "--mm-per-px", "0.5", "--json").stdout)
    size = told["pieces"][0]["size_class"]
    assert len(haul(*lots, size, "--json")["lots"]) == 1
    assert "goes with --haul" in haul(
        "lots", "make", "--from", "w.csv", "--size", "300g", "--class", size, fails=True
    )


def test_the_us_rows_are_off_until_typed(grader):
    chips = ("chips", "--gross", "5kg", "--bag", "454g")
    assert "Directive 76/211/EEC" in grader(*chips)
    told = grader(*chips, "--rule", "us")
    assert "none may be short by more than 19.9 g (NIST Handbook 133, from memory" in told
    (grader.folder / "grader.toml").write_text('net_contents = "US"\n')
    assert grader(*chips, "--json")["may_be_short_g"] == 19.9
    assert "has no row" in grader("chips", "--gross", "5kg", "--bag", "500g")
    assert "one of EU, US" in grader(*chips, "--rule", "moon", fails=True)
