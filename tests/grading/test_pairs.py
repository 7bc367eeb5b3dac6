"""Which two stones are shown side by side next."""

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from grader.grading.learning.pairs import next_pair


def pair(values, times=None, said=(), seed=0):
    return next_pair(values, times or [0] * len(values), set(said), np.random.default_rng(seed))


def test_stones_of_like_value_are_shown_side_by_side():
    assert {frozenset(pair([10, 50, 52, 90], [9, 0, 9, 9], seed=n)) for n in range(9)} == {
        frozenset((1, 2))
    }


def test_the_least_compared_stone_comes_first():
    assert all(2 in pair([1, 2, 3], [4, 4, 0], seed=n) for n in range(9))


def test_either_stone_may_stand_on_the_left():
    assert {pair([1, 1], seed=n) for n in range(20)} == {(0, 1), (1, 0)}


@given(st.integers(0, 6), st.data())
def test_every_pair_comes_once_and_then_none(count, data):
    values = data.draw(st.lists(st.floats(0, 100), min_size=count, max_size=count))
    said: set[frozenset] = set()
    while found := pair(values, said=said, seed=len(said)):
        assert frozenset(found) not in said
        said.add(frozenset(found))
    assert len(said) == len(list(combinations(range(count), 2)))
