"""Which stones are asked for: by hand on sellers who differ in a known way."""

import numpy as np

from grader.grading.learning.ask import WAVERS, ask_for

#: Two sellers, alike on rows 0 to 2, two grades apart on row 3, one apart on rows 4 and 5.
SAYS = np.array([[0.0, 1, 2, 0.0, 1.0, 2.0], [0.0, 1, 2, 2.0, 2.0, 1.0]])
ALIKE = np.array([0.5, 0.5])
NAMES = [str(row) for row in range(6)]


def ask(count, called=(), names=NAMES, says=SAYS, chances=ALIKE, heard=()):
    not_learned = [row for row in called if row not in heard]
    return ask_for(says, chances, count, called, not_learned, names, np.random.default_rng(0))


def test_the_stone_that_tells_the_sellers_apart_is_asked_for_first():
    assert ask(1) == [3]
    assert set(ask(3)) == {3, 4, 5}


def test_the_stone_taken_leaves_least_open_over_all():
    """Worked out another way: variances after one call by the normal law, numpy.linalg.inv on all stones."""
    rng = np.random.default_rng(2)
    says = rng.normal(size=(40, 9))
    chances = rng.dirichlet(np.ones(40))
    cov = np.cov(says.T, aweights=chances, ddof=0)

    def left_open(rows):
        chosen = np.eye(9)[list(rows)]
        precision = np.linalg.inv(chosen @ cov @ chosen.T + WAVERS * np.eye(len(rows)))
        return np.trace(cov - cov @ chosen.T @ precision @ chosen @ cov)

    names = [str(row) for row in range(9)]
    first, second = ask(2, names=names, says=says, chances=chances)
    assert first == min(range(9), key=lambda row: left_open([row]))
    others = [row for row in range(9) if row != first]
    assert second == min(others, key=lambda row: left_open([first, row]))
    # A stone that was called before counts as one that was asked for.
    assert ask(1, called=[first], names=names, says=says, chances=chances) == [second]


def test_called_stones_are_not_asked_for_again_in_any_photo():
    assert sorted(ask(9, called=[0, 2])) == [1, 3, 4, 5]
    same = ["a", "b", "c", "d", "d", "b"]
    assert sorted(ask(9, called=[0, 3], names=same)) in ([1, 2], [2, 5])


def test_a_call_that_the_sellers_have_learned_from_does_not_count_a_second_time():
    """By hand: rows 0 and 1 are alike with a variance of 1, row 2 stands alone with 0.64."""
    says = np.array([[0.0, 0.0, 0.0], [2.0, 2.0, 0.0], [0.0, 0.0, 1.6], [2.0, 2.0, 1.6]])
    of = {"names": NAMES[:3], "says": says, "chances": np.full(4, 0.25)}
    # Not heard yet, the call of row 0 leaves 1 - 1 / 1.38 = 0.28 open on row 1; heard, 1 is what is open now.
    assert ask(1, called=[0], **of) == [2]
    assert ask(1, called=[0], heard=[0], **of) == [1]


def test_of_several_photos_of_a_stone_one_is_asked_for():
    asked = ask(9, names=["a", "a", "b", "c", "c", "c"])
    assert len(asked) == 3 and {"aabccc"[row] for row in asked} == set("abc")


def test_without_an_ensemble_stones_are_drawn():
    asked = ask(4, says=np.zeros((0, 6)), chances=np.zeros(0))
    assert len(set(asked)) == 4


def test_nothing_to_ask_for_is_an_empty_list():
    assert ask(5, names=[], says=np.zeros((0, 0)), chances=np.zeros(0)) == []
    assert ask(5, called=list(range(6))) == []
