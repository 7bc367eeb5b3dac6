"""Cut plans on faces of known shape; the tests of what is claimed share no code with the search."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.face.cutplan.cutplan import lines_within, plan_cuts, template_outline
from grader.face.cutplan.room import Oval, room_of
from grader.face.measurements import Line

#: Greatest radius of n equal circles in a unit square (Schaer; Meir; Graham; closed forms from memory), and
#: radius of the circle that holds n unit circles (Kravitz 1967, Graham et al. 1998, from memory).
IN_SQUARE = {1: 0.5, 2: 0.292893, 4: 0.25, 5: 0.207107, 7: 0.174458, 9: 0.166667, 10: 0.148204}
IN_CIRCLE = {2: 2.0, 3: 2.154701, 5: 2.701302, 7: 3.0, 8: 3.304765, 9: 3.613126}
SIDE = 700


def square() -> np.ndarray:
    return np.pad(np.ones((SIDE, SIDE), bool), 6)


def disc() -> np.ndarray:
    y, x = np.indices((SIDE + 12, SIDE + 12)) - (SIDE + 11) / 2
    return np.hypot(x, y) <= SIDE / 2


def polygon(corners, shape=(520, 720)) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.array(corners, np.int32)], 1)
    return mask > 0


STONE = polygon([(20, 60), (250, 12), (560, 30), (700, 190), (640, 420), (380, 505), (90, 460)])


def plans(mask, oval, margin_px=0.0, lines=(), glare=None, scorer=None, seed=0):
    room = room_of(mask, lines, glare, oval, margin_px)
    return plan_cuts(room, oval, margin_px, np.random.default_rng(seed), scorer)


def line(*points, kind="crack", width_px=2.0) -> Line:
    points = np.array(points, float)
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return Line(points, length, width_px, kind, 0.9)


def rims(plan, oval):
    return [template_outline(placed, oval, 240) for placed in plan.templates]


def apart(first, second) -> float:
    """Distance of two rims; below 0 where one holds a point of the other."""
    distance = np.hypot(*(first[:, None] - second[None]).transpose(2, 0, 1)).min()
    ring = first.astype(np.float32).reshape(-1, 1, 2)
    inside = max(cv2.pointPolygonTest(ring, tuple(map(float, p)), True) for p in second)
    return -inside if inside > 0 else float(distance)


@pytest.mark.parametrize("n", IN_SQUARE)
def test_rounds_in_a_square_reach_the_known_counts_and_never_pass_them(n):
    for share, reached in ((0.975, True), (1.012, False)):
        side = 2 * IN_SQUARE[n] * SIDE * share
        count = len(plans(square(), Oval(side, side)).most_pieces.templates)
        assert (count >= n) == reached


@pytest.mark.parametrize("n", IN_CIRCLE)
def test_rounds_in_a_circle_reach_the_known_counts_and_never_pass_them(n):
    for share, reached in ((0.975, True), (1.012, False)):
        side = SIDE / IN_CIRCLE[n] * share
        count = len(plans(disc(), Oval(side, side)).most_pieces.templates)
        assert (count >= n) == reached


def test_what_is_claimed_keeps_its_margins():
    oval, margin = Oval(180, 132), 9.0
    crack, healed = line((300, 20), (420, 330)), line((20, 300), (700, 300), kind="pattern line")
    glare = np.zeros(STONE.shape, bool)
    cv2.circle(glare.view(np.uint8), (180, 180), 40, 1, -1)
    plan = plans(STONE, oval, margin, (crack, healed), glare).most_pieces
    found = rims(plan, oval)
    assert len(found) >= 3
    for number, rim in enumerate(found):
        for other in found[number + 1 :]:
            assert apart(rim, other) >= margin - 0.1
    outside = cv2.distanceTransform(np.pad(STONE, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    stops = np.linspace(0, 1, 400)[:, None]
    along = crack.points[0] + stops * (crack.points[1] - crack.points[0])
    for rim in found:
        at = rim.astype(int)
        assert outside[at[:, 1], at[:, 0]].min() >= margin - 1.5
        assert apart(rim, along) >= margin
        assert not glare[at[:, 1], at[:, 0]].any()
    assert any(lines_within(placed, oval, [healed]) for placed in plan.templates)
    assert not any(lines_within(placed, oval, [crack]) for placed in plan.templates)


@pytest.mark.slow
def test_a_crack_or_a_contact_that_may_part_costs_templates_and_a_healed_one_none():
    oval = Oval(180, 132)
    through = (360, 0), (360, 520)
    plain, healed, cracked, doubtful, parting, sound = (
        len(plans(STONE, oval, 6.0, lines).most_pieces.templates)
        for lines in (
            (),
            (line(*through, kind="pattern line"),),
            (line(*through),),
            (line(*through, kind="uncertain"),),
            (replace(line(*through, kind="contact"), contact_chance=0.3),),
            (replace(line(*through, kind="contact"), contact_chance=0.05),),
        )
    )
    assert plain == healed == sound > cracked == doubtful == parting


def test_specks_of_glare_narrower_than_the_saw_are_left_out():
    oval, specks = Oval(180, 132), np.zeros(STONE.shape, bool)
    specks[::40, ::40] = True
    patches = cv2.dilate(specks.astype(np.uint8), np.ones((15, 15))) > 0
    none, some, many = (
        len(plans(STONE, oval, 9.0, glare=g).most_pieces.templates) for g in (None, specks, patches)
    )
    assert none == some > many == 0


def test_two_ovals_that_fill_their_face_are_found_at_any_turn():
    # By construction: two ovals side by side in a rectangle 4 % larger than both.
    oval = Oval(200, 120)
    for turn in (0, 20, 45, 110):
        box = cv2.boxPoints(((360, 260), (208, 250), turn))
        assert len(plans(polygon(np.rint(box)), oval).most_pieces.templates) == 2


def test_the_yield_is_the_templates_area_of_the_face():
    oval = Oval(180, 132)
    plan = plans(STONE, oval, 6.0).most_pieces
    pixels = np.zeros(STONE.shape, np.uint8)
    cv2.fillPoly(pixels, [np.rint(rim).astype(np.int32) for rim in rims(plan, oval)], 1)
    assert plan.yield_share == pytest.approx(pixels.sum() / STONE.sum(), rel=0.03)


def test_best_scenes_come_first_and_the_face_is_filled_up():
    def score(poses):
        # Best far to the left, and only one way up.
        return np.clip(90 - poses[:, 0] / 8, 0, 100) - 20 * (poses[:, 2] >= 180)

    both = plans(STONE, Oval(150, 110), 6.0, scorer=score)
    scores = [placed.score for placed in both.best_scenes.templates]
    assert scores[0] == max(scores) >= max(p.score for p in both.most_pieces.templates) - 1e-9
    assert 0.7 * len(both.most_pieces.templates) <= len(scores) <= len(both.most_pieces.templates)
    assert all(placed.turn_deg < 180 for placed in both.best_scenes.templates)


def test_the_same_generator_gives_the_same_plan():
    first, again = (plans(STONE, Oval(150, 110), 6.0, seed=4) for _ in range(2))
    assert first == again


@pytest.mark.parametrize(
    "mask", [np.zeros((40, 60), bool), np.ones((40, 60), bool), polygon([(5, 5), (9, 5), (5, 9)])]
)
def test_where_nothing_fits_nothing_is_claimed(mask):
    none = plans(mask, Oval(80, 60), 3.0, scorer=lambda poses: np.zeros(len(poses)))
    assert none.most_pieces.templates == none.best_scenes.templates == ()
    assert none.most_pieces.yield_share == 0


def test_a_face_that_fills_its_picture_ends_at_its_rim():
    oval = Oval(100, 70)
    plan = plans(np.ones((76, 106), bool), oval, 3.0).most_pieces
    assert len(plan.templates) <= 1
    assert plans(np.ones((74, 104), bool), oval, 3.0).most_pieces.templates == ()
