"""Filling glare from another photo, held against light that is known to the px."""

import cv2
import numpy as np
import pytest

from grader.face.face import Face
from grader.face.measurements import Regions
from grader.face.sight.cut import with_light
from grader.face.sight.filled import fill_glare
from grader.face.sight.view import FaceView
from grader.measures import UNREADABLE
from grader.photo.align import Alignment
from grader.photo.colour import lab_from_linear
from grader.photo.photo import Photo
from grader.photo.reference import Reference, no_reference
from grader.photo.surface import State

SIDE = 160
SAME = Alignment(np.eye(3), 0.0)


def reference() -> Reference:
    return no_reference(Photo("a", np.zeros((SIDE, SIDE, 3), np.uint8), None, "a"))


def stone(seed: int = 0):
    """Linear light 0.1 to 0.6 of a face, (SIDE, SIDE, 3)."""
    rng = np.random.default_rng(seed)
    blots = cv2.GaussianBlur(rng.normal(size=(SIDE, SIDE, 3)), (0, 0), 4)
    return np.float32(np.clip(0.35 + 0.1 * blots / blots.std(), 0.1, 0.6))


def spot(x: int, y: int, radius: int):
    at = np.zeros((SIDE, SIDE), np.uint8)
    cv2.circle(at, (x, y), radius, 1, -1)
    return at > 0


def face_view(linear, hidden, mask=None) -> FaceView:
    linear = np.float32(np.where(hidden[..., None], 1, linear))
    mask = np.ones((SIDE, SIDE), bool) if mask is None else mask
    codes = np.where(hidden, UNREADABLE, 1).astype(np.uint8)
    regions = Regions(codes, {}, {}, {}, float(hidden.mean()))
    face = Face(linear, lab_from_linear(linear), mask, 1.0, (0.0, 0.0))
    return FaceView(face, np.float32(hidden), regions, State("unknown", "photo"))


HERE, BESIDE = spot(60, 60, 18), spot(115, 110, 15)


def test_glare_is_filled_with_the_stone_that_another_photo_shows_in_the_first_ones_light():
    light = stone()
    dimmer = light * np.float32([0.5, 0.55, 0.6])
    filled = fill_glare(face_view(light, HERE), [(face_view(dimmer, BESIDE), SAME)], reference())
    assert np.abs(filled.face.linear - light).max() < 0.02
    assert filled.glare.max() < 0.01
    assert filled.share == pytest.approx(HERE.mean())
    assert np.abs(filled.face.lab - lab_from_linear(light)).max() < 2


def test_light_that_falls_off_otherwise_is_matched_over_the_face():
    light = stone(1)
    slope = np.linspace(0.6, 1.1, SIDE, dtype=np.float32)[None, :, None]
    filled = fill_glare(
        face_view(light, HERE), [(face_view(light * slope, BESIDE), SAME)], reference()
    )
    assert np.abs(filled.face.linear / light - 1)[HERE].mean() < 0.03


def test_what_glares_in_every_photo_stays_glare_and_the_rest_of_the_face_as_photographed():
    light, both = stone(2), spot(70, 60, 18)
    first = face_view(light, HERE)
    filled = fill_glare(first, [(face_view(light, both), SAME)], reference())
    assert (filled.glare[HERE & both] == 1).all()
    assert 0 < filled.share < HERE.mean()
    far = cv2.dilate(HERE.astype(np.uint8), np.ones((31, 31))) == 0
    assert (filled.face.linear[far] == first.face.linear[far]).all()


def test_a_third_photo_fills_what_the_second_one_does_not_show():
    light, both = stone(3), spot(70, 60, 18)
    others = [(face_view(light, both), SAME), (face_view(light * np.float32(0.7), BESIDE), SAME)]
    filled = fill_glare(face_view(light, HERE), others, reference())
    assert np.abs(filled.face.linear - light).max() < 0.02
    assert filled.share == pytest.approx(HERE.mean())


def test_the_veil_around_a_soft_lamp_is_filled_too():
    light = stone(4)
    veil = cv2.GaussianBlur(HERE.astype(np.float32), (0, 0), 4)[..., None]
    filled = fill_glare(
        face_view(light + veil, HERE), [(face_view(light, BESIDE), SAME)], reference()
    )
    ring = (cv2.dilate(HERE.astype(np.uint8), np.ones((9, 9))) > 0) & ~HERE
    assert veil[ring].mean() > 0.1
    assert np.abs(filled.face.linear - light)[ring].mean() < veil[ring].mean() / 4


def test_burnt_out_light_and_what_lies_off_the_stone_fill_nothing():
    light = stone(5)
    burnt = face_view(np.where(HERE[..., None], np.float32(0.99), light), BESIDE)
    assert fill_glare(face_view(light, HERE), [(burnt, SAME)], reference()).share == 0
    off = face_view(light, BESIDE, mask=~cv2.dilate(HERE.astype(np.uint8), np.ones((9, 9))) > 254)
    assert fill_glare(face_view(light, HERE), [(off, SAME)], reference()).share == 0


def test_photos_that_share_no_readable_stone_cannot_be_matched_and_fill_nothing():
    light, left = stone(8), np.zeros((SIDE, SIDE), bool)
    left[:, :80] = True
    assert (
        fill_glare(face_view(light, left), [(face_view(light, ~left), SAME)], reference()).share
        == 0
    )


def test_without_glare_or_without_other_photos_the_face_is_the_photos_own():
    light = stone(6)
    clear = np.zeros((SIDE, SIDE), bool)
    first = face_view(light, clear)
    filled = fill_glare(first, [(face_view(light, BESIDE), SAME)], reference())
    assert filled.face is first.face and filled.share == 0
    assert fill_glare(face_view(light, HERE), [], reference()).share == 0


def test_another_light_is_corrected_by_the_photos_own_white():
    face = face_view(stone(7), np.zeros((SIDE, SIDE), bool)).face
    brighter = with_light(face, face.linear * np.float32(1.2), reference())
    assert np.abs(brighter.lab - lab_from_linear(face.linear * np.float32(1.2))).max() < 1e-3
    assert brighter.mask is face.mask
