"""Models in plain lines: which there are, since when each was in use, and whether the stones have moved."""

from collections.abc import Sequence
from pathlib import Path

from grader.errors import ModelError
from grader.grading.learning.drift import LEAST
from grader.grading.models.model import Model
from grader.measures import Interval
from grader.report.agreement import interval_words

#: Of the list of models; the first says which is in use.
HEADS = ("", "model", "kind", "made", "from")


def model_row(folder: str | None, model: Model | ModelError, in_use: bool) -> tuple[str, ...]:
    """Return the cells of a model in the list, or why it cannot be read.

    folder : its whole path, ``None`` for the starter.
    """
    mark = "in use" if in_use else ""
    if isinstance(model, ModelError):
        return mark, nearest_path(folder), "cannot be read", "", str(model)
    name = model.label if folder is None else f"{nearest_path(folder)} ({model.label})"
    return mark, name, model.grade.kind, str(model.provenance.date), model.provenance.data


def nearest_path(folder: str) -> str:
    """Return a folder as it is called from here: below the working folder by its path there, else by its whole path."""
    path, here = Path(folder), Path().resolve()
    return str(path.relative_to(here)) if path.is_relative_to(here) else folder


def use_words(folder: str | None, label: str | None) -> str:
    """Return "spring 0f0f0f0f (/people/nell/spring)"."""
    return f"{label or 'a model that could not be read'} ({folder or 'the starter'})"


def stones_lines(count: int, far: Sequence[tuple[str, Interval]], label: str) -> list[str]:
    """Return how far a season's stones lie from those that a model knows.

    count : of the stones.   far : features that lie far, each with by how many spreads.   label : of the model.
    """
    if count < LEAST:
        return [f"{count} stones: too few to tell a shift; {LEAST} are needed"]
    if not far:
        return [f"{count} stones, no shift from the stones that {label} learned from"]
    return [
        *(
            f"{name}: {interval_words(figure)} spreads away from the stones that {label} learned from"
            for name, figure in far
        ),
        "call some of them and retrain, or look at light and scale first",
    ]
