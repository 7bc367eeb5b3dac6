"""The stones of a graded folder to call next."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from grader.called import GradedStone, graded_stones
from grader.grading.learning import ask
from grader.grading.learning.called_faces import learned_from
from grader.report.headline import proposal_of
from grader.session import Session


def stones_to_call(folder: Path, session: Session, count: int) -> list[GradedStone]:
    """Return up to ``count`` stones whose calls would tell most of how a person would grade the others, the first most.

    Stones with a called grade are left out, and so are those of which no grade is proposed.

    Raises
    ------
    CallsError
        None of the folder's photos was graded yet.
    """
    profile, model = session.profile, session.model()
    ledger, decider = session.need_ledger("asking"), session.settings.decider
    graded = graded_stones(folder, profile, model, ledger, decider=decider)
    stones = [stone for stone in graded if proposal_of(stone.piece)]
    model = model.for_ladder(profile)
    head = model.grade
    expected, chances = np.zeros((0, len(stones))), np.zeros(0)
    if head.ensemble is not None:
        complete = [model.complete(stone.facts.features, profile) for stone in stones]
        expected, chances = head.ensemble.expected_grades(head.scaling.design(complete))
    called = [row for row, stone in enumerate(stones) if stone.call and stone.call.grade]
    calls = [
        replace(
            stones[row].call,
            sha256=stones[row].look.ask.sha256,
            piece=stones[row].piece["id"],
        )
        for row in called
    ]
    learned = learned_from(calls, model)
    not_learned = [row for row, known in zip(called, learned, strict=True) if not known]
    names = [stone.name for stone in stones]
    rng = np.random.default_rng(0)
    rows = ask.ask_for(expected, chances, count, called, not_learned, names, rng)
    return [stones[row] for row in rows]
