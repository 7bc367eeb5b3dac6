"""A new model at the table: the report first, then taken or left."""

from types import SimpleNamespace

import pytest

from grader.grading.models.model_files import load_model
from grader.ledger import views
from grader.ledger.facts import new_uid
from grader.table.learning import Learning


@pytest.fixture
def table(laid):
    return laid({f"IMG_{n}.jpg": f"1 photo {n}" for n in range(3)})


@pytest.fixture
def page(table, ask):
    return ask(table)


def call_all(page, table, by="Nell"):
    for stone, grade in zip(table.stones, ("select", "waste", "cabbing"), strict=True):
        body = {"uid": new_uid(), "stone": stone.id, "measured": stone.measured, "by": by}
        assert page.post("/api/calls", body | {"grade": grade}).status_code == 200


@pytest.fixture
def judged(page, table):
    """A learning that came to its report: nothing in it is put in place."""
    call_all(page, table)
    learning = Learning(table)
    learning.begin("Nell").join()
    return learning


def test_the_report_comes_first_and_says_what_it_was_made_from(judged, table):
    lesson = judged.lesson
    assert (lesson.state, lesson.error) == ("judged", None)
    assert lesson.lines[0].startswith("too few calls to judge (3 stones with a grade")
    assert lesson.made_from.startswith("made from 3 called stones, from starter ")
    # Nothing is used and nothing lies on the disk until somebody says so.
    assert not views.model_uses(table.ledger)
    assert not table.ledger.path.with_name("table.models").exists()


def test_the_new_model_is_taken_and_all_is_proposed_anew_with_it(judged, table, page):
    assert judged.decide(judged.lesson.uid, True, "Nell").state == "taken"
    (use,) = views.model_uses(table.ledger)
    kept = load_model(use.fact.folder)
    assert kept.label == use.fact.label == table.session.model().label
    assert kept.label != load_model().label
    card = page.get(f"/api/stones/{table.stones[0].id}").json()
    assert card["model"] == kept.label
    with pytest.raises(Exception, match="Nell took the new model already"):
        judged.decide(judged.lesson.uid, False, "Ole")


def test_the_old_model_is_kept_and_nothing_is_left(judged, table):
    before = table.session.model().label
    assert judged.decide(judged.lesson.uid, False, "Ole").decided_by == "Ole"
    assert table.session.model().label == before
    assert not views.model_uses(table.ledger)
    assert not table.ledger.path.with_name("table.models").exists()
    with pytest.raises(Exception, match="look at its report first"):
        judged.decide(judged.lesson.uid, True, "Nell")


def test_without_a_call_it_says_so_in_one_line(page, table):
    learning = Learning(table)
    learning.begin("Nell", "Ole").join()
    assert (learning.lesson.state, learning.lesson.error) == (
        "refused",
        "no call by Ole in the ledger yet; call some stones first, under Sort",
    )


def test_a_fault_of_the_learning_is_told_and_another_can_begin(page, table, monkeypatch):
    call_all(page, table)
    learning = Learning(table)
    with monkeypatch.context() as patch:
        patch.setattr("grader.retraining.learning", SimpleNamespace())
        learning.begin("Nell").join()
    assert learning.lesson.error.startswith("it could not be learned (AttributeError: ")
    learning.begin("Nell").join()
    assert learning.lesson.state == "judged"


def test_two_do_not_learn_at_once(page, table, monkeypatch):
    monkeypatch.setattr("grader.table.learning.Thread", lambda **_: SimpleNamespace(start=int))
    assert page.post("/api/lesson", {"by": "Nell"}).json()["lesson"]["state"] == "looking"
    answer = page.post("/api/lesson", {"by": "Ole"})
    assert (answer.status_code, answer.json()["error"]) == (
        409,
        "Nell began one already; wait for its report",
    )
    decided = {"uid": "0" * 32, "take": True, "by": "Ole"}
    assert page.post("/api/lesson/decided", decided).status_code == 409


@pytest.mark.slow
def test_back_to_the_model_before(judged, table, page):
    # Where there is none the page offers no way back.
    assert page.get("/api/lesson").json()["before"] is None
    assert page.post("/api/lesson/back", {"by": "Nell"}).status_code == 409
    judged.decide(judged.lesson.uid, True, "Nell")
    assert page.get("/api/lesson").json()["before"] == load_model().label
    assert page.post("/api/lesson/back", {"by": "Nell"}).json()["in_use"] == load_model().label
