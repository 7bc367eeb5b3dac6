"""A blind re-sort, below the command: begun, gone on with, answered, taken back, and judged."""

from pathlib import Path

import pytest

from grader.calling import call_on, save_call
from grader.checking import check_photos
from grader.errors import CallsError
from grader.grading.proposal import Call
from grader.ledger import views
from grader.photo.terms import PhotoTerms
from grader.resorting import answer, finish, sit_down, undo
from grader.session import Session

GRADES = ("waste", "tumbling", "cabbing")


@pytest.fixture
def tray(tmp_path, monkeypatch, measuring):
    """A session, and a folder "tray" that it has graded: three photos with a stone each, called by Nell."""
    monkeypatch.chdir(tmp_path)
    folder = Path("tray")
    folder.mkdir()
    session = Session()
    for number, grade in enumerate(GRADES):
        photo = folder / f"{number}.jpg"
        photo.write_text(f"1 {number}")
        list(check_photos([photo], PhotoTerms(), session))
        time = f"2025-03-0{number + 1}T09:30:00+01:00"
        call = Call(str(photo), None, 1, None, grade, None, "Nell", time, None)
        save_call(*call_on(photo, call, PhotoTerms(), session), session)
    yield session, folder
    session.close()


def sit(tray, **given):
    session, folder = tray
    return sit_down(folder, session, **{"by": "Ole", "of": None, "count": 3, "seed": 1} | given)


def test_answers_are_kept_at_once_and_the_sitting_goes_on_with_the_rest(tray):
    session, _ = tray
    sitting = answer(sit(tray), "waste", session.ledger)
    assert sitting.resort.next == 1
    again = sit(tray)
    assert again.begun.uid == sitting.begun.uid and again.resort == sitting.resort
    assert sit(tray, by="Ada").resort.answers == {} == sit(tray, anew=True).resort.answers


def test_the_last_answer_is_taken_back_by_a_fact_more(tray):
    session, _ = tray
    sitting = answer(answer(sit(tray), "waste", session.ledger), "cabbing", session.ledger)
    before = len(list(session.ledger.entries()))
    sitting, stone = undo(sitting, session.ledger)
    assert (stone, sitting.resort.next, sitting.resort.answers) == (1, 1, {0: "waste"})
    assert len(list(session.ledger.entries())) == before + 1
    with pytest.raises(CallsError, match="no answer to take back"):
        undo(undo(sitting, session.ledger)[0], session.ledger)


def test_the_same_answers_agree_wholly_and_the_sitting_is_done(tray):
    session, _ = tray
    sitting = sit(tray)
    for grade in sitting.begun.first:
        sitting = answer(sitting, grade, session.ledger)
    done = finish(sitting, session.profile, session.ledger)
    assert done.judged.people.equal.value == 1.0 and done.judged.people.n == 3
    assert [picture[:2] == b"\xff\xd8" for _, _, picture in done.pictures] == [True] * 3
    assert [one.done for one in views.resorts(session.ledger)] == [True]
    assert sit(tray).begun.uid != sitting.begun.uid


def test_a_stone_left_out_is_neither_answered_nor_judged(tray):
    session, _ = tray
    sitting = answer(sit(tray).without_next(), "waste", session.ledger)
    assert sitting.resort.answers == {1: "waste"}
    assert finish(sitting, session.profile, session.ledger).judged.people.n == 1


def test_without_calls_or_answers_there_is_nothing_to_sort_or_judge(tray):
    session, _ = tray
    with pytest.raises(CallsError, match="no stone in it has a called grade by Ada"):
        sit(tray, of="Ada")
    with pytest.raises(CallsError, match="no stone of this look can be shown"):
        finish(sit(tray), session.profile, session.ledger)
