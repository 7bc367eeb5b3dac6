"""Two models on called stones, below the command: which stones count, and whose proposals agree better."""

import json
from dataclasses import replace

import pytest

from grader.called import CalledStones
from grader.comparing import compare_models, faces_to_compare, stones_to_compare
from grader.errors import CallsError, LedgerError
from grader.grading.learning.called_faces import stone_key
from grader.grading.models.model_files import load_model, starter_folder
from grader.grading.proposal import Call
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.session import Session

PROFILE = load_profile()
TIME = "2025-03-01T09:30:00+01:00"


@pytest.fixture(scope="module")
def starter():
    return load_model()


@pytest.fixture(scope="module")
def stones(starter):
    """Return a function that calls the starter's own sample stones, each by the grade that a model proposes."""
    faces = json.loads((starter_folder() / "sample.json").read_text("utf-8"))["faces"]
    rows = {(f"{n:02x}" * 32, 1): face["features"] for n, face in enumerate(faces)}

    def called_as(model):
        complete = [model.complete(row, PROFILE) for row in rows.values()]
        grades = [PROFILE.grades[rung] for rung in model.grade.rungs(complete)]
        calls = [
            Call(f"{n}.jpg", sha256, piece, (0, 0, 9, 9), grade, None, None, TIME, None)
            for n, ((sha256, piece), grade) in enumerate(zip(rows, grades, strict=True))
        ]
        return CalledStones(tuple(calls), rows)

    return called_as


def stricter(model):
    """The model with all its borders moved up, so that it grades lower."""
    grade = replace(model.grade, ensemble=None)
    cuts = tuple(cut + 6.0 for cut in grade.ordinal.cuts)
    return replace(
        model, name="strict", grade=replace(grade, ordinal=replace(grade.ordinal, cuts=cuts))
    )


def test_a_model_agrees_wholly_with_calls_that_are_its_own_grades(starter, stones):
    other = stricter(starter)
    for first, second in ((starter, other), (other, starter)):
        faces, learned = faces_to_compare([first, second], stones(first), PROFILE, "the ledger")
        both = compare_models(first, second, faces, PROFILE, "the ledger")
        assert learned == 0 and both.first.n == len(faces.names)
        assert both.first.equal.value == 1.0 > both.second.equal.value


def test_stones_that_a_model_has_learned_from_are_left_out_and_counted(starter, stones):
    called = stones(starter)
    known = called.calls[0].sha256, called.calls[0].piece
    learned = replace(starter, provenance=replace(starter.provenance, stones=(stone_key(known),)))
    faces, left_out = faces_to_compare([starter, learned], called, PROFILE, "the ledger")
    assert left_out == 1 and len(faces.names) == len(called.calls) - 1 and known not in faces.stones


def test_where_no_stone_is_left_or_called_it_says_so_with_where_the_calls_stand(starter, stones):
    called = stones(starter)
    keys = tuple(stone_key((call.sha256, call.piece)) for call in called.calls)
    learned = replace(starter, provenance=replace(starter.provenance, stones=keys))
    faces, _ = faces_to_compare([learned, starter], called, PROFILE, "CALLS.csv")
    with pytest.raises(CallsError, match=r"CALLS\.csv: a model has learned from all"):
        compare_models(learned, starter, faces, PROFILE, "CALLS.csv")
    with pytest.raises(CallsError, match="the ledger: no grade in it"):
        faces_to_compare([starter], CalledStones((), {}), PROFILE, "the ledger")


def test_calls_of_the_ledger_need_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(LedgerError, match="comparing on your calls needs the ledger"):
        stones_to_compare(
            None, [], PhotoTerms(), Session(dry=True), time=TIME, on_photo=lambda done, of: None
        )
