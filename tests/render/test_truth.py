"""The order in which stones are numbered."""

from grader.render.truth import reading_order


def test_rows_are_read_from_the_top_and_from_the_left():
    boxes = [(200, 100, 40, 40), (10, 110, 40, 40), (100, 10, 40, 40), (10, 0, 40, 40)]
    assert reading_order(boxes) == [3, 2, 1, 0]


def test_a_row_ends_where_centres_drop_by_more_than_half_a_median_height():
    assert reading_order([(100, 0, 40, 40), (0, 19, 40, 40)]) == [1, 0]
    assert reading_order([(100, 0, 40, 40), (0, 21, 40, 40)]) == [0, 1]


def test_no_stones_have_no_order():
    assert reading_order([]) == []
