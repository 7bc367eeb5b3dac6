import numpy as np

from grader.grading.ask import ask_for


def test_the_whole_ladder_is_asked_for_evenly():
    places = np.random.default_rng(0).permutation(np.linspace(0, 3, 30))
    for seed in range(20):
        asked = ask_for(places, 3, [], np.random.default_rng(seed))
        # Three groups of ten, one of each.
        assert [int(places[row] // 1.0001) for row in asked] == [0, 1, 2]


def test_called_stones_are_not_asked_for_again():
    asked = ask_for(np.ones(4), 9, [0, 2], np.random.default_rng(0))
    assert sorted(asked) == [1, 3]


def test_nothing_to_ask_for_is_an_empty_list():
    assert ask_for(np.zeros(0), 5, [], np.random.default_rng(0)) == []
    assert ask_for(np.ones(1), 5, [0], np.random.default_rng(0)) == []
