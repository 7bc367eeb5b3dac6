"""The chances of lines are held to a stored table: what the network said of lines, and which of them are cracks.

tests/benchmarks/crack_chances.py made ``crack_chances.csv`` from tuning renders, whose truth is the renderer's. The
error of calibration is that of Naeini et al. 2015, over ten bins of equal width (from memory).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from metrics import calibration_error

from grader.face.lines.cracks import _line

#: Our own bound: of 274 lines in ten bins chance alone makes an error of about 0.05.
BOUND = 0.1
TABLE = Path(__file__).with_name("crack_chances.csv")


@pytest.fixture(scope="module")
def told() -> tuple[np.ndarray, np.ndarray]:
    """The network's chance of each line of the table, and whether it is a crack."""
    with open(TABLE, encoding="utf-8", newline="") as file:
        rows = [(float(row["said"]), row["is_crack"] == "1") for row in csv.DictReader(file)]
    said, true = map(np.array, zip(*rows, strict=True))
    return said, true


def probability(said: float) -> float:
    """What is told of a line all along which the network says the same."""
    points = np.stack([np.arange(5.0, 35.0), np.full(30, 10.0)], axis=1)
    everywhere = np.ones((20, 40), np.float32)
    return _line(points, everywhere * said, everywhere, everywhere * 50).probability


def test_the_chances_of_lines_are_as_often_right_as_they_say(told):
    said, true = told
    chances = np.array([probability(one) for one in said])
    assert len(said) > 150 and 0.2 < true.mean() < 0.8
    assert calibration_error(chances, true.astype(float)) < BOUND
    # As the network says it, it is too sure: the table can tell.
    assert calibration_error(said, true.astype(float)) > BOUND
    assert chances.mean() == pytest.approx(true.mean(), abs=0.06)
