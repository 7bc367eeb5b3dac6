"""Regions: what the network reads, and how its answer becomes classes, shares and intervals."""

from dataclasses import replace

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.regions import regions
from grader.face.sight.glare import find_glare
from grader.photo.colour import lab_from_linear
from grader.profile import load_profile

PROFILE = load_profile()


def face_of(linear, mask=None):
    linear = np.asarray(linear, np.float32)
    mask = np.ones(linear.shape[:2], bool) if mask is None else mask
    return Face(linear, lab_from_linear(linear), mask, 1.0, (0.0, 0.0))


def certain(codes):
    """Chances of shape (h, w, 4) that leave no doubt about roles 0, 1, 2, 3."""
    return np.eye(4, dtype=np.float32)[np.asarray(codes)]


@pytest.fixture(autouse=True)
def fitted_widths(monkeypatch):
    monkeypatch.setattr(regions, "half_width", lambda doubt, light_sd: 0.01 + 2 * doubt)


def regions_of(face, profile=PROFILE):
    return regions.find_regions(face, find_glare(face), profile)


def test_what_lies_outside_the_stone_cannot_reach_the_network():
    rng = np.random.default_rng(1)
    mask = np.zeros((40, 50), bool)
    mask[10:30, 10:40] = True
    stone, other = rng.random((2, 40, 50, 3)).astype(np.float32)
    beside = np.where(mask[..., None], stone, other)
    first = regions.regions_input(lab_from_linear(stone), mask, PROFILE)
    second = regions.regions_input(lab_from_linear(beside), mask, PROFILE)
    np.testing.assert_array_equal(first, second)


@pytest.mark.slow
def test_two_photos_of_one_stone_beside_different_things_give_the_same_shares():
    rng = np.random.default_rng(2)
    y, x = np.mgrid[:500, :620]
    mask = np.hypot((x - 310) / 1.2, y - 250) < 230
    stone = np.where((y // 50 % 2 == 0)[..., None], (0.1, 0.16, 0.5), (0.75, 0.75, 0.7))
    grounds = np.zeros(3), rng.random((500, 620, 3)), np.array([0.3, 0.1, 0.02])
    shares = [
        regions_of(face_of(np.where(mask[..., None], stone, ground), mask)).shares
        for ground in grounds
    ]
    assert shares[0] == shares[1] == shares[2]
    assert 0.3 < shares[0]["blue"].value < 0.7


def test_the_fit_to_a_class_follows_the_profile():
    # L*, a*, b* of a strong blue (h_ab 285), a near white and a rust (h_ab 45).
    lab = np.float32([[[40, 10.4, -38.6], [92, 0, 2], [45, 21, 21]]])
    fit = regions.regions_input(lab, np.ones((1, 3), bool), PROFILE)[0, :, 4:]
    assert fit[0, 0] > 0.95 > fit[0, 1]
    assert fit[1, 1] > 0.95
    assert fit[1, 0] < 0.2
    assert fit[2, 0] < 0.05
    assert (fit[:, 2] > 0.95).all()


def test_shares_are_counted_over_the_readable_face_and_sum_to_one():
    codes = np.zeros((10, 10), int)
    codes[:, 3:5], codes[:, 5:9], codes[:, 9] = 1, 2, 3
    face = face_of(np.full((10, 10, 3), 0.5))
    named = regions._name(face, certain(codes))
    shares = regions.regions_from_chances(face, certain(codes), PROFILE).shares
    assert {n: s.value for n, s in shares.items()} == pytest.approx(
        {"blue": 3 / 9, "white": 2 / 9, "host": 4 / 9}
    )
    assert (named == regions.UNREADABLE).sum() == 10


def test_glare_widens_every_interval_for_what_may_lie_under_it():
    codes = np.zeros((10, 10), int)
    codes[:, 9] = 3
    face = face_of(np.full((10, 10, 3), 0.5))
    shares = regions.regions_from_chances(face, certain(codes), PROFILE).shares
    # Nine columns of blue, one unread: blue fills 0.9 to 1 of the whole face; each end 0.01 further for the base.
    assert shares["blue"].low == pytest.approx(0.99 * 0.9)
    assert shares["blue"].high == pytest.approx(1)
    assert shares["white"].high == pytest.approx(0.01 * 0.9 + 0.1)


def test_an_interval_does_not_narrow_when_the_photo_is_doubled_in_size():
    rng = np.random.default_rng(3)
    chances = rng.dirichlet([1, 1, 1, 0.1], (20, 30)).astype(np.float32)
    face = face_of(np.full((20, 30, 3), 0.5))
    doubled = np.repeat(np.repeat(chances, 2, 0), 2, 1)
    big = face_of(np.full((40, 60, 3), 0.5))
    first = regions.regions_from_chances(face, chances, PROFILE).shares
    second = regions.regions_from_chances(big, doubled, PROFILE).shares
    for name in first:
        assert second[name].high - second[name].low == pytest.approx(
            first[name].high - first[name].low, abs=1e-6
        )


def test_a_face_under_glare_alone_claims_nothing():
    codes = np.full((6, 6), 3)
    face = face_of(np.ones((6, 6, 3)))
    shares = regions.regions_from_chances(face, certain(codes), PROFILE).shares
    assert all((s.low, s.high) == (0, 1) for s in shares.values())
    assert sum(s.value for s in shares.values()) == pytest.approx(1)


def test_host_is_told_rusty_or_grey_by_chroma():
    linear = np.empty((4, 8, 3), np.float32)
    linear[:, :2], linear[:, 2:] = (0.35, 0.16, 0.07), (0.2, 0.2, 0.2)
    face = face_of(linear)
    kinds = regions._kinds({"host": face.lab.reshape(-1, 3)}, np.full((4, 8), 3, np.uint8), PROFILE)
    assert kinds == {"host": {"rusty": 0.25, "grey": 0.75}}


def test_the_colour_of_an_absent_class_is_unknown():
    assert regions._region_colour(np.empty((0, 3), np.float32)) is None
    colour = regions._region_colour(np.float32([[50, 3, -4]] * 5))
    assert (colour.L, colour.C, colour.spread) == (50, 5, 0)
    assert colour.h == pytest.approx(306.87, abs=0.01)


def by_class(codes, lab, profile):
    """Chances of the classes where each px is of that role for sure."""
    *roles, hidden = np.moveaxis(certain(codes), -1, 0)
    return regions._by_class(roles, hidden, lab, profile)


def profile_of(*colours):
    return replace(PROFILE, colours=colours)


def test_two_classes_of_one_role_share_it_by_colour():
    dark = replace(PROFILE.colours[0], name="dark", lightness=(0, 35))
    pale = replace(PROFILE.colours[0], name="pale", lightness=(55, 90))
    profile = profile_of(dark, pale, *PROFILE.colours[1:])
    lab = np.float32([[[20, 8, -30], [70, 8, -30]]])
    chances = by_class([[0, 0]], lab, profile)
    assert chances.argmax(-1).tolist() == [[0, 1]]
    np.testing.assert_allclose(chances.sum(-1), 1, rtol=1e-6)


def test_a_class_without_a_role_takes_from_the_host_where_its_colour_fits():
    green = replace(
        PROFILE.colours[2],
        name="green",
        hue_deg=(120, 160),
        chroma=(10, 90),
        kinds=None,
        reads_as="none",
    )
    profile = profile_of(*PROFILE.colours, green)
    lab = np.float32([[[45, -20, 15], [45, 15, 15]]])
    chances = by_class([[2, 2]], lab, profile)
    assert chances.argmax(-1).tolist() == [[3, 2]]


def test_of_two_host_classes_the_last_is_what_is_none_of_the_others():
    rust = replace(PROFILE.colours[2], name="rust", hue_deg=(40, 70), chroma=(20, 90), kinds=None)
    profile = profile_of(*PROFILE.colours[:2], rust, PROFILE.colours[2])
    lab = np.float32([[[45, 15, 20], [45, 1, 1]]])
    chances = by_class([[2, 2]], lab, profile)
    assert chances.argmax(-1).tolist() == [[2, 3]]


def test_eight_classes_are_measured_from_end_to_end():
    more = [
        replace(
            PROFILE.colours[2],
            name=f"extra {k}",
            hue_deg=(40 * k, 40 * k + 30),
            reads_as="none",
            kinds=None,
        )
        for k in range(5)
    ]
    profile = profile_of(*PROFILE.colours, *more)
    face = face_of(np.random.default_rng(1).random((64, 64, 3)))
    found = regions_of(face, profile)
    assert sum(share.value for share in found.shares.values()) == pytest.approx(1, abs=1e-6)
    assert set(np.unique(found.codes)) <= set(range(1, 10))


@pytest.mark.parametrize(
    ("near", "whole", "hidden"), [(1, 0, 0.5), (0, 1, 0.5), (0.2, 0.6, 0.4), (1, 1, 1)]
)
def test_each_look_at_glare_has_half_the_say(monkeypatch, near, whole, hidden):
    chances = np.append(np.array([1, 1, 2]) / 4 * (1 - whole), whole).clip(1e-9)
    scores = (np.log(chances) + np.log([1, 1, 1, regions.GLARE_WEIGHT])).astype(np.float32)
    monkeypatch.setattr(
        regions, "run_net", lambda _, picture: np.tile(scores, (*picture.shape[:2], 1))
    )
    face = face_of(np.full((regions.LOOK_PX, regions.LOOK_PX, 3), 0.3))
    found = regions._chances(face, np.full(face.mask.shape, near, np.float32), PROFILE)
    np.testing.assert_allclose(found[..., -1], hidden, atol=1e-5)
    np.testing.assert_allclose(found.sum(axis=-1), 1, atol=1e-4)


@pytest.mark.parametrize(("hidden", "unreadable"), [(0.45, False), (0.55, True)])
def test_a_px_is_unreadable_where_that_is_more_likely_than_not(hidden, unreadable):
    face = face_of(np.full((4, 4, 3), 0.5))
    # No class alone is as likely as glare, and all of them together may be.
    chances = np.tile(np.float32([*[(1 - hidden) / 3] * 3, hidden]), (4, 4, 1))
    assert (regions._name(face, chances) == regions.UNREADABLE).all() == unreadable


def test_a_lamps_mirror_ends_at_no_speck_and_what_one_network_says_alone_is_no_mirror():
    glare, whole = np.zeros((40, 60), np.float32), np.zeros((40, 60), np.float32)
    glare[10:20, 10:30], whole[10:20, 10:30] = 0.9, 0.8
    whole[12:16, 18:24] = 0  # a speck in it that the other network takes for stone
    glare[30:35, 40:50] = 0.9  # a white patch that only one takes for a lamp
    hidden = regions._hidden(glare, whole) > 0.5
    assert hidden[10:20, 10:30].all()
    assert hidden.sum() == 200
