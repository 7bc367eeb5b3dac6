"""The page of a second look: its figures, the table of grades, and the stones called farthest apart."""

from base64 import b64encode
from collections.abc import Sequence
from pathlib import Path

from grader.files import write_text
from grader.grading.learning.agreement import counts
from grader.grading.learning.second_look import Looked, SecondLook, report_lines
from grader.report.sheet import page_template


def write_second_look(
    path: Path,
    looked: Looked,
    judged: SecondLook,
    grades: Sequence[str],
    places: Sequence[tuple[str, int, bytes | None]],
) -> None:
    """Write the page.

    Parameters
    ----------
    places : of each stone its photo, number and JPEG, ``None`` where it is gone.
    """
    stones = []
    for row in judged.worst:
        photo, piece, picture = places[row]
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
        lines=report_lines(looked, judged, grades),
        grades=list(grades),
        table=counts(looked.first, looked.second, len(grades)).tolist(),
        stones=stones,
    )
    write_text(path, html)
