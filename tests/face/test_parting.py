"""Along which lines a face may part: counted by hand on rectangles."""

import numpy as np
import pytest

from grader.face.lines.parting import MOST_LINES, partings
from grader.face.measurements import Line

MASK = np.zeros((80, 140), bool)
MASK[10:70, 20:120] = True


def line(*points, chance=0.9, kind="crack"):
    points = np.array(points, float)
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return Line(points, length, 2.0, kind, chance)


ACROSS = line((50, 9), (50, 71))


def test_a_line_across_makes_two_cells_that_are_one_stone_while_it_is_closed():
    net = partings(MASK, [ACROSS])
    assert net.shares == pytest.approx((0.7, 0.3), abs=0.02)
    assert net.parts == ((0, 0), (0, 1))
    assert net.lines == (0,)
    # The larger cell is the right one; off the stone there is none.
    assert (net.cells[40, 100], net.cells[40, 30], net.cells[5, 5]) == (1, 2, 0)
    assert ((net.cells > 0) == MASK).all()


@pytest.mark.parametrize(
    "lines",
    [
        [],
        [line((60, 30), (60, 50))],
        [line((50, 9), (50, 71), kind="pattern line")],
        [line((50, 9), (50, 71), chance=0.05)],
    ],
)
def test_what_parts_nothing_is_no_parting(lines):
    net = partings(MASK, lines)
    assert (net.lines, net.shares, net.parts) == ((), (1.0,), ((0,),))


def test_two_lines_that_part_only_together_do_so_only_together():
    upper, lower = line((50, 9), (50, 40)), line((50, 40), (50, 71), chance=0.6)
    net = partings(MASK, [upper, lower])
    assert net.parts == ((0, 0), (0, 0), (0, 0), (0, 1))


def test_lines_that_cross_make_four_cells_and_each_alone_two():
    level = line((19, 40), (121, 40), chance=0.7)
    net = partings(MASK, [ACROSS, level, line((80, 20), (90, 25))])
    assert net.lines == (0, 1)
    assert [len(set(parts)) for parts in net.parts] == [1, 2, 2, 4]
    assert sum(net.shares) == pytest.approx(1)


def test_of_many_lines_the_surest_are_taken():
    lines = [line((30 + 10 * k, 9), (30 + 10 * k, 71), chance=0.2 + 0.08 * k) for k in range(9)]
    net = partings(MASK, lines)
    assert len(net.lines) == MOST_LINES
    assert set(net.lines) == set(range(3, 9))


def test_a_turned_face_parts_in_the_same_shares():
    turned = Line(ACROSS.points[:, ::-1], ACROSS.length_px, 2.0, "crack", 0.9)
    assert partings(MASK.T.copy(), [turned]).shares == pytest.approx(
        partings(MASK, [ACROSS]).shares, abs=0.01
    )
