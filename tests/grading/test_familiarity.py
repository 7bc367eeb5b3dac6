"""Appearances of made-up faces: flat, grained and striped differ, and an unfamiliar stone is no confident proposal."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.grading.learning.retrain import retrain
from grader.grading.models.familiarity import (
    OTHER_KIND,
    appearance_features,
    fit_familiarity,
)
from grader.grading.models.model_json import model_from, model_texts
from grader.grading.proposal import Call
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


@pytest.mark.slow
def test_new_stones_are_known_and_walls_and_green_faces_are_not(known):
    rng = np.random.default_rng(1)
    reasons = {
        k: [known.why_unfamiliar(appearance_features(*face(rng, k))) for _ in range(40)]
        for k in ("stone", "wall", "odd")
    }
    assert sum(why is not None for why in reasons["stone"]) <= 4
    assert all(why == OTHER_KIND for why in reasons["wall"])
    assert {*reasons["odd"]} <= {
        OTHER_KIND,
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
    assert proposal.unfamiliar == OTHER_KIND and proposal.what_if is None
    assert (
        proposed(appearance_features(*face(np.random.default_rng(5), "stone"))).unfamiliar is None
    )


def test_an_odd_stone_that_was_called_is_known_and_others_like_it_too(known):
    rng = np.random.default_rng(6)
    called = [appearance_features(*face(rng, "odd")) for _ in range(30)]
    taught = known.with_own(called)
    assert all(taught.why_unfamiliar(one) is None for one in called)
    like = [appearance_features(*face(rng, "odd")) for _ in range(30)]
    strange = [sum(one.why_unfamiliar(a) is not None for a in like) for one in (known, taught)]
    assert strange[0] >= 28 and strange[1] <= strange[0] / 2
    walls = [appearance_features(*face(rng, "wall")) for _ in range(20)]
    assert all(taught.why_unfamiliar(wall) == OTHER_KIND for wall in walls)


def test_stones_that_are_known_anyway_are_not_kept(known):
    stone = appearance_features(*face(np.random.default_rng(7), "stone"))
    odd = appearance_features(*face(np.random.default_rng(7), "odd"))
    assert known.with_own([stone]) == known
    once = known.with_own([stone, odd])
    assert len(once.own) == 1 and once.with_own([odd]) == once


def test_a_retrained_model_knows_the_stones_that_were_called(
    known, small_model, make_faces, profile
):
    rng = np.random.default_rng(8)
    rows, _ = make_faces(4, rng, profile)
    stones = [(f"{i:064x}", 1) for i in range(4)]
    calls = [
        Call("a.jpg", sha, piece, (0, 0, 9, 9), "tumbling", None, None, f"2024-05-0{i + 1}", None)
        for i, (sha, piece) in enumerate(stones[:3])
    ]
    odd = {stone: appearance_features(*face(rng, "odd")) for stone in stones}
    base = replace(small_model, familiarity=replace(known, own_reach=1e-6))
    model = retrain(calls, dict(zip(stones, rows, strict=True)), profile, base, appearances=odd)
    strange = [model.model.familiarity.why_unfamiliar(odd[stone]) for stone in stones]
    assert strange[:3] == [None] * 3 and strange[3] is not None
    texts = model_texts(model.model, rows[:2], profile)
    assert model_from({name: json.loads(text) for name, text in texts.items()}) == model.model


def test_the_nearest_are_those_of_its_kind(known):
    rng = np.random.default_rng(9)
    kinds = ["wall", "odd", "stone", "odd", "wall"]
    among = [appearance_features(*face(rng, kind)) for kind in kinds]
    odd = appearance_features(*face(rng, "odd"))
    order = known.nearest(odd, among)
    assert {*order[:2]} == {1, 3} and sorted(order) == [0, 1, 2, 3, 4]
    assert known.nearest(odd, [*among, odd])[0] == 5 and known.nearest(odd, []) == []
