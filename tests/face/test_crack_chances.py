"""The chances of lines are held to a stored table: what was told of lines, and what they are.

tests/benchmarks/line_naming.py made ``crack_chances.csv`` from held-out renders that neither the network nor the line
model was fitted to; the truth is the renderer's. The error of calibration is that of Naeini et al. 2015, over ten bins
of equal width (from memory).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from metrics import calibration_error

from grader.errors import ModelError
from grader.face.lines import naming
from grader.face.lines.naming import LineModel, kind_at, line_model

#: Our own bound: of some 350 lines in ten bins chance alone makes an error of about 0.05.
BOUND = 0.1
TABLE = Path(__file__).with_name("crack_chances.csv")


@pytest.fixture(scope="module")
def chance_table() -> tuple[np.ndarray, np.ndarray]:
    """The chances (n, 2) of crack and pattern line of the table's lines, and what each is."""
    with open(TABLE, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    chances = np.array([(float(row["crack"]), float(row["pattern"])) for row in rows])
    return chances, np.array([row["is"] for row in rows])


@pytest.mark.parametrize(("place", "name"), [(0, "crack"), (1, "pattern")])
def test_the_chances_of_lines_are_as_often_right_as_they_say(chance_table, place, name):
    chances, true = chance_table[0][:, place], (chance_table[1] == name).astype(float)
    assert len(true) > 150 and 0.1 < true.mean() < 0.8
    assert calibration_error(chances, true) < BOUND
    # Surer than it is, it would be wrong: the table can tell.
    assert calibration_error(np.clip(2 * chances - 0.5, 0, 1), true) > calibration_error(
        chances, true
    )


def test_few_cracks_are_told_as_pattern_lines(chance_table):
    kinds = np.array([str(kind_at(*one)) for one in chance_table[0]])
    cracks = kinds[chance_table[1] == "crack"]
    assert (cracks == "pattern line").mean() <= 0.06
    assert np.isin(cracks, ("crack", "uncertain")).mean() >= 0.75
    assert (kinds[chance_table[1] == "pattern"] == "crack").mean() <= 0.25


@pytest.mark.parametrize(
    ("crack", "pattern", "kind"),
    [
        (0.9, 0.1, "crack"),
        (0.55, 0.4, "uncertain"),  # likelier a crack than not
        (0.35, 0.6, "uncertain"),  # surely a line, and too likely a crack to be called healed
        (0.1, 0.85, "pattern line"),
        (0.2, 0.3, None),  # likelier no line at all
        (0.0, 0.0, None),
    ],
)
def test_the_answer_weighs_what_a_mistake_costs(crack, pattern, kind):
    assert kind_at(crack, pattern) == kind


def test_a_dearer_miss_makes_more_lines_uncertain(monkeypatch):
    assert kind_at(0.3, 0.2) is None
    monkeypatch.setattr(naming, "MISS", 3.0)
    assert kind_at(0.3, 0.2) == "uncertain"


def test_without_evidence_either_way_the_model_says_its_first_chances():
    model = LineModel(np.zeros(2), np.ones(2), np.ones((2, 2)), np.log([2.0, 1.0]))
    # Odds of 2 and 1 against 1 for no line.
    np.testing.assert_allclose(model.chances(np.zeros((1, 2))), [[0.5, 0.25]])


def test_a_missing_or_damaged_model_is_told_in_one_line(monkeypatch, tmp_path):
    line_model.cache_clear()
    monkeypatch.setattr(naming, "starter_folder", lambda: tmp_path)
    for text in (None, "{", "{}"):
        if text is not None:
            (tmp_path / "lines.json").write_text(text, "utf-8")
        with pytest.raises(ModelError, match=r"lines\.json: the weights are missing or damaged"):
            line_model()
    monkeypatch.undo()
    line_model.cache_clear()
