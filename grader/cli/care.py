"""``grader care``: how to stay whole."""

import typer


def care() -> None:
    """Show all cautions, by what you are about to do, each with where it comes from."""
    from grader.report.cautions import care_text

    typer.echo(care_text())
