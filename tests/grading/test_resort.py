"""A blind re-sort as a pure state: what comes next after answers, steps back and stones left out."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.grading.learning.resort import Resort, begun_grade

GRADES = ("waste", "tumbling", "cabbing", "select")


def test_stones_come_in_their_order_and_the_last_one_ends_it():
    resort = Resort(2)
    assert (resort.next, resort.last) == (0, None)
    resort = resort.answer("waste").answer("select")
    assert (resort.next, resort.last) == (None, 1)
    assert resort.answers == {0: "waste", 1: "select"}
    with pytest.raises(ValueError, match="every stone is answered"):
        resort.answer("waste")


def test_what_is_taken_back_is_the_last_answer_given_and_its_stone_comes_next():
    # Stone 0 was taken back and answered again, after stone 1.
    resort = Resort(3, {1: "waste", 0: "select"})
    back = resort.undo()
    assert (back.next, back.answers) == (0, {1: "waste"})
    assert Resort(3).undo() == Resort(3)


def test_a_stone_left_out_is_not_asked_for_and_has_no_answer():
    resort = Resort(2).leave_out()
    assert (resort.next, resort.answers) == (1, {})
    done = resort.answer("waste")
    assert done.next is None and done.leave_out() == done


@given(st.lists(st.sampled_from(["answer", "undo", "leave out"]), max_size=30), st.integers(0, 6))
def test_a_step_back_undoes_an_answer_whatever_came_before(steps, count):
    resort = Resort(count)
    for step in steps:
        if step == "answer" and resort.next is not None:
            before, resort = resort, resort.answer("waste")
            assert resort.undo() == before
        elif step == "undo":
            resort = resort.undo()
        elif step == "leave out":
            resort = resort.leave_out()
        assert not set(resort.answers) & resort.left_out
        assert len(resort.answers) + len(resort.left_out) + (resort.next is not None) <= count


@pytest.mark.parametrize(
    ("word", "grade"), [("s", "select"), ("CAB", "cabbing"), ("Waste", "waste")]
)
def test_a_grade_is_named_by_its_beginning(word, grade):
    assert begun_grade(word, GRADES) == grade


def test_a_beginning_of_two_grades_or_of_none_is_refused():
    for word in ("x", "w"):
        with pytest.raises(ValueError, match="is not on the ladder"):
            begun_grade(word, (*GRADES, "wall"))
