"""Sizes as people write them. 25.4 mm to the inch: international yard and pound agreement of 1959."""

from decimal import Decimal

import pytest

from grader.trade.sizes import sides_mm_of


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("92x61x34 mm", (92, 61, 34)),
        ("92 x 61", (92, 61)),
        ("9,2×6,1 cm", (92, 61)),
        ("3.5x2in", ("88.9", "50.8")),
        ("1in", ("25.4",)),
    ],
)
def test_a_size_is_read_as_people_write_it(text, mm):
    assert sides_mm_of(text) == tuple(map(Decimal, mm))


@pytest.mark.parametrize(
    "text", ["", "wide", "0x3", "92x", "1x2x3x4", "nanx2", "-3", "9999999", "3 ft"]
)
def test_what_is_no_size_is_refused_in_one_line(text):
    with pytest.raises(ValueError, match="give it in mm, cm or in"):
        sides_mm_of(text)
