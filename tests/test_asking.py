"""Which stones of a graded folder to call next, below the command."""

from pathlib import Path

import pytest

from grader.asking import stones_to_call
from grader.calling import call_on, save_call
from grader.checking import check_photos
from grader.errors import CallsError, LedgerError
from grader.grading.proposal import Call
from grader.photo.terms import PhotoTerms
from grader.session import Session

TIME = "2025-03-01T09:30:00+01:00"


@pytest.fixture
def tray(tmp_path, monkeypatch, measuring):
    """A session, and a folder "tray" that it has graded: two photos with two stones each, and one to take again."""
    monkeypatch.chdir(tmp_path)
    folder = Path("tray")
    folder.mkdir()
    for name, content in (("a.jpg", "2"), ("b.jpg", "2 and b"), ("c.jpg", "retake")):
        (folder / name).write_text(content)
    session = Session()
    list(check_photos(sorted(folder.iterdir()), PhotoTerms(), session))
    yield session, folder
    session.close()


def say(session, photo, piece, **call_fields):
    call = Call(
        str(photo),
        None,
        piece,
        None,
        call_fields.get("grade"),
        call_fields.get("scene"),
        None,
        TIME,
        None,
    )
    save_call(*call_on(photo, call, PhotoTerms(), session), session)


def asked_for(session, folder, count=9):
    return {(one.file, one.piece["id"]) for one in stones_to_call(folder, session, count)}


def test_stones_without_a_called_grade_are_asked_for_where_one_is_proposed(tray):
    session, folder = tray
    every = {(f"{name}.jpg", piece) for name in "ab" for piece in (1, 2)}
    assert asked_for(session, folder) == every
    say(session, folder / "a.jpg", 2, grade="select")
    say(session, folder / "b.jpg", 1, scene=70)
    assert asked_for(session, folder) == every - {("a.jpg", 2)}


def test_no_more_stones_are_asked_for_than_wanted_and_the_same_ones_again(tray):
    session, folder = tray
    assert len(first := asked_for(session, folder, 3)) == 3
    assert asked_for(session, folder, 3) == first


def test_a_folder_that_was_not_graded_and_a_dry_look_are_refused(tray):
    session, folder = tray
    other = Path("other")
    other.mkdir()
    (other / "new.jpg").write_text("1 new")
    with pytest.raises(CallsError, match="not graded yet"):
        stones_to_call(other, session, 3)
    with pytest.raises(LedgerError, match="asking needs the ledger"):
        stones_to_call(folder, Session(dry=True), 3)
