"""What a seller says of a photo, as a record that is kept for good."""

import json
from dataclasses import make_dataclass, replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.photo import terms as terms_module
from grader.photo.terms import Neutral, PhotoTerms, terms_from
from grader.weight import Weight

SIDES = st.integers(0, 100_000)
LENGTHS = st.floats(1e-6, 1e6)
TERMS = st.builds(
    PhotoTerms,
    mm_per_px=st.none() | LENGTHS,
    height_mm=st.none() | LENGTHS | st.just(0.0),
    neutral=st.none()
    | st.builds(Neutral, st.tuples(SIDES, SIDES, SIDES, SIDES), st.sampled_from(["paper", "tray"])),
    state=st.sampled_from([None, "wet", "dry", "patchy"]),
    whole=st.booleans(),
    same_face=st.lists(st.text("0123456789abcdef", min_size=64, max_size=64), max_size=3).map(
        tuple
    ),
    dried=st.booleans(),
    weight=st.none()
    | st.builds(Weight, st.text(max_size=9), st.decimals(0, 10**6, allow_nan=False, places=3)),
)


@pytest.mark.slow
@given(TERMS)
def test_terms_come_back_from_json_as_they_were_said(terms):
    assert terms_from(json.loads(json.dumps(terms.as_record(), allow_nan=False))) == terms


@given(TERMS)
def test_what_is_not_said_is_left_out(terms):
    silent = PhotoTerms()
    typed = {name for name in vars(terms) if getattr(terms, name) != getattr(silent, name)}
    assert terms.as_record().keys() == typed
    assert silent.as_record() == {}


def test_a_record_is_plain_and_small():
    terms = PhotoTerms(
        mm_per_px=0.1, height_mm=0.0, neutral=Neutral((1, 2, 30, 40), "tray"), state="wet", whole=True,
        same_face=("b" * 64,), dried=True, weight=Weight("1,35", Decimal("1.35")),
    )  # fmt: skip
    assert terms.as_record() == {
        "mm_per_px": 0.1,
        # A card at the height of the faces is said, though it is 0.
        "height_mm": 0.0,
        "neutral": {"box": [1, 2, 30, 40], "kind": "tray"},
        "state": "wet",
        "whole": True,
        "same_face": ["b" * 64],
        "dried": True,
        "weight": {"typed": "1,35", "grams": "1.35"},
    }


def test_a_new_term_changes_no_old_record(monkeypatch):
    """A term more, as a later version may have it: records of before are what they were, both ways."""
    old = PhotoTerms(mm_per_px=0.1, weight=Weight("412", Decimal("412")))
    later = make_dataclass(
        "PhotoTerms", [("lamp", str | None, None)], bases=(PhotoTerms,), frozen=True
    )
    monkeypatch.setattr(terms_module, "PhotoTerms", later)
    monkeypatch.setitem(terms_module._SILENT, "lamp", None)
    now = later(mm_per_px=0.1, weight=Weight("412", Decimal("412")))
    assert now.as_record() == old.as_record()
    assert terms_from(old.as_record()) == now
    assert replace(now, lamp="left").as_record() == old.as_record() | {"lamp": "left"}


@pytest.mark.parametrize(
    "record",
    [
        {"lamp": "left"},
        {"neutral": {"box": [1, 2, 30], "kind": "tray"}},
        {"neutral": {"box": [1, 2, 30, 40]}},
        {"weight": {"typed": "412"}},
        {"weight": "412"},
        {"same_face": 5},
    ],
)
def test_a_record_of_something_else_is_refused(record):
    with pytest.raises((ValueError, TypeError, KeyError)):
        terms_from(record)


def test_the_weight_in_grams_is_that_of_the_piece():
    assert PhotoTerms().weight_g is None
    assert PhotoTerms(weight=Weight("0.5", Decimal("0.5"))).weight_g == 0.5
