import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from grader.grading.learning.second_look import Looked, draw_sample, judge
from grader.report.second_look import second_look_lines

GRADES = ("waste", "tumbling", "cabbing", "select")


def test_figures_are_those_of_scikit_learn_and_a_hand_count():
    rng = np.random.default_rng(2)
    first = rng.integers(0, 4, 60)
    second = np.clip(first + rng.integers(-1, 2, 60), 0, 3)
    model = np.where(rng.random(60) < 0.2, -1, first)
    judged = judge(Looked(tuple(map(str, range(60))), first, second, model), 4, rng)
    # Outside value: sklearn.metrics.cohen_kappa_score with quadratic weights.
    assert judged.people.kappa.value == pytest.approx(
        cohen_kappa_score(first, second, weights="quadratic")
    )
    assert judged.people.equal.value == (first == second).mean()
    assert judged.people.within_one.value == 1.0
    assert judged.model_first.kappa.value == pytest.approx(1.0)
    assert judged.model_first.n == (model >= 0).sum()
    both = np.isin(first, [1, 2]) & np.isin(second, [1, 2])
    assert judged.neighbours[1].value == pytest.approx((first[both] != second[both]).mean())
    assert all(abs(first[r] - second[r]) == 1 for r in judged.worst)


def test_the_worst_pairs_come_first():
    first, second = np.array([0, 1, 2, 3]), np.array([3, 1, 1, 1])
    judged = judge(
        Looked(tuple("abcd"), first, second, np.full(4, -1)), 4, np.random.default_rng(0)
    )
    assert judged.worst == (0, 3, 2) and judged.model_first is None
    lines = second_look_lines(Looked(tuple("abcd"), first, second, np.full(4, -1)), judged, GRADES)
    assert "no proposals" in lines[2] and "as strict as the first" in lines[-1]


def test_a_sample_is_shuffled_and_holds_each_stone_once():
    names = [f"stone {i // 2}" for i in range(40)]
    drawn = draw_sample(names, 30, np.random.default_rng(0))
    assert len(drawn) == 20 == len({names[row] for row in drawn})
    assert drawn != sorted(drawn)
    assert draw_sample(names, 5, np.random.default_rng(0)) == drawn[:5]
