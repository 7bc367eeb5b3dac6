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
    "text",
    [
        "",
        "heavy",
        "1,500",
        "1,234.5",
        "1,234,567",
        "12 stone",
        "nan",
        "inf",
        "1e3x",
        "5 gr",
        "lb",
        "1,500 lb",
    ],
)
def test_what_is_no_weight_or_could_be_two_is_refused(text):
    with pytest.raises(ValueError):
        grams_of(text)


@pytest.mark.parametrize(
    ("text", "grams"),
    # Pound and ounce: agreement of 1959, 0.45359237 kg and a sixteenth of it (NIST SP 811, 2008, app. B).
    # Carat: 0.2 g (NIST Handbook 44, app. C).
    [("1lb", "453.59237"), ("16 oz", "453.59237"), ("1 oz", "28.349523125"), ("5ct", "1"), ("612g", "612"),
     ("1,35 kg", "1350"), ("1.35lb", "612.3496995"), ("21.6oz", "612.3496995"), ("2 LBS", "907.18474")],
)  # fmt: skip
def test_units_are_exact(text, grams):
    assert grams_of(text).grams == Decimal(grams)
    assert grams_of(text).typed == text


def test_a_number_alone_is_in_the_unit_that_is_asked_for():
    assert grams_of("2", "lb").grams == Decimal("907.18474")
    assert grams_of("2 g", "lb").grams == 2


def test_a_weight_without_a_unit_keeps_the_one_that_was_meant():
    # Else next year nobody knows whether 1.35 was kg or lb.
    assert grams_of("1,35", "lb").typed == "1,35 lb"
    assert grams_of("412").typed == "412"
    assert grams_of("21.6oz", "lb").typed == "21.6oz"
