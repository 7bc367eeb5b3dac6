"""Where the words lie: beside what they name, hiding nothing where there is room."""

import cv2
import numpy as np
import pytest

from grader.report.plates import Ground, draw_plate, plate_size

SHAPE = (900, 1200, 3)
WORDS = [[("7 tumbling", size)] for size in (60, 48, 36)]


def ovals(rng, cells, reach):
    """Outlines of turned ovals, one in each cell of a grid, with their middles."""
    rows, columns = cells
    h, w = SHAPE[0] / rows, SHAPE[1] / columns
    found = []
    for row in range(rows):
        for column in range(columns):
            middle = np.array([(column + 0.5) * w, (row + 0.5) * h])
            around = np.linspace(0, 2 * np.pi, 60, endpoint=False)
            long, short, turn = (
                *rng.uniform(0.6 * reach, reach, 2) * min(h, w) / 2,
                rng.uniform(0, 3),
            )
            oval = np.stack([long * np.cos(around), short * np.sin(around)], axis=1)
            found.append(
                middle + oval @ [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
            )
    return found


def filled(outlines):
    mask = np.zeros(SHAPE[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(o).astype(np.int32) for o in outlines], 1)
    return mask


def drawn(plate):
    """The rows and columns that a drawn plate takes, its rim with it."""
    x, y, w, h = (round(v) for v in plate)
    assert min(x, y) >= 0 and x + w < SHAPE[1] and y + h < SHAPE[0]
    return np.s_[y : y + h + 1, x : x + w + 1]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    ("cells", "reach"), [((1, 1), 0.8), ((1, 2), 0.8), ((2, 2), 0.6), ((3, 3), 0.5)]
)
def test_where_there_is_room_plates_hide_no_stone_and_no_plate(seed, cells, reach):
    outlines = ovals(np.random.default_rng(seed), cells, reach)
    ground, taken = Ground(SHAPE, outlines), filled(outlines)
    for number in range(len(outlines)):
        plate, words, bare = ground.place(number, WORDS)
        assert bare and plate[2:] == plate_size(words)
        assert not taken[drawn(plate)].any()
        taken[drawn(plate)] = 1
        middle = np.array(plate[:2]) + np.array(plate[2:]) / 2
        gaps = [np.hypot(*(outline - middle).T).min() for outline in outlines]
        assert gaps[number] == pytest.approx(min(gaps), abs=8)


@pytest.mark.parametrize("seed", range(6))
def test_on_a_crowded_tray_a_plate_hides_its_own_stone_alone(seed):
    outlines = ovals(np.random.default_rng(seed), (4, 4), 0.95)
    ground, taken = Ground(SHAPE, outlines), np.zeros(SHAPE[:2], np.uint8)
    for number, own in enumerate(outlines):
        plate, _, bare = ground.place(number, [[("7 waste", 30)]])
        others = filled([o for o in outlines if o is not own])
        assert not taken[drawn(plate)].any()
        assert others[drawn(plate)].mean() < 0.02
        if not bare:
            assert filled([own])[drawn(plate)].mean() > 0.75
        taken[drawn(plate)] = 1


def test_below_is_taken_before_above_and_above_before_beside():
    box = np.array([[400, 300], [800, 300], [800, 500], [400, 500]])
    (_, y, _, _), _, _ = Ground(SHAPE, [box]).place(0, WORDS)
    assert y >= 500
    # At the foot of the picture there is no room below.
    (x, y, _, h), _, _ = Ground(SHAPE, [box + np.array([0, 395])]).place(0, WORDS)
    assert y + h <= 695 and 400 <= x <= 800
    # As high as the picture: beside it.
    tall = np.array([[300, 2], [700, 2], [700, 897], [300, 897]])
    (x, _, w, _), _, bare = Ground(SHAPE, [tall]).place(0, WORDS)
    assert bare and (x >= 700 or x + w <= 300)


def test_a_smaller_word_beside_comes_before_a_large_one_upon():
    # 60 px are left below.
    box = np.array([[2, 2], [1197, 2], [1197, 838], [2, 838]])
    _, words, bare = Ground(SHAPE, [box]).place(0, WORDS)
    assert bare and words[0][1] < 48
    (_, y, _, h), words, bare = Ground(SHAPE, [np.where(box == 838, 897, box)]).place(0, WORDS)
    assert not bare and words == WORDS[-1] and y + h <= SHAPE[0]


def test_the_smallest_picture_takes_a_plate():
    ground = Ground((12, 9, 3), [np.array([[1, 1], [7, 1], [7, 9]])])
    plate, words, bare = ground.place(0, WORDS)
    assert not bare and words == WORDS[-1]
    draw_plate(np.zeros((12, 9, 3), np.uint8), plate[:2], words, thin=True)


def test_through_a_thin_plate_the_stone_is_seen():
    stripes = np.zeros((100, 200, 3), np.uint8)
    stripes[:, ::10] = 200
    thick, thin = stripes.copy(), stripes.copy()
    draw_plate(thick, (20, 20), [("1", 30)])
    draw_plate(thin, (20, 20), [("1", 30)], thin=True)
    row = np.s_[22, 22:31]
    assert len(np.unique(thick[row])) == 1
    assert np.ptp(thin[row].astype(int)) > 80
