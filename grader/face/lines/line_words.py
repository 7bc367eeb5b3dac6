"""The seller's word on a line: kept with the line's points, it holds for whatever lies there later."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.lines.polyline import length_px, resample
from grader.face.measurements import Line
from grader.face.words import FOUND as FOUND
from grader.face.words import LineWord as LineWord

#: What a seller may say of a line, and the class and probability that it then has; "withdrawn" takes the word back.
CLASSES = {"crack": ("crack", 1.0), "pattern": ("pattern line", 0.0), "withdrawn": None}
#: A line is the one spoken of where this share of its length
SAME_SHARE = 0.6
#: lies within so many working px of it.
SAME_PX = 5.0


def with_line_words(
    lines: Sequence[Line], words: Iterable[LineWord], face: Face
) -> tuple[Line, ...]:
    """Return the lines, in their order, each with the class that the seller gave it.

    A later word on the same line takes the place of an earlier one. A crack of the seller's where no
    line is seen now is put last, so that no word is lost and no other line's number changes.
    """
    standing = _standing([(word, _on_face(word, face)) for word in words])
    worded, met = [], set()
    for line in lines:
        # The last word on it counts.
        for k in range(len(standing) - 1, -1, -1):
            word, points = standing[k]
            if same_line(line.points, points):
                kind, probability = CLASSES[word.says]
                line = replace(line, kind=kind, probability=probability, source="seller")
                met.add(k)
                break
        worded.append(line)
    added = [
        Line(points, length_px(points), 1.0, *CLASSES[word.says], source="seller")
        for k, (word, points) in enumerate(standing)
        if k not in met and word.says == "crack"
    ]
    return (*worded, *added)


def same_line(points: NDArray, kept: NDArray) -> bool:
    """Return whether a polyline is the kept one: most of its length lies near it. Both in working px."""
    return bool((distance_px(points, kept) <= SAME_PX).mean() >= SAME_SHARE)


def distance_px(points: NDArray, kept: NDArray) -> NDArray[np.float64]:
    """Return how far from the kept polyline each px along another lies, (n,). Both in working px."""
    path, other = resample(points), resample(kept)
    return np.hypot(*(path[:, None] - other[None]).transpose(2, 0, 1)).min(axis=1)


def _standing(words: list[tuple[LineWord, NDArray]]) -> list[tuple[LineWord, NDArray]]:
    """The last word on each line; those that only take back are left out."""
    kept: list[tuple[LineWord, NDArray]] = []
    for word, points in words:
        kept = [one for one in kept if not same_line(one[1], points)]
        kept.append((word, points))
    return [one for one in kept if one[0].says != "withdrawn"]


def _on_face(word: LineWord, face: Face) -> NDArray[np.float64]:
    # Points of a photo are whole px; their middle is meant.
    return face.from_photo_px(np.asarray(word.points, float) + 0.5)
