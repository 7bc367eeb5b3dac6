import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from grader.drawn import true_measurements
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece
from grader.profile import load_profile
from grader.render import render_photo

PROFILE = load_profile("banded")


@pytest.fixture(scope="module")
def drawn():
    """One rendered stone with its truth, cut out by its true outline."""
    rendered = render_photo(
        np.random.default_rng(3),
        width_px=640,
        height_px=480,
        stones=1,
        pattern="coarse bands",
        cracks=2,
        cut=False,
    )
    (stone,) = rendered.stones
    mask = (rendered.pieces == stone.id).astype(np.uint8)
    outline = max(cv2.findContours(mask, 0, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea)[:, 0]
    piece = Piece(1, stone.box, outline.astype(np.float32) + 0.5)
    photo = Photo("drawn", rendered.rgb, srgb_encoding(), "0" * 64, Scale(0.1, "hand"))
    return rendered, stone, true_measurements(photo, piece, rendered, stone, PROFILE)


@pytest.mark.slow
def test_shares_are_those_of_the_truth(drawn):
    _, stone, true = drawn
    assert {name: share.value for name, share in true.regions.shares.items()} == stone.shares
    counts = np.bincount(true.regions.codes.ravel(), minlength=10)[1:4]
    assert counts / counts.sum() == pytest.approx(list(stone.shares.values()), abs=0.01)


def test_lines_are_the_cracks_drawn_on_the_stone(drawn):
    rendered, _, true = drawn
    cracks = [line for line in rendered.lines if line.kind == "crack"]
    assert 1 <= len(true.cracks) <= len(cracks)
    whole = sum(np.linalg.norm(np.diff(line.points, axis=0), axis=1).sum() for line in cracks)
    assert 0 < sum(line.length_px for line in true.cracks) <= whole * true.px_per_photo_px + 1e-3


def test_contrast_is_that_of_the_true_colours(drawn):
    _, stone, true = drawn
    blue, white = (
        (lch[0], lch[1] * np.cos(np.deg2rad(lch[2])), lch[1] * np.sin(np.deg2rad(lch[2])))
        for lch in (stone.colour["blue"], stone.colour["white"])
    )
    expected = float(deltaE_ciede2000(np.array(blue), np.array(white)))
    assert true.banding.contrast_de00 == pytest.approx(expected, abs=0.5)
