"""The page of a second look: its figures, the table of grades, and the stones called farthest apart."""

from base64 import b64encode
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from grader.files import write_text
from grader.grading.learning.agreement import counts
from grader.grading.learning.second_look import Looked, SecondLook
from grader.report.agreement import FIGURES, figure_line, figure_lines, interval_words
from grader.report.sheet import page_template

#: Whose sortings are held beside each other.
COLUMNS = ("first and second", "model and first", "model and second")


def second_look_lines(looked: Looked, judged: SecondLook, grades: Sequence[str]) -> list[str]:
    """Return how well two sortings agree as plain lines, 95 % intervals in brackets."""
    first, *rest = second_look_words(looked, judged, grades)
    columns = [judged.people, judged.model_first, judged.model_second]
    return [first, figure_line("", *COLUMNS), *figure_lines(columns), *rest]


def second_look_figures(judged: SecondLook) -> list[list[str]]:
    """Return the same figures as a table: a row each, its name in front, then a cell for each of ``COLUMNS``."""
    columns = [judged.people, judged.model_first, judged.model_second]
    return [
        [words, *(interval_words(getattr(one, name)) if one else "no proposals" for one in columns)]
        for name, words in FIGURES.items()
    ]


def second_look_words(looked: Looked, judged: SecondLook, grades: Sequence[str]) -> list[str]:
    """Return how many stones there were, then on which neighbours the sortings differ, and which is the milder one."""
    apart = [
        f"{grades[k]} or {grades[k + 1]}: the two sortings differ on a share of {interval_words(figure)} of these"
        for k, figure in enumerate(judged.neighbours)
        if figure.value is not None
    ]
    above = float(np.mean(looked.second - looked.first))
    return [
        f"{judged.people.n} stones sorted twice, 95 % interval in brackets:",
        *apart,
        _milder_words(above),
    ]


def _milder_words(above: float) -> str:
    """Return by how much the second look is milder or stricter on average."""
    if abs(above) < 0.005:
        return "on average the second look is as strict as the first"
    which = "milder" if above > 0 else "stricter"
    return f"on average the second look is {abs(above):.2f} grades {which} than the first"


def write_second_look(
    path: Path,
    looked: Looked,
    judged: SecondLook,
    grades: Sequence[str],
    pictures: Sequence[tuple[str, int, bytes | None]],
) -> None:
    """Write the page.

    Parameters
    ----------
    pictures : of each stone its photo, number and JPEG, ``None`` where it is gone.
    """
    stones = []
    for row in judged.worst:
        photo, piece, picture = pictures[row]
        model = looked.model[row]
        stones.append(
            {
                "photo": photo,
                "piece": piece,
                "picture": picture and b64encode(picture).decode(),
                "first": grades[looked.first[row]],
                "second": grades[looked.second[row]],
                "model": grades[model] if model >= 0 else "nothing",
            }
        )
    html = page_template("second_look.html").render(
        lines=second_look_lines(looked, judged, grades),
        grades=list(grades),
        table=counts(looked.first, looked.second, len(grades)).tolist(),
        stones=stones,
    )
    write_text(path, html)
