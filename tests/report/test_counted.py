"""What was counted as what: every class is seen and told apart without colour, and the stone stays visible."""

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pytest

from grader.face.measurements import Share
from grader.measures import UNREADABLE
from grader.profile import load_profile
from grader.report.counted import counted_codes, counted_words, draw_counted
from grader.report.overlay import HATCHED_PX, PICTURE_PX, view_of
from grader.report.result import photo_record
from grader.report.tint import (
    A_CLASS,
    BORDER_DARK,
    BORDER_PALE,
    PALETTE,
    STROKE_DARK,
    STROKE_PALE,
    WASH,
    laid_over,
    swatch,
    tint,
)

PROFILE = load_profile()
#: By code, a window in which all is of that class, in px of the photo: top, bottom, left, right.
FIELDS = {
    1: (60, 120, 60, 120),
    2: (60, 120, 148, 182),
    3: (60, 120, 198, 222),
    UNREADABLE: (60, 120, 232, 239),
}


def drawn(graded):
    return draw_counted(graded.measured, photo_record(graded), PROFILE)


def plain(graded):
    photo = graded.photo
    return view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX, HATCHED_PX)


def field(picture, code, per_px):
    top, bottom, left, right = (round(side * per_px) for side in FIELDS[code])
    return picture[top:bottom, left:right].astype(float)


def with_regions(graded, codes=None, shares=None, glare=None):
    """The same with other regions on its one stone."""
    (stone,) = graded.pieces
    was = stone.measured.measurements.regions
    regions = replace(
        was,
        codes=was.codes if codes is None else codes,
        shares=was.shares if shares is None else shares,
        glare_share=was.glare_share if glare is None else glare,
    )
    measured = replace(
        stone.measured, measurements=replace(stone.measured.measurements, regions=regions)
    )
    return replace(
        graded,
        measured=replace(graded.measured, pieces=(measured,)),
        pieces=(replace(stone, measured=measured),),
    )


def test_each_class_is_tinted_towards_its_own_colour_and_the_ground_is_left(make_graded):
    graded = make_graded()
    view, picture = plain(graded), drawn(graded)
    for code in FIELDS:
        change = field(picture, code, view.px_per_photo_px) - field(
            view.rgb, code, view.px_per_photo_px
        )
        # Whatever noise lies below: the mean moves to where the class's colour lies from middling grey.
        aim = PALETTE[A_CLASS * code, :3] - field(view.rgb, code, view.px_per_photo_px).mean(
            axis=(0, 1)
        )
        assert (
            np.dot(change.mean(axis=(0, 1)), aim)
            > 0.5 * np.dot(aim, aim) * PALETTE[A_CLASS * code, 3] / 255
        )
    corner = np.s_[:60, :60]
    assert np.array_equal(picture[corner], view.rgb[corner])


def test_the_stone_stays_visible_below_the_tint(make_graded):
    graded = make_graded()
    view, picture = plain(graded), drawn(graded)
    for code in FIELDS:
        below = field(view.rgb, code, view.px_per_photo_px).ravel()
        above = field(picture, code, view.px_per_photo_px).ravel()
        slope = np.polyfit(below, above, 1)[0]
        # Two thirds of the stone's own contrast is left, strokes counted in.
        assert slope > 0.55


def test_classes_differ_without_any_colour():
    # As a grey print shows them, on a stone neither dark nor pale: hatch or lightness.
    ground = np.full((90, 90, 3), 128, np.uint8)
    greys = {
        code: cv2.cvtColor(laid_over(ground, tint(np.full((90, 90), code, np.uint8), 2)), cv2.COLOR_RGB2GRAY)
        for code in (*range(1, 9), UNREADABLE)
    }  # fmt: skip
    for one, other in combinations(greys, 2):
        difference = np.abs(greys[one].astype(int) - greys[other])
        assert (difference > 25).mean() > 0.02, (one, other)


def test_borders_are_dark_on_one_side_and_pale_on_the_other():
    codes = np.ones((40, 60), np.uint8)
    codes[:, 30:] = 2
    tinted = tint(codes, 2)
    row = tinted[20]
    assert (row[28:30] == A_CLASS * 1 + BORDER_PALE).all()
    assert (row[30:32] == A_CLASS * 2 + BORDER_DARK).all()
    assert not np.isin(row[:27] % A_CLASS, (BORDER_PALE, BORDER_DARK)).any()
    assert np.array_equal(tinted // A_CLASS, codes)


def test_the_legend_names_what_is_there_and_nothing_else(make_graded):
    graded = make_graded()
    (piece,) = photo_record(graded)["pieces"]
    assert counted_words(piece, PROFILE) == [
        (1, "blue 53 %"),
        (2, "white 26 %"),
        (3, "host 21 %"),
        (UNREADABLE, "unreadable 5 % of the face"),
    ]
    shares = {"blue": Share(1.0, 0.9, 1.0), "white": Share(0.0, 0, 0), "host": Share(0.0, 0, 0)}
    (piece,) = photo_record(with_regions(graded, shares=shares, glare=0.0))["pieces"]
    assert counted_words(piece, PROFILE) == [(1, "blue 100 %")]


def test_what_is_unreadable_is_drawn_in_its_own_hatch(make_graded):
    graded = make_graded()
    view = plain(graded)
    codes = counted_codes(view, graded.measured.pieces)
    # 10 of 200 columns.
    assert (codes == UNREADABLE).sum() / (codes > 0).sum() == pytest.approx(0.05, abs=0.005)
    here = tint(np.full((60, 60), UNREADABLE, np.uint8), 2)
    assert {A_CLASS * UNREADABLE + tone for tone in (WASH, STROKE_DARK, STROKE_PALE)} == set(
        np.unique(here)
    )


def test_words_lie_on_no_stone_and_below_the_photo_where_there_is_no_room(make_graded):
    graded = make_graded()
    # The stone from edge to edge: no bare ground is left.
    photo = replace(graded.photo, rgb=graded.photo.rgb[40:140, 40:240].copy())
    (stone,) = graded.measured.pieces
    moved = replace(
        stone,
        piece=replace(stone.piece, outline=stone.piece.outline - 40, box=(0, 0, 200, 100)),
        face=replace(stone.face, origin_px=(0.0, 0.0)),
    )
    filled = replace(
        graded,
        measured=replace(graded.measured, photo=photo, pieces=(moved,)),
        pieces=(replace(graded.pieces[0], measured=moved),),
    )
    picture = drawn(filled)
    assert picture.shape[0] > 500 and picture.shape[1] == 1000
    below = picture[500:]
    # Pale words on dark, with the swatches' colours among them.
    assert (below.min(axis=2) > 200).any() and np.median(below) < 40
    blue = below.astype(int)[..., 2] - below[..., 0]
    assert (blue > 30).sum() > 100


def test_a_photo_without_stones_is_as_it_is(make_graded):
    graded = make_graded(0)
    assert np.array_equal(drawn(graded), plain(graded).rgb)


def test_a_swatch_is_the_class_as_it_is_drawn():
    inside = swatch(3, 40, 1)[5:-5, 5:-5]
    assert set(np.unique(inside)) == {
        A_CLASS * 3 + tone for tone in (WASH, STROKE_DARK, STROKE_PALE)
    }


@pytest.mark.parametrize("seed", range(4))
def test_points_counted_on_the_drawing_give_the_share_of_known_areas(make_graded, seed):
    """Point counting on a systematic grid, ASTM E562 (from memory): the counted share lies within 1.96 standard errors
    of the binomial. The truth is the area of discs, from geometry."""
    rng = np.random.default_rng(seed)
    graded = make_graded()
    w, h = graded.measured.pieces[0].face.mask.shape[::-1]
    y, x = np.mgrid[:h, :w] + 0.5
    codes, area = np.ones((h, w), np.uint8), 0.0
    for column in range(4):
        radius = rng.uniform(5, 11)
        middle = (12.5 + 25 * column, rng.uniform(radius + 1, h - radius - 1))
        codes[np.hypot(x - middle[0], y - middle[1]) < radius] = 2
        area += np.pi * radius**2
    truth = area / (w * h)
    view = plain(with_regions(graded, codes=codes))
    own = counted_codes(view, with_regions(graded, codes=codes).measured.pieces)
    places = tint(own, 2)
    step = 17
    rows, columns = np.mgrid[
        rng.integers(step) : own.shape[0] : step, rng.integers(step) : own.shape[1] : step
    ]
    sampled = places[rows, columns]
    # A point on a border is no point of either, as with lines of a grid; borders take both sides alike.
    classes = (sampled // 4)[(sampled >= 4)]
    counted = (classes == 2).mean()
    error = 1.96 * np.sqrt(truth * (1 - truth) / len(classes))
    assert len(classes) > 500
    assert abs(counted - truth) <= error
