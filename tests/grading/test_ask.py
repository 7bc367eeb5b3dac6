import numpy as np

from grader.grading.ask import ask_for


def test_the_whole_ladder_is_asked_for_evenly():
    places = np.random.default_rng(0).permutation(np.linspace(0, 3, 30))
    asked = ask_for(places, np.zeros((30, 2)), 3)
    # Three groups of ten, one of each.
    assert [int(places[row] // 1.0001) for row in asked] == [0, 1, 2]


def test_of_stones_at_one_place_the_one_unlike_those_taken_is_asked_for():
    places = np.array([0.0, 0.0, 1.0, 1.0])
    table = np.array([[0.0, 0.0], [0.0, 0.0], [0.0, 0.0], [1.0, np.nan]])
    assert ask_for(places, table, 2)[1] == 3


def test_called_stones_are_not_asked_for_again_nor_their_twins_first():
    table = np.array([[0.0], [0.0], [4.0]])
    assert ask_for(np.ones(3), table, 1, called=[0]) == [2]
    assert sorted(ask_for(np.ones(3), table, 9, called=[0])) == [1, 2]


def test_nothing_to_ask_for_is_an_empty_list():
    assert ask_for(np.zeros(0), np.zeros((0, 2)), 5) == []
    assert ask_for(np.ones(1), np.ones((1, 2)), 5, called=[0]) == []
