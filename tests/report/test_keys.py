"""Keys from the seller's own grade names."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.report.keys import grade_keys


@pytest.mark.parametrize(
    ("grades", "keys"),
    [
        # Worked out by hand from the rule.
        (("waste", "tumbling", "cabbing", "select"), "wtcs"),
        (("cabbing", "carving", "waste"), "brw"),
        (("top", "topmost", "tumble"), "omu"),
        (("Schmuck", "Schnitt", "Bruch"), "mnb"),
        (("grade 1", "grade 2"), "ra"),
        (("ärmlich", "übrig"), "äü"),
        (("1", "2"), "ab"),
    ],
)
def test_names_that_begin_alike_have_the_letter_in_which_they_differ(grades, keys):
    assert "".join(grade_keys(grades).values()) == keys


@given(st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=12, unique=True))
def test_no_two_grades_share_a_key_and_no_key_is_a_digit(grades):
    keys = [key for key in grade_keys(grades).values() if key]
    assert len(keys) == len(set(keys))
    assert all(len(key) == 1 and key.isalpha() for key in keys)


def test_a_first_letter_that_several_share_is_nobodys():
    keys = grade_keys(("cabbing", "carving", "chips", "waste"))
    assert "c" not in keys.values()
