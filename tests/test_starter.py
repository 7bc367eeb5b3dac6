"""The starter's own steps on faces made up for it; drawing and measuring are tested elsewhere."""

import dataclasses

import numpy as np
import pytest

from grader.drawn import DrawnFace
from grader.grading.features.features import FEATURES, with_values
from grader.grading.features.rules import border_distance, grade_by_rules
from grader.grading.models.model_files import load_model
from grader.profile import load_profile
from grader.render import TRAINING
from grader.starter import NEAR, card, judge, kept, learn, slipped

PROFILE = load_profile("banded")


def _faces(n, seed):
    """Faces whose measured values are the true ones, off as by a fair eye; two in each photo."""
    rng = np.random.default_rng(seed)
    faces = []
    for number in range(n):
        blue, white = rng.dirichlet([2, 1.2, 1.5])[:2]
        true = dict.fromkeys(FEATURES, 0.5) | {
            "pattern_share": blue + white,
            "blue_share": blue,
            "white_share": white,
            "blue_chroma": rng.gamma(6, 3),
            "crack_density": rng.exponential(0.4),
            "area_cm2": None,
        }
        parts = {name: rng.beta(4, 3) for name in FEATURES if name.startswith("scene_")}
        true |= parts | {"scene_score": 100 * np.mean(list(parts.values()))}
        off = {
            name: value + rng.normal(0, 0.05 * (30 if name == "blue_chroma" else 1))
            for name, value in true.items()
            if value is not None and name in ("pattern_share", "blue_chroma", "crack_density")
        }
        true = with_values(true, PROFILE)
        faces.append(
            DrawnFace(number // 2, number % 2 + 1, with_values(true, PROFILE, **off), true, {})
        )
    return faces


@pytest.fixture(scope="module")
def learned():
    return learn(_faces(200, 1), PROFILE, np.random.default_rng(0), "2024-05-01", each=2)


def test_the_same_seed_makes_the_same_model(learned):
    again = learn(_faces(200, 1), PROFILE, np.random.default_rng(0), "2030-12-31", each=2)
    assert again.label == learned.label
    assert again.provenance.data_sha256 == learned.provenance.data_sha256


def test_a_model_agrees_with_the_rules_on_faces_that_it_has_not_seen(learned):
    judged = judge(learned, _faces(150, 2), PROFILE, np.random.default_rng(0))
    assert judged.model.kappa.value > 0.75
    assert judged.faces == 150 and judged.photos == 75
    assert sum(judged.shares.values()) == pytest.approx(1)
    assert sum(judged.decided.values()) == pytest.approx(1)


def test_rules_on_exact_values_agree_in_full(learned):
    exact = [dataclasses.replace(face, measured=face.true) for face in _faces(60, 3)]
    assert judge(learned, exact, PROFILE, np.random.default_rng(0)).plain.kappa.value == 1.0


def test_people_slip_near_a_border_and_by_one_grade_only():
    rng = np.random.default_rng(4)
    for face in _faces(300, 5):
        rung = PROFILE.grades.index(grade_by_rules(face.true, PROFILE)[0])
        called = slipped(face.true, PROFILE, rng)
        assert abs(called - rung) <= (border_distance(face.true, PROFILE) <= NEAR)


def test_the_card_tells_data_seed_figures_limits_and_the_command(learned):
    judged = judge(learned, _faces(60, 6), PROFILE, np.random.default_rng(0))
    text = card(learned, judged, 7)
    for words in (
        learned.label,
        "Seed 7",
        learned.provenance.data_sha256,
        "quadratic weighted kappa",
        "python -m grader.starter --out models/starter",
        "rendered stones only",
    ):
        assert words in text


def test_the_starter_that_ships_loads_and_knows_the_ladder_that_ships():
    starter = load_model()
    assert starter.label.startswith("starter ")
    assert starter.grade.grades == PROFILE.grades


def test_faces_are_drawn_once_and_their_places_follow_the_rules_of_now(tmp_path):
    drawn = []

    def draw(style, photos):
        drawn.append(photos)
        faces = _faces(2 * photos.stop, 8)
        return [face for face in faces if face.photo in photos]

    path = tmp_path / "faces.jsonl"
    first = kept(path, PROFILE, 7, draw)(TRAINING, range(5))
    assert kept(path, PROFILE, 7, draw)(TRAINING, range(5)) == first and drawn == [range(5)]
    kept(path, PROFILE, 7, draw)(TRAINING, range(45))
    assert drawn[1:] == [range(40), range(40, 45)]
    kept(path, PROFILE, 8, draw)(TRAINING, range(5))
    assert drawn[3:] == [range(5)]
    # Without a rule everything is of the lowest grade; nothing is drawn anew.
    bare = kept(path, dataclasses.replace(PROFILE, rules=()), 7, draw)(TRAINING, range(5))
    assert len(drawn) == 4
    assert (
        {face.true["rules_grade"] for face in bare}
        == {0.0}
        != {f.true["rules_grade"] for f in first}
    )
