"""``grader ask``: stones of a graded folder to call next, spread evenly over the ladder."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import ProfileOption, settled, working_calls


def ask(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", exists=True, file_okay=False, help="A folder that batch has graded."
        ),
    ],
    count: Annotated[int, typer.Option("-n", metavar="N", min=1, help="How many stones.")] = 20,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv", help="Write them as a table to fill in, for grader call --from."
        ),
    ] = None,
    profile: ProfileOption = None,
) -> None:
    """Name the stones to call next: spread evenly over the ladder, as the model sees it.

    Stones that have a call already are left out.
    """
    import numpy as np

    from grader.calling import graded_stones
    from grader.files import write_text
    from grader.grading.ask import ask_for
    from grader.report.columns import calls_table
    from grader.report.words import set_words

    loaded, _, _ = settled(profile, None, None)
    stones = [s for s in graded_stones(folder, working_calls()) if s.piece["proposal"]]
    grades = list(loaded.grades)
    chances = [s.piece["proposal"]["probabilities"] for s in stones]
    places = np.array([sum(p.get(g, 0) * k for k, g in enumerate(grades)) for p in chances])
    called = [row for row, s in enumerate(stones) if s.call]
    asked = [stones[row] for row in ask_for(places, count, called, np.random.default_rng(0))]
    for stone in asked:
        typer.echo(f"{stone.file} stone {stone.piece['id']}: {set_words(stone.piece['proposal'])}")
    if not asked:
        typer.echo("every stone there has a call, or no grade could be proposed", err=True)
    elif len(asked) < count:
        typer.echo(f"no more than these {len(asked)} are without a call", err=True)
    if out:
        write_text(out, calls_table([(s.record, s.piece) for s in asked]))
        typer.echo(f"fill in grade or scene, then: grader call --from {out}", err=True)
