"""What is said of an invented season when it is made."""

from grader.demo.season import TRIES, MadeSeason


def season_record(made: MadeSeason) -> dict:
    """Return the same as data."""
    return {
        "folder": str(made.folder),
        "ledger": str(made.ledger),
        "pieces": made.pieces,
        "graded": made.graded,
        "invented": True,
        "try": list(TRIES),
    }


def season_lines(made: MadeSeason) -> list[str]:
    """Return where it lies, and a few lines on what to try next."""
    return [
        f"{made.folder}: an invented season, {made.pieces} drawn stones, {made.graded} of them graded; "
        "nothing in it is real",
        f"stand in that folder, where its own ledger holds: cd {made.folder}",
        *TRIES,
    ]
