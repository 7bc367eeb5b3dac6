import numpy as np
import pytest

from grader.grading.models.prediction_set import PredictionSetRule, fit_prediction_set_rule, rank


@pytest.mark.parametrize(
    ("n", "level", "k"),
    [(100, 0.9, 91), (1000, 0.9, 901), (18, 0.95, None), (8, 0.9, None), (9, 0.9, 9)],
)
def test_the_rank_of_the_bound(n, level, k):
    # Split conformal: ceil((n + 1)(1 - a)); a 0.05 needs n of 19 (Vovk et al. 2005; arXiv 2107.07511, from memory).
    assert rank(n, level) == k


def test_under_nine_calls_the_set_is_the_whole_ladder():
    rule = fit_prediction_set_rule(np.full((8, 4), 0.25), np.zeros(8, int), range(8))
    assert rule == PredictionSetRule(0.0, 8)
    assert rule.contains(np.array([[0.97, 0.01, 0.01, 0.01]])).all()


def test_a_set_has_no_gap_and_holds_the_proposed_grade():
    rule = PredictionSetRule(0.3, 50)
    two_peaks = np.array(
        [[0.35, 0.1, 0.2, 0.35], [0.24, 0.26, 0.26, 0.24], [0.05, 0.9, 0.04, 0.01]]
    )
    expected = [[1, 1, 1, 1], [0, 1, 0, 0], [0, 1, 0, 0]]
    assert rule.contains(two_peaks).astype(int).tolist() == expected


def test_coverage_spreads_as_the_beta_law_says():
    """Coverage of split sets is Beta(k, n + 1 - k): with n 100 and 90 %, 95 % of runs lie in 0.836 to 0.951
    (Marques 2023, arXiv 2303.02770; the range computed from that law). Chances without ties, sets without fill."""
    rng, covered = np.random.default_rng(3), []
    for _ in range(300):
        chance = rng.random((2100, 2)) * [1.0, 0.0] + [0.0, 1.0]
        called = chance[:, 0]  # chance of the called grade, uniform: any continuous law will do
        p = np.stack([called, 1 - called], axis=1)
        rule = fit_prediction_set_rule(p[:100], np.zeros(100, int), range(100))
        covered.append(float((called[100:] >= rule.min_probability).mean()))
    inside = np.mean([(0.836 <= c <= 0.951) for c in covered])
    assert np.mean(covered) == pytest.approx(91 / 101, abs=0.006)
    assert 0.91 <= inside <= 0.985


def test_sets_of_a_four_grade_simulation_hold_nine_in_ten():
    """By hand against the published law: k / (n + 1) is the mean coverage, fill and median only add."""
    rng = np.random.default_rng(8)
    hits = []
    for _ in range(40):
        p = rng.dirichlet([1, 2, 2, 1], size=1200)
        rung = (p.cumsum(axis=1) < rng.random((1200, 1))).sum(axis=1)
        members = fit_prediction_set_rule(p[:200], rung[:200], range(200)).contains(p[200:])
        hits.append(members[np.arange(1000), rung[200:]].mean())
    assert 0.895 <= np.mean(hits) <= 0.94


def test_many_photos_of_one_stone_are_one_stone():
    chances = np.tile([0.05, 0.9, 0.05], (40, 1))
    # Nine of one stone settle nothing; nine stones do, each by its poorest face.
    assert fit_prediction_set_rule(chances[:9], np.ones(9, int), ["one"] * 9) == PredictionSetRule(
        0.0, 1
    )
    chances[0] = (0.2, 0.6, 0.2)
    rule = fit_prediction_set_rule(chances[:18], np.ones(18, int), [str(n % 9) for n in range(18)])
    assert rule == PredictionSetRule(0.6, 9)


class _Given:
    """A classifier whose chances are what it is shown, as scikit-learn's own are asked."""

    classes_ = np.arange(4)

    def fit(self, x, y):
        return self

    def predict(self, x):
        return np.argmax(x, axis=1)

    def predict_proba(self, x):
        return np.asarray(x)

    def __sklearn_is_fitted__(self):
        return True


@pytest.mark.parametrize("n", [10, 20, 57, 200])  # MAPIE refuses nine
def test_the_threshold_is_that_of_mapies_split_sets(n):
    """Outside value: MAPIE, split conformal sets by the chance of the called grade ("lac"; Sadinle, Lei & Wasserman
    2019, J. Am. Stat. Assoc. 114:223-234, from memory), before gaps are filled."""
    classification = pytest.importorskip("mapie.classification")
    base = pytest.importorskip("sklearn.base")

    class Given(_Given, base.ClassifierMixin, base.BaseEstimator):
        pass

    rng = np.random.default_rng(n)
    chances, fresh = rng.dirichlet([1, 2, 2, 1], size=n), rng.dirichlet([1, 2, 2, 1], size=500)
    rung = (chances.cumsum(axis=1) < rng.random((n, 1))).sum(axis=1)
    rung[:4] = range(4)  # MAPIE wants every grade among the calls.
    theirs = classification.SplitConformalClassifier(
        Given(), confidence_level=0.9, conformity_score="lac", prefit=True
    )
    _, sets = theirs.conformalize(chances, rung).predict_set(fresh)
    rule = fit_prediction_set_rule(chances, rung, range(n))
    assert ((fresh >= rule.min_probability) == sets[:, :, 0]).all()
