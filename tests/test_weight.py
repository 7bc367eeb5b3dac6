"""Weights as a person types them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.weight import Weight, grams_of


@pytest.mark.parametrize(
    ("text", "grams"),
    [("412", "412"), ("1,35", "1.35"), ("1.35", "1.35"), (" 0.10 ", "0.10"), ("412,0", "412.0")],
)
def test_a_weight_is_kept_as_typed_beside_its_grams(text, grams):
    weight = grams_of(text)
    assert weight == Weight(text.strip(), Decimal(grams))
    # Decimal and to the last digit typed: 0.10 stays 0.10.
    assert str(weight.grams) == grams


@given(st.decimals(0, 10**6, allow_nan=False, places=2), st.sampled_from([".", ","]))
def test_no_digit_is_lost(grams, point):
    text = str(grams).replace(".", point)
    assert grams_of(text).grams == grams
    assert float(grams_of(text)) == float(grams)


@pytest.mark.parametrize(
    "text", ["", "heavy", "1,500", "1,234.5", "1,234,567", "12 g", "nan", "1e3x"]
)
def test_what_is_no_weight_or_could_be_two_is_refused(text):
    with pytest.raises(ValueError):
        grams_of(text)
