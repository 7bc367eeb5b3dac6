"""Lengths of lines on patterns whose answers are exact, by published ways of counting them.

Mauldon, Dunne & Rohrbaugh 2001, J. Struct. Geol. 23:247-258 (circle counts); Dershowitz & Herda 1992 (P21): both from
memory.
"""

import cv2
import numpy as np
import pytest

from grader.face.lines import cracks
from grader.face.lines.lines import p21
from grader.face.lines.polyline import length_px, smooth

SIDE, FACE_PX = 700, 330
MIDDLE = SIDE / 2


def disc():
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5 - MIDDLE
    return np.hypot(x, y) < FACE_PX


def traced_px(drawn):
    """Lengths of the lines that are traced from a drawing, as ``find_cracks`` measures them."""
    lines = cracks._traced(np.where(disc(), drawn, 0).astype(np.float32), 2 * FACE_PX)
    return [length_px(smooth(points, 9)) for points in lines]


def ruled(turn_deg, apart_px):
    """Parallel lines over the whole picture, 3 px wide."""
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5 - MIDDLE
    turn = np.radians(turn_deg)
    across = x * np.sin(turn) + y * np.cos(turn)
    return np.abs((across + apart_px / 2) % apart_px - apart_px / 2) < 1.5


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 68, 90])
@pytest.mark.parametrize("apart_px", [40, 75])
def test_parallel_lines_have_one_over_their_distance_per_area(turn_deg, apart_px):
    """P21 of parallel lines is 1 / their distance; in a disc of finite size, the sum of its chords by its area."""
    offsets = np.arange(-FACE_PX // apart_px, FACE_PX // apart_px + 1) * apart_px
    offsets = offsets[np.abs(offsets) < FACE_PX]
    exact = 2 * np.sqrt(FACE_PX**2 - offsets**2.0)
    found = traced_px(ruled(turn_deg, apart_px))
    assert len(found) == len(exact)
    # A chain of px counted from px to px would be 8 % too long at 22 degrees.
    assert p21(found, np.pi * FACE_PX**2) == pytest.approx(
        exact.sum() / (np.pi * FACE_PX**2), rel=0.01
    )
    assert p21(found, np.pi * FACE_PX**2) == pytest.approx(1 / apart_px, rel=0.06)


@pytest.mark.parametrize("seed", range(3))
def test_circle_counts_give_the_length_of_scattered_lines(seed):
    """Mauldon 2001: a circle of radius r that lines cross n times tells n / 4 r of length per area, however they lie.

    300 circles at random: their mean lies within two standard errors of what is traced.
    """
    rng = np.random.default_rng(seed)
    drawing, ends = np.zeros((SIDE, SIDE), np.uint8), []
    while len(ends) < 12:
        middle, turn = rng.uniform(150, SIDE - 150, 2), rng.uniform(0, np.pi)
        half = rng.uniform(40, 90) * np.array([np.cos(turn), np.sin(turn)])
        apart = np.full((SIDE, SIDE), 0, np.uint8)
        line = np.rint([middle - half, middle + half]).astype(np.int32)
        cv2.line(apart, *map(tuple, line.tolist()), 1, 25)
        # Lines that touch would be joined.
        if not (apart & drawing).any():
            cv2.line(drawing, *map(tuple, line.tolist()), 1, 3)
            ends.append(line.astype(float))
    exact = sum(np.hypot(*(b - a)) for a, b in ends)
    found = traced_px(drawing)
    assert sum(found) == pytest.approx(exact, rel=0.03)
    radius = 50.0
    # Circles lie anywhere that meets a line, evenly over the whole picture, so that edges count as all else does.
    counts = []
    for middle in rng.uniform(0, SIDE, (300, 2)):
        counts.append(
            sum(crossings(a - middle, b - middle, radius) for a, b in ends) / (4 * radius)
        )
    error = 2 * np.std(counts, ddof=1) / np.sqrt(len(counts))
    assert abs(np.mean(counts) - p21(found, SIDE**2)) < error


def crossings(start, end, radius):
    """How often a straight line crosses the circle around the origin, by its quadratic equation."""
    step = end - start
    a, b, c = step @ step, 2 * start @ step, start @ start - radius**2
    inner = b * b - 4 * a * c
    if inner <= 0:
        return 0
    roots = (-b + np.array([-1, 1]) * np.sqrt(inner)) / (2 * a)
    return int(((roots > 0) & (roots < 1)).sum())
