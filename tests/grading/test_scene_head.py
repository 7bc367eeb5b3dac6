import numpy as np
import pytest

from grader.grading.scene_head import fit_scene, refit_scene


@pytest.fixture(scope="module")
def rows(make_faces, profile):
    return make_faces(240, np.random.default_rng(11), profile)[0]


def _noisy(rows, seed=0, sd=5.0):
    plain = np.array([row["scene_score"] for row in rows])
    return np.clip(plain + np.random.default_rng(seed).normal(0, sd, len(rows)), 0, 100)


def test_learns_the_score_from_the_parts(rows):
    head = fit_scene(rows[:120], _noisy(rows[:120]), range(120))
    off = head.values(rows[120:]) - [row["scene_score"] for row in rows[120:]]
    assert np.abs(off).mean() < 2.0


def test_the_range_holds_about_95_of_100_unseen_scores(rows):
    head = fit_scene(rows[:120], _noisy(rows[:120]), range(120))
    scores = _noisy(rows[120:], seed=1)
    told = [head.estimate(row) for row in rows[120:]]
    inside = [e.low - 0.5 <= s <= e.high + 0.5 for e, s in zip(told, scores, strict=True)]
    assert 0.90 <= np.mean(inside) <= 0.99
    assert all(0 <= e.low <= e.score <= e.high <= 100 for e in told)


def test_few_scores_move_the_head_a_little_and_many_a_lot(rows):
    head = fit_scene(rows[:120], _noisy(rows[:120]), range(120))
    kinder = _noisy(rows) * 0.6 + 40
    few = refit_scene(head, rows[:6], kinder[:6], range(6))
    many = refit_scene(head, rows[:200], kinder[:200], range(200))
    off = [np.abs(h.values(rows[200:]) - kinder[200:]).mean() for h in (head, few, many)]
    assert off[0] > off[1] > off[2] + 4
    assert refit_scene(head, [], [], []) is head
    assert few.below >= head.below and few.above >= head.above
