import dataclasses

import numpy as np
import pytest

from grader.grading.features.features import (
    FEATURES,
    GRADE_FEATURES,
    SCENE_FEATURES,
    features,
)
from grader.measures import MEASURES
from grader.profile import RULE_MEASURES


def test_every_measure_that_a_rule_may_name_is_a_feature(profile, make_measurements):
    assert set(RULE_MEASURES) <= set(FEATURES)
    assert list(features(make_measurements(), profile)) == list(FEATURES)


def test_features_that_are_measures_are_declared_once():
    for name, feature in FEATURES.items():
        assert MEASURES.get(name, feature.measure) is feature.measure
        assert feature.monotone_sign in (-1, 0, 1)
    assert {*GRADE_FEATURES, *SCENE_FEATURES} <= set(FEATURES)


def test_values_can_be_counted_on_a_drawn_face(profile, make_measurements, make_line):
    face = make_measurements(
        0.3, 0.25, lines=[make_line(10, 50, 60, 50), make_line(0, 0, 9, 0, "contact")]
    )
    values = features(face, profile)
    assert values["pattern_share"] == pytest.approx(0.55)
    assert values["rusty_share"] == pytest.approx(0.75 * 0.45)
    assert values["crack_count"] == 1
    # One crack of 50 px on 20,000 px of face.
    assert values["crack_density"] == pytest.approx(50 / np.sqrt(20_000))
    # Both lines, each with a chance of 0.9.
    assert values["line_density"] == pytest.approx(0.9 * 59 / np.sqrt(20_000))
    # 20,000 px of 0.2 mm.
    assert values["area_cm2"] == pytest.approx(8.0)


def test_without_scale_the_area_is_not_known(profile, make_measurements):
    assert features(make_measurements(mm_per_px=None), profile)["area_cm2"] is None


def test_a_face_of_host_alone_has_no_colour_of_blue_and_a_low_scene(profile, make_measurements):
    face = make_measurements(0.0, 0.0, scene=None, continuity=None)
    values = features(face, profile)
    assert values["blue_chroma"] is None and values["continuity"] is None
    assert values["scene_score"] == 0


def test_classes_may_have_other_names(profile, make_measurements):
    renamed = dataclasses.replace(
        profile,
        colours=tuple(dataclasses.replace(c, name=f"my {c.name}") for c in profile.colours),
    )
    face = make_measurements(0.3, 0.25)
    regions = face.regions
    other = dataclasses.replace(
        face,
        regions=dataclasses.replace(
            regions,
            **{
                table: {f"my {k}": v for k, v in getattr(regions, table).items()}
                for table in ("shares", "kinds", "colour")
            },
        ),
    )
    assert features(other, renamed) == features(face, profile)


def test_doubling_the_picture_changes_no_feature_but_those_of_scale(
    profile, make_measurements, make_line
):
    once = make_measurements(lines=[make_line(10, 50, 60, 50)])
    twice = dataclasses.replace(
        make_measurements(lines=[make_line(20, 100, 120, 100)]), face_area_px=80_000, mm_per_px=0.1
    )
    assert features(twice, profile) == pytest.approx(features(once, profile))
