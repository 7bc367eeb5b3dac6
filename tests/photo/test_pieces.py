"""Where the stones lie: order, outlines, frame. The network itself is measured in the benchmark."""

import cv2
import numpy as np
import pytest

from grader.face.sight.cut import cut_face, fill_outline
from grader.photo import pieces
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.reference import no_reference


def box_outline(x, y, w, h):
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], np.float32)


def photo_of(rgb, mm_per_px=None):
    return Photo(
        "drawn.png", rgb, srgb_encoding(), "", Scale(mm_per_px, "hand" if mm_per_px else None)
    )


def test_stones_are_numbered_row_by_row_from_the_top_and_left_to_right():
    # Two rows of three, each a little uneven: 20 px up and down is less than half of the 100 px height.
    placed = [
        (500, 20, 100, 100),
        (20, 0, 100, 100),
        (260, 10, 100, 100),
        (30, 210, 100, 100),
        (500, 190, 100, 100),
    ]
    ordered = pieces._in_rows([box_outline(*box) for box in placed])
    assert [tuple(o[0]) for o in ordered] == [(20, 0), (260, 10), (500, 20), (30, 210), (500, 190)]


def test_a_row_ends_where_a_centre_lies_more_than_half_a_height_lower():
    ordered = pieces._in_rows([box_outline(0, 51, 100, 100), box_outline(300, 0, 100, 100)])
    assert [o[0, 0] for o in ordered] == [300, 0]
    ordered = pieces._in_rows([box_outline(0, 49, 100, 100), box_outline(300, 0, 100, 100)])
    assert [o[0, 0] for o in ordered] == [0, 300]


def test_two_touching_discs_are_two_stones_and_one_disc_is_one():
    level = np.zeros((120, 220), np.uint8)
    cv2.circle(level, (60, 60), 45, 1, -1)
    cv2.circle(level, (149, 60), 45, 1, -1)
    distance_px = cv2.distanceTransform(level, cv2.DIST_L2, 5)
    labels = pieces._split_touching(level > 0, distance_px / distance_px.max())
    assert labels.max() == 2
    assert labels[60, 60] != labels[60, 149]
    one = np.where(np.arange(220) < 104, level, 0)
    distance_px = cv2.distanceTransform(one, cv2.DIST_L2, 5)
    assert pieces._split_touching(one > 0, distance_px / distance_px.max()).max() == 1


def test_a_dent_in_the_depth_of_one_stone_does_not_part_it():
    depth = np.zeros((60, 120), np.float32)
    depth[10:50, 10:110] = 0.8
    depth[10:50, 58:62] = 0.7
    assert pieces._split_touching(depth > 0, depth).max() == 1
    depth[10:50, 58:62] = 0.3
    assert pieces._split_touching(depth > 0, depth).max() == 2


def test_an_outline_goes_along_the_zero_level_to_a_tenth_of_a_pixel():
    y, x = np.mgrid[:100, :120] + 0.5
    outline = pieces._contour(30.0 - np.hypot(x - 60, y - 50))
    radius = np.hypot(outline[:, 0] - 60, outline[:, 1] - 50)
    assert radius.min() > 29.6
    assert radius.max() < 30.2


def test_an_outline_filled_again_covers_what_it_was_drawn_around():
    mask = np.zeros((60, 80), bool)
    mask[10:40, 20:70] = True
    again = fill_outline(pieces._contour(np.where(mask, 1.0, -1.0)), mask.shape)
    assert (again & mask).sum() / (again | mask).sum() > 0.97


def test_the_whole_photo_is_one_piece_that_is_not_cut_by_the_frame():
    photo = photo_of(np.full((30, 40, 3), 128, np.uint8))
    (piece,), remarks = pieces.whole_photo(photo)
    assert piece.box == (0, 0, 40, 30)
    assert not piece.cut_by_frame
    assert remarks == ()
    assert cut_face(photo, piece, no_reference(photo)).mask.mean() > 0.97


def test_a_stone_at_the_edge_is_told_as_cut_by_the_frame():
    photo = photo_of(np.zeros((300, 400, 3), np.uint8))
    assert pieces._piece(photo, 1, box_outline(300, 50, 100, 90)).cut_by_frame
    assert not pieces._piece(photo, 1, box_outline(200, 50, 100, 90)).cut_by_frame


def test_an_empty_ground_holds_no_stone_and_says_what_to_do():
    found, remarks = pieces.find_pieces(photo_of(np.full((480, 640, 3), 200, np.uint8)))
    assert found == ()
    assert [r.code for r in remarks] == ["no_stone"]
    assert "--whole" in remarks[0].text


@pytest.mark.parametrize("side", [40, 4000])
def test_a_face_keeps_its_scale_when_it_is_made_smaller(side):
    photo = photo_of(np.full((side, side, 3), 90, np.uint8), mm_per_px=0.1)
    (piece,), _ = pieces.whole_photo(photo)
    face = cut_face(photo, piece, no_reference(photo))
    assert face.mm_per_px * face.mask.shape[1] == pytest.approx(0.1 * side)
    corner = np.array([[face.mask.shape[1], face.mask.shape[0]]], float)
    assert face.to_photo_px(corner) == pytest.approx(np.array([[side, side]]), abs=1)


@pytest.mark.parametrize("turn_deg", [0, 30, 45, 90])
@pytest.mark.parametrize(("seam_px", "stones"), [(16, 2), (60, 1)])
def test_stones_part_at_a_narrow_seam_and_not_along_a_broad_one(turn_deg, seam_px, stones):
    # Two squares of 60 px that meet along a part of their sides, turned.
    field = np.zeros((220, 220), np.uint8)
    for number, left in ((1, 50), (2, 110)):
        cv2.rectangle(field, (left, 80), (left + 59, 139), number, -1)
    cv2.rectangle(field, (109, 80), (110, 139 - seam_px), 0, -1)
    spin = cv2.getRotationMatrix2D((110, 110), turn_deg, 1.0)
    labels = cv2.warpAffine(field, spin, (220, 220), flags=cv2.INTER_NEAREST).astype(np.int32)
    assert pieces._rejoined(labels).max() == stones


def test_a_stone_without_any_ground_beside_it_is_one():
    depth = np.ones((40, 60))
    assert pieces._split_touching(np.ones((40, 60), bool), depth).min() == 1


def test_an_outline_inside_a_larger_one_is_the_same_stone():
    large, part, apart = (
        box_outline(100, 100, 300, 200), box_outline(250, 220, 200, 90), box_outline(390, 20, 90, 90),
    )  # fmt: skip
    kept = pieces._without_doubles([part, large, apart])
    assert [k.tolist() for k in kept] == [large.tolist(), apart.tolist()]
    assert pieces._without_doubles([]) == []
