"""``grader ask``: stones of a graded folder to call next, those whose calls would tell most."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import CountOption, GradedFolder, takes_session


@takes_session
def ask(
    folder: GradedFolder,
    count: CountOption = 20,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv", help="Write them as a table to fill in, for grader call --from."
        ),
    ] = None,
    *,
    session,
) -> None:
    """Name the stones to call next: those whose calls would tell most of how you would grade the others.

    Stones with a called grade are left out; of several photos of a stone that calls name, one is asked for.
    """
    import numpy as np

    from grader.called import graded_stones
    from grader.files import check_new, write_new
    from grader.grading.learning.ask import ask_for
    from grader.grading.learning.called_faces import learned_from
    from grader.report.columns import calls_table
    from grader.report.words import set_words

    if out:
        check_new(out)
    profile, model = session.profile, session.model()
    ledger = session.need_ledger("asking")
    decider = session.settings.decider
    stones = [
        stone
        for stone in graded_stones(folder, profile, model, ledger, decider=decider)
        if stone.piece["proposal"]
    ]
    model = model.for_ladder(profile)
    head = model.grade
    expected, chances = np.zeros((0, len(stones))), np.zeros(0)
    if head.ensemble is not None:
        seen = [model.complete(stone.facts.features, profile) for stone in stones]
        expected, chances = head.ensemble.expected_grades(head.scaling.design(seen))
    called = [row for row, s in enumerate(stones) if s.call and s.call.grade]
    of_called = [
        replace(s.call, sha256=s.look.ask.sha256, piece=s.piece["id"])
        for s in stones
        if s.call and s.call.grade
    ]
    learned = learned_from(of_called, model)
    not_learned = [row for row, known in zip(called, learned, strict=True) if not known]
    names = [s.name for s in stones]
    rng = np.random.default_rng(0)
    rows = ask_for(expected, chances, count, called, not_learned, names, rng)
    asked = [stones[row] for row in rows]
    for stone in asked:
        typer.echo(f"{stone.file} stone {stone.piece['id']}: {set_words(stone.piece['proposal'])}")
    if not asked:
        typer.echo("every stone there has a called grade, or no grade could be proposed", err=True)
    elif len(asked) < count:
        typer.echo(f"no more than these {len(asked)} stones are without a called grade", err=True)
    if out:
        write_new(out, calls_table([(s.look.record, s.piece) for s in asked]))
        typer.echo(f"fill in grade or scene, then: grader call --from {out}", err=True)
