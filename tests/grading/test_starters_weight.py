"""How much the starter is believed among the simulated sellers before many calls are made."""

import numpy as np
import pytest

from grader.grading.models.model_files import load_model
from grader.grading.models.seller_ensemble import AS_THE_STARTER


def _rungs(below) -> np.ndarray:
    """The likeliest-by-halves grade of each face, by its chances of lying below each border."""
    return (below < 0.5).sum(axis=1)


def test_the_starter_that_ships_believes_its_own_seller_as_the_tool_says():
    """A seller begun anew from it (``prior``) must not find another weight than the starter was made with."""
    ensemble = load_model().grade.ensemble
    assert ensemble.chances[0] == AS_THE_STARTER
    assert ensemble.prior == ensemble


@pytest.mark.slow
def test_two_calls_leave_the_starters_proposals_nearly_as_they_were(make_faces, profile):
    """A seller who goes by the written rules calls two of 400 made-up faces, 40 times over. Our own bound, no source:
    one proposal in 25 may change. With a weight of 0.5 about twice as many did, with 0.3 four times as many."""
    starter = load_model()
    rows, rung = make_faces(400, np.random.default_rng(3), profile)
    rows = [starter.complete(row, profile) for row in rows]
    x, rung = starter.grade.scaling.design(rows), np.asarray(rung)
    alone = _rungs(np.cumsum(starter.grade.ordinal.probabilities(x), axis=1)[:, :-1])
    rng, changed = np.random.default_rng(1), []
    for _ in range(40):
        called = rng.choice(400, 2, replace=False)
        updated = starter.grade.ensemble.prior.updated(x[called], rung[called])
        changed.append(float((_rungs(updated.below(x)) != alone).mean()))
    assert 0 < np.mean(changed) < 0.04
