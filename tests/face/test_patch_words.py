"""The seller's words on patches: how far each goes over the regions of a face, on arrays drawn by hand."""

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.regions.patch_words import PatchWord, standing, with_patch_words
from grader.profile import load_profile

PROFILE = load_profile()
BLUE, WHITE, HOST, HIDDEN = range(4)
DEEP, PALE, WARM = (40.0, 5, -35), (72.0, 0, -10), (45.0, 15, 25)


def face(lab, mask=None, px_per_photo_px=1.0, origin_px=(0.0, 0.0)):
    lab = np.asarray(lab, np.float32)
    mask = np.ones(lab.shape[:2], bool) if mask is None else mask
    return Face(np.zeros_like(lab), lab, mask, px_per_photo_px, origin_px)


def chances(named):
    """Seven in ten for the class that is named, (h, w) of places; the rest alike."""
    return np.where(np.arange(4) == named[..., None], 0.7, 0.1).astype(np.float32)


@pytest.fixture
def stone():
    """Blue above, pale in the middle, host below, 20 rows each, 40 wide; all but the host is named blue."""
    lab = np.repeat(np.array([DEEP, PALE, WARM]), 20, axis=0)[:, None].repeat(40, axis=1)
    named = np.repeat([BLUE, BLUE, HOST], 20)[:, None].repeat(40, axis=1)
    return face(lab), chances(named)


def spoken(stone, *words, profile=PROFILE):
    return with_patch_words(stone[1], words, stone[0], profile).argmax(-1)


def test_a_word_takes_the_like_coloured_part_of_the_region_it_lies_in(stone):
    named = spoken(stone, PatchWord(18, 28, 4, 4, "white"))
    # The whole pale band, but for the blurred rows at its borders; none of the deep blue, none of the host.
    assert (named[22:38] == WHITE).all()
    assert (named[:18] == BLUE).all()
    assert (named[40:] == HOST).all()


def test_what_is_said_is_sure(stone):
    result = with_patch_words(stone[1], [PatchWord(18, 28, 4, 4, "white")], stone[0], PROFILE)
    assert result[30, 5] == pytest.approx([0, 1, 0, 0])
    assert result.sum(-1) == pytest.approx(1)
    assert result[50, 5] == pytest.approx(stone[1][50, 5])


def test_a_word_stays_in_its_region_though_the_next_is_coloured_alike(stone):
    """Two bands of one colour that are named otherwise: the word on the one leaves the other."""
    lab = np.full((60, 40, 3), PALE)
    named = spoken((face(lab), stone[1]), PatchWord(18, 28, 4, 4, "white"))
    assert (named[:40] == WHITE).all()
    assert (named[40:] == HOST).all()


def test_it_does_not_jump_to_another_piece_of_its_class(stone):
    """A pale field that a host vein parts: only the side of the patch takes the word."""
    lab, named = np.full((20, 41, 3), PALE), np.full((20, 41), BLUE)
    lab[:, 20], named[:, 20] = WARM, HOST
    result = spoken((face(lab), chances(named)), PatchWord(4, 8, 3, 3, "white"))
    assert (result[:, :18] == WHITE).all()
    assert (result[:, 21:] == BLUE).all()


def test_two_words_in_one_region_part_it_by_the_nearer_colour(stone):
    ramp = np.linspace(40, 56, 41)
    lab = np.stack([ramp, 0 * ramp, 0 * ramp - 20], -1)[None].repeat(20, axis=0)
    of_ramp = face(lab), chances(np.full((20, 41), HOST))
    words = PatchWord(2, 8, 3, 3, "blue"), PatchWord(36, 8, 3, 3, "white")
    for order in (words, words[::-1]):
        result = spoken(of_ramp, *order)
        # L* is 41.4 and 55 in their middles: half way is at column 20.
        assert (result[:, 5:19] == BLUE).all()
        assert (result[:, 22:36] == WHITE).all()


def test_glare_is_what_cannot_be_read(stone):
    assert (spoken(stone, PatchWord(18, 28, 4, 4, "glare"))[24:36] == HIDDEN).all()


@pytest.mark.parametrize(
    "word",
    [
        PatchWord(18, 28, 4, 4, "moss"),  # of another profile
        PatchWord(90, 90, 4, 4, "white"),  # off the face
        PatchWord(18, 28, 4, 4, "withdrawn"),
    ],
)
def test_what_says_nothing_of_this_face_changes_nothing(stone, word):
    assert (spoken(stone, word) == stone[1].argmax(-1)).all()


def test_a_point_of_a_large_photo_is_a_px_at_least():
    """A photo ten times as large as the face."""
    lab, named = np.full((20, 20, 3), PALE), np.full((20, 20), BLUE)
    small = face(lab, px_per_photo_px=0.1, origin_px=(500.0, 300.0)), chances(named)
    assert (spoken(small, PatchWord(598, 398, 4, 4, "white")) == WHITE).all()
    assert (spoken(small, PatchWord(98, 98, 4, 4, "white")) == BLUE).all()


def test_the_last_word_on_a_patch_holds_and_withdrawn_takes_it_back():
    first, later = PatchWord(10, 10, 4, 4, "white"), PatchWord(11, 11, 4, 4, "blue")
    elsewhere = PatchWord(30, 10, 4, 4, "host")
    assert standing([first, elsewhere, later]) == [elsewhere, later]
    assert standing([first, elsewhere, PatchWord(10, 10, 4, 4, "withdrawn")]) == [elsewhere]
    # One px of corner in common is another patch.
    assert standing([first, PatchWord(13, 13, 4, 4, "blue")]) == [
        first,
        PatchWord(13, 13, 4, 4, "blue"),
    ]


def test_ground_beside_the_stone_takes_no_part(stone):
    mask = np.zeros((60, 40), bool)
    mask[:, 10:] = True
    cut = face(stone[0].lab, mask)
    result = with_patch_words(stone[1], [PatchWord(18, 28, 4, 4, "white")], cut, PROFILE)
    assert result[:, :10] == pytest.approx(stone[1][:, :10])
    assert (result.argmax(-1)[22:38, 10:] == WHITE).all()
