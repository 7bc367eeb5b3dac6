"""Lines that grew with a stone: where they run, how they are named, and what moss leaves."""

import numpy as np
import pytest

from grader.render import marks
from grader.render.growth import draw_growths
from grader.render.truth import BLUE, LINE_CODES, WHITE

KINDS = ("rim", "band lines", "veins", "knotted web")
SIDE = 240


def stone():
    y, x = np.mgrid[:SIDE, :SIDE] - SIDE / 2
    inside = np.hypot(x, y) < 100
    classes = np.where(inside, np.where(y > 10 * np.sin(x / 15), BLUE, WHITE), 0).astype(np.uint8)
    turn = np.linspace(0, 2 * np.pi, 60)
    outline = SIDE / 2 + 100 * np.stack([np.cos(turn), np.sin(turn)], 1)
    return outline, inside, classes


def growths(kind, seed):
    outline, inside, classes = stone()
    rng = np.random.default_rng(seed)
    return draw_growths(rng, (kind,), outline, inside, 100.0, classes, None), inside


@pytest.mark.parametrize("kind", KINDS)
def test_growths_lie_on_the_stone_and_are_lines_of_its_pattern(kind):
    found = 0
    for seed in range(6):
        strokes, inside = growths(kind, seed)
        found += len(strokes)
        for stroke in strokes:
            x, y = np.rint(stroke.points).astype(int).T
            on = (x >= 0) & (y >= 0) & (x < SIDE) & (y < SIDE)
            assert on.all()
            assert inside[y, x].mean() > 0.95
            assert len(stroke.widths) == len(stroke.points)
            assert 0.25 <= stroke.widths.min() <= stroke.widths.max() <= 16
            # None of them is an open crack: they are told as pattern.
            assert stroke.kind in LINE_CODES
            assert stroke.kind != "crack"
    assert found > 0


def test_the_same_chance_draws_the_same_growths_and_another_one_others():
    first, again, other = (growths("veins", seed)[0] for seed in (4, 4, 5))
    assert all((a.points == b.points).all() for a, b in zip(first, again, strict=True))
    assert len(first) != len(other) or (first[0].points[0] != other[0].points[0]).any()


def test_moss_darkens_flecks_and_keeps_to_the_borders_of_classes_or_to_clouds():
    _, _, classes = stone()
    darker = []
    for seed in range(8):
        reflect = np.full((*classes.shape, 3), 0.5, np.float32)
        marks.moss(np.random.default_rng(seed), reflect, classes, 100.0)
        assert reflect.min() >= 0
        assert reflect.max() <= 0.5 + 1e-6
        darker.append((reflect.mean(2) < 0.4).mean())
    assert max(darker) > 0.01
    assert np.median(darker) < 0.6
