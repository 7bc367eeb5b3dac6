import comparisons
import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from grader.grading.models import scene_head
from grader.grading.models.model_files import load_model
from grader.grading.models.scene_head import compared_right, fit_scene, refit_scene


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
    estimates = [head.estimate(row) for row in rows[120:]]
    inside = [e.low - 0.5 <= s <= e.high + 0.5 for e, s in zip(estimates, scores, strict=True)]
    assert 0.90 <= np.mean(inside) <= 0.99
    assert all(0 <= e.low <= e.score <= e.high <= 100 for e in estimates)


def test_few_scores_move_the_head_a_little_and_many_a_lot(rows):
    head = fit_scene(rows[:120], _noisy(rows[:120]), range(120))
    kinder = _noisy(rows) * 0.6 + 40
    few = refit_scene(head, rows[:6], kinder[:6], range(6))
    many = refit_scene(head, rows[:200], kinder[:200], range(200))
    off = [np.abs(h.values(rows[200:]) - kinder[200:]).mean() for h in (head, few, many)]
    assert off[0] > off[1] > off[2] + 4
    assert refit_scene(head, [], [], []) is head
    assert few.below >= head.below and few.above >= head.above


@pytest.fixture(scope="module")
def starter():
    return load_model().scene


def test_comparisons_follow_bradley_and_terry():
    # Bradley & Terry 1952: three items, 10 meetings a pair, A beats B 7:3, A beats C 8:2, B beats C 6:4;
    # strengths 0.5971, 0.2453, 0.1576, computed from the model; beside it scikit-learn's logit.
    wins = {(0, 1): 7, (1, 0): 3, (0, 2): 8, (2, 0): 2, (1, 2): 6, (2, 1): 4}
    rows = [np.eye(3)[a] - np.eye(3)[b] for (a, b), n in wins.items() for _ in range(n)]
    free = np.full(3, -np.inf), np.full(3, np.inf)
    nothing = np.zeros((0, 3)), np.zeros(0)
    _, found = scene_head._drawn(
        *nothing, np.array(rows), np.ones(3, bool), np.zeros(3), 0.0, 1e-6, free
    )
    logs = found / scene_head.COMPARISON_POINTS
    np.testing.assert_allclose(
        np.exp(logs) / np.exp(logs).sum(), [0.5971, 0.2453, 0.1576], atol=2e-4
    )
    both = np.vstack([rows, np.negative(rows)])
    won = np.repeat([1, 0], len(rows))
    logit = LogisticRegression(C=1e8, fit_intercept=False, tol=1e-10).fit(both[:, :2], won)
    np.testing.assert_allclose(logs[:2] - logs[2], logit.coef_[0], atol=2e-3)


def test_few_comparisons_move_the_head_a_little_and_many_a_lot(starter):
    rng = np.random.default_rng(3)
    seller = comparisons.draw_seller(rng)
    rows = comparisons.draw_faces(120, starter.scaling, rng)
    pairs = seller.comparisons(rows, 100, rng)
    moved = [
        np.abs(
            np.subtract(
                refit_scene(starter, [], [], [], pairs[:n]).coefficients, starter.coefficients
            )
        ).sum()
        for n in (1, 10, 100)
    ]
    assert 0 < moved[0] < moved[1] < moved[2]
    assert moved[0] < 0.2 * moved[2]


@pytest.mark.slow
def test_thirty_comparisons_teach_a_taste_and_a_hundred_more(starter):
    # Sellers of ours: any monotone weights over the parts, slips as by Bradley and Terry.
    right = {0: [], 30: [], 100: []}
    for number in range(8):
        rng = np.random.default_rng([41, number])
        seller = comparisons.draw_seller(rng)
        rows, fresh = (comparisons.draw_faces(n, starter.scaling, rng) for n in (120, 300))
        learned = seller.comparisons(rows, 100, rng)
        sure = comparisons.Seller(seller.weights, slip_points=1e-9)
        with np.errstate(over="ignore"):
            pairs = sure.comparisons(fresh, 200, rng)
        for count, found in right.items():
            head = refit_scene(starter, [], [], [], learned[:count])
            found.append(compared_right(head, pairs).mean())
    mean = {count: np.mean(found) for count, found in right.items()}
    assert mean[30] >= 0.80 and mean[100] >= 0.88
    assert mean[0] < mean[30] < mean[100]


def test_no_part_score_is_ever_turned_against_its_direction(starter):
    # A seller who likes everything the other way round: the parts stop at nothing, they do not turn.
    rng = np.random.default_rng(5)
    rows = comparisons.draw_faces(60, starter.scaling, rng)
    seller = comparisons.Seller(-comparisons.draw_seller(rng).weights)
    head = refit_scene(starter, [], [], [], seller.comparisons(rows, 200, rng))
    for name, old, new in zip(
        head.scaling.names, starter.coefficients, head.coefficients, strict=True
    ):
        if name.startswith("scene_"):
            assert new >= min(0.0, old) - 1e-6, name


def test_comparisons_that_contradict_each_other_draw_the_two_together(starter):
    rows = comparisons.draw_faces(20, starter.scaling, np.random.default_rng(6))
    both = [(a, b) for a, b in zip(rows[:10], rows[10:], strict=True)]
    head = refit_scene(starter, [], [], [], both + [(b, a) for a, b in both])
    apart = [abs(float(np.diff(starter.values(pair))[0])) for pair in both]
    after = [abs(float(np.diff(head.values(pair))[0])) for pair in both]
    assert np.mean(after) < np.mean(apart)
    assert head.base == starter.base
