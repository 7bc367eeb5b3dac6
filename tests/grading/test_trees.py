"""Monotone trees: kept as plain numbers, read by numpy alone, held to scikit-learn's own predictions."""

import json
import subprocess
import sys
from dataclasses import asdict

import numpy as np
import pytest
from sklearn.ensemble import HistGradientBoostingClassifier

from grader.grading.models.trees import GROW, Boosted, Tree, Trees, fit_trees, table

NAMES, BETTER = ("blue", "cracks", "size"), (1, -1, 0)


def made_up(n, rng):
    """Grades 0 to 3 that rise with blue and fall with cracks; a third of the sizes unknown."""
    blue, cracks, size = rng.random(n), rng.random(n), rng.random(n)
    rung = np.clip(np.floor(4 * (blue - 0.5 * cracks + 0.3 * rng.standard_normal(n))), 0, 3)
    unknown = rng.random(n) < 1 / 3
    rows = [
        {"blue": b, "cracks": c, "size": None if u else s}
        for b, c, s, u in zip(blue, cracks, size, unknown, strict=True)
    ]
    return rows, rung.astype(int)


@pytest.fixture(scope="module")
def grown():
    rows, rung = made_up(300, np.random.default_rng(1))
    return rows, rung, fit_trees(rows, rung, 4, NAMES, BETTER)


def test_numpy_reads_what_scikit_learn_predicts(grown):
    """Outside value: HistGradientBoostingClassifier.predict_proba, scikit-learn 1.6 or newer."""
    rows, rung, trees = grown
    new, _ = made_up(200, np.random.default_rng(2))
    x = table(new, NAMES)
    assert np.isnan(x).any()
    for k, border in enumerate(trees.borders):
        theirs = HistGradientBoostingClassifier(monotonic_cst=list(BETTER), **GROW)
        theirs.fit(table(rows, NAMES), rung > k)
        ours = 1 / (1 + np.exp(-border.log_odds(x)))
        np.testing.assert_allclose(ours, theirs.predict_proba(x)[:, 1], rtol=0, atol=1e-9)


def test_written_as_json_they_say_the_same(grown):
    rows, _, trees = grown
    plain = json.loads(json.dumps(asdict(trees), allow_nan=False))
    again = Trees(
        tuple(plain["names"]),
        tuple(
            Boosted(
                b["base"], tuple(Tree(**{k: tuple(v) for k, v in t.items()}) for t in b["trees"])
            )
            for b in plain["borders"]
        ),
    )
    assert np.array_equal(again.probabilities(rows), trees.probabilities(rows))


def test_more_blue_never_lowers_and_more_cracks_never_lift_the_place(grown):
    trees = grown[2]
    for name, sign in (("blue", 1), ("cracks", -1)):
        rows = [
            {"blue": 0.5, "cracks": 0.5, "size": None} | {name: v} for v in np.linspace(0, 1, 50)
        ]
        place = trees.probabilities(rows) @ np.arange(4)
        assert np.all(sign * np.diff(place) >= -1e-12)
        assert sign * (place[-1] - place[0]) > 0.5


def test_chances_are_chances_even_where_borders_cross():
    up, down = Boosted(2.0, ()), Boosted(-1.0, ())
    chances = Trees(("blue",), (down, up)).probabilities([{"blue": 1.0}])[0]
    # Frank & Hall 2001 (from memory): P(>2) above P(>1) would make a class negative.
    assert np.all(chances >= 0) and chances.sum() == pytest.approx(1)
    assert chances[1] == 0
    # By hand: P(>1) 0.8, P(>2) 0.3 split into 0.2, 0.5, 0.3.
    borders = tuple(Boosted(float(np.log(p / (1 - p))), ()) for p in (0.8, 0.3))
    split = Trees(("blue",), borders).probabilities([{"blue": None}])[0]
    assert split == pytest.approx([0.2, 0.5, 0.3])


def test_a_border_that_no_call_crosses_keeps_a_small_chance():
    rows, _ = made_up(20, np.random.default_rng(3))
    chances = fit_trees(rows, np.ones(20, int), 4, NAMES, BETTER).probabilities(rows)
    assert np.all(chances.argmax(axis=1) == 1) and np.all(chances[:, 0] > 0)


def test_reading_trees_needs_no_training_library(grown):
    code = (
        "import sys; from grader.grading.models.trees import Trees; "
        "assert not {'scipy', 'sklearn'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("unknown_is_poor", [True, False])
def test_a_split_between_known_and_unknown_is_written_as_json_too(unknown_is_poor):
    rng = np.random.default_rng(3)
    poor = rng.random(200) < 0.5
    rows = [
        {"blue": 0.5, "cracks": 0.5, "size": None if p == unknown_is_poor else float(size)}
        for p, size in zip(poor, rng.random(200), strict=True)
    ]
    trees = fit_trees(rows, np.where(poor, 0, 1), 2, NAMES, BETTER)
    json.dumps(asdict(trees), allow_nan=False)
    best = trees.probabilities(rows).argmax(axis=1)
    assert (best == np.where(poor, 0, 1)).all()
