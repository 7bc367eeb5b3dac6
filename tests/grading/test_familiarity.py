"""Appearances of made-up faces: flat, grained and striped differ, and an unfamiliar stone is no confident proposal."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.grading.models.familiarity import (
    OTHER_SURFACE,
    appearance_features,
    fit_familiarity,
)
from grader.grading.propose import propose, scene_estimate


def face(rng, kind):
    """A small face in CIELAB: "stone" has soft bands of blue and white, "wall" coarse brown grain, "odd" is green."""
    y, x = np.mgrid[:90, :120].astype(np.float32)
    noise = rng.normal(0, 1, (90, 120)).astype(np.float32)
    if kind == "wall":
        light, a, b = 50 + 14 * noise, 18 + noise, 25 + noise
    else:
        band = np.sin((y + 8 * np.sin(x / rng.uniform(20, 40))) / rng.uniform(5, 9))
        light, a, b = 60 + 15 * band + 2 * noise, rng.normal(0, 2) + noise, -14 + 10 * band
        if kind == "odd":
            a, b = a - 55, b + 60
    lab = np.stack([light, a, b], axis=2).astype(np.float32)
    return lab, cv2.ellipse(np.zeros((90, 120), np.uint8), (60, 45), (55, 40), 0, 0, 360, 1, -1) > 0


@pytest.fixture(scope="module")
def known():
    rng = np.random.default_rng(0)
    appearances = {
        k: [appearance_features(*face(rng, k)) for _ in range(n)]
        for k, n in (("stone", 120), ("wall", 60))
    }
    return fit_familiarity(appearances["stone"], appearances["wall"], list(range(120)))


def test_new_stones_are_known_and_walls_and_green_faces_are_not(known):
    rng = np.random.default_rng(1)
    reasons = {
        k: [known.why_unfamiliar(appearance_features(*face(rng, k))) for _ in range(40)]
        for k in ("stone", "wall", "odd")
    }
    assert sum(why is not None for why in reasons["stone"]) <= 4
    assert all(why == OTHER_SURFACE for why in reasons["wall"])
    assert {*reasons["odd"]} <= {
        OTHER_SURFACE,
        "redness",
        "yellowness",
        "chroma",
        "odd_hue",
        "hue_line",
    }


def test_an_appearance_knows_no_size_of_picture(known):
    lab, mask = face(np.random.default_rng(3), "stone")
    twice = (
        cv2.resize(lab, None, fx=3, fy=3),
        cv2.resize(mask.astype(np.uint8), None, fx=3, fy=3) > 0,
    )
    small, large = appearance_features(lab, mask), appearance_features(*twice)
    for name in ("lightness", "blue"):
        assert large[name] == pytest.approx(small[name], rel=0.05)


def test_a_tiny_or_flat_face_has_an_appearance():
    found = appearance_features(np.full((9, 9, 3), 50, np.float32), np.ones((9, 9), bool))
    assert np.isfinite(list(found.values())).all()


def test_distance_is_that_of_mahalanobis(known):
    """Outside value: scipy.spatial.distance.mahalanobis, squared."""
    distance = pytest.importorskip("scipy.spatial.distance")
    scaled = known.scaled([appearance_features(*face(np.random.default_rng(4), "stone"))])
    theirs = (
        distance.mahalanobis(
            scaled[0], np.zeros(len(scaled[0])), np.array(known.inverse_covariance)
        )
        ** 2
    )
    assert known.distance(scaled)[0] == pytest.approx(theirs)


def test_an_unfamiliar_stone_gets_the_whole_ladder_and_the_reason(
    known, small_model, profile, make_measurements, make_facts
):
    model = replace(small_model, familiarity=known)

    def proposed(appearance):
        facts = make_facts(make_measurements(0.6, 0.36), appearance=appearance)
        return propose(facts, scene_estimate(facts, model), profile, model)

    proposal = proposed(appearance_features(*face(np.random.default_rng(2), "wall")))
    assert proposal.grade_set == profile.grades
    assert proposal.unfamiliar == OTHER_SURFACE and proposal.what_if is None
    assert (
        proposed(appearance_features(*face(np.random.default_rng(5), "stone"))).unfamiliar is None
    )
