import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from grader.grading.learning.agreement import (
    agreement,
    bootstrap,
    counts,
    mean_of,
    share,
    weighted_kappa,
)

COHEN = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]


@pytest.mark.parametrize(
    ("weights", "kappa"),
    [
        ([[0, 1, 1], [1, 0, 1], [1, 1, 0]], 0.4915),
        ([[0, 1, 3], [1, 0, 6], [3, 6, 0]], 0.3478),
        ([[0, 1, 4], [1, 0, 6], [2, 2, 0]], 0.3534),
        ([[0, 1, 2], [1, 0, 1], [2, 1, 0]], 0.47368),
        (None, 0.45455),
    ],
)
def test_weighted_kappa_of_the_published_table(weights, kappa):
    # Cohen 1968, Psychol. Bull. 70:213-220, doi 10.1037/h0026256 (first three,
    # published to three digits, recomputed to four); linear and quadratic weights of the same table computed apart.
    assert weighted_kappa(COHEN, weights) == pytest.approx(kappa, abs=1e-4)


def test_weights_of_similarity_are_one_less_the_weights_of_disagreement():
    # Table of Fleiss, Cohen & Everitt 1969; kappa 0.4286, weighted 0.5071 with similarity weights.
    table = [[106, 10, 4], [22, 28, 10], [2, 12, 6]]
    alike = np.array([[1, 0, 0.4444], [0, 1, 0.6667], [0.4444, 0.6667, 1]])
    assert weighted_kappa(table, 1 - np.eye(3)) == pytest.approx(0.4286, abs=1e-4)
    assert weighted_kappa(table, 1 - alike) == pytest.approx(0.5071, abs=1e-4)


def test_agrees_with_scikit_learn():
    rng = np.random.default_rng(3)
    for n in (20, 200):
        a = rng.integers(0, 4, n)
        b = np.clip(a + rng.integers(-1, 2, n), 0, 3)
        theirs = cohen_kappa_score(a, b, weights="quadratic")
        assert weighted_kappa(counts(a, b, 4)) == pytest.approx(theirs, abs=1e-12)


def test_kappa_is_not_defined_where_all_is_one_grade():
    assert weighted_kappa([[5, 0], [0, 0]]) is None
    assert weighted_kappa([[0, 0], [0, 0]]) is None


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_intervals_of_the_published_examples(hits, n, low, high):
    # Newcombe 1998, Stat. Med. 17:857-872, table I, method 3 (from memory).
    figure = share(hits, n)
    assert (figure.low, figure.high) == pytest.approx((low, high), abs=1e-4)


def test_a_share_of_nothing_is_not_defined():
    assert share(0, 0).value is None


def test_bootstrap_draws_whole_stones():
    # 20 stones of 5 equal photos each: the spread is that of 20 stones, not of 100 photos.
    rng = np.random.default_rng(0)
    by_stone = rng.normal(size=20)
    values, stones = np.repeat(by_stone, 5), np.repeat(np.arange(20), 5)
    figure = bootstrap(mean_of(values), stones, np.random.default_rng(1))
    assert figure.high - figure.low == pytest.approx(
        2 * 1.96 * by_stone.std() / np.sqrt(20), rel=0.15
    )


def test_no_interval_is_claimed_for_under_ten_stones():
    figure = bootstrap(lambda drawn: drawn.sum(axis=1), range(9), np.random.default_rng(1))
    assert (figure.value, figure.low, figure.high) == (9.0, None, None)


def test_agreement_counts_equal_and_within_one_grade():
    a, b = [0, 1, 2, 3] * 5, [0, 2, 2, 1] * 5
    found = agreement(a, b, 4, range(20), np.random.default_rng(0))
    assert (found.n, found.equal.value, found.within_one.value) == (20, 0.5, 0.75)
    again = agreement(a, b, 4, range(20), np.random.default_rng(0))
    assert found == again


@pytest.mark.slow
def test_the_interval_of_kappa_is_that_of_faces_drawn_one_by_one():
    """Outside value: sklearn.metrics.cohen_kappa_score of each draw, faces of the drawn stones laid in a row."""
    rng = np.random.default_rng(4)
    a = rng.integers(0, 4, 60)
    b = np.clip(a + rng.integers(-1, 2, 60), 0, 3)
    stones = rng.integers(0, 25, 60)
    names = np.unique(stones)
    drawn = []
    for draw in np.random.default_rng(1).integers(len(names), size=(1000, len(names))):
        rows = np.concatenate([np.flatnonzero(stones == names[i]) for i in draw])
        drawn.append(cohen_kappa_score(a[rows], b[rows], weights="quadratic"))
    found = agreement(a, b, 4, stones, np.random.default_rng(1)).kappa
    assert (found.low, found.high) == pytest.approx(np.quantile(drawn, [0.025, 0.975]), abs=1e-12)


def test_draws_without_a_kappa_are_left_out():
    # One stone of twelve is of another grade: in about a third of the draws it is missing and all is one grade.
    rungs = [0] * 11 + [3]
    kappa = agreement(rungs, rungs, 4, range(12), np.random.default_rng(0)).kappa
    assert (kappa.value, kappa.low, kappa.high) == (1.0, 1.0, 1.0)
    alike = agreement([1] * 12, [1] * 12, 4, range(12), np.random.default_rng(0)).kappa
    assert (alike.value, alike.low, alike.high) == (None, None, None)
