"""Made-up faces and a small model trained on them: objects of ours with known truth."""

from dataclasses import replace

import numpy as np
import pytest

from grader.face.measurements import (
    Banding,
    Line,
    Measurements,
    RegionColour,
    Regions,
    Room,
    Scene,
    Share,
)
from grader.grading.features.facts import stone_facts
from grader.grading.features.features import GRADE_FEATURES, features, with_values
from grader.grading.features.rules import grade_by_rules
from grader.grading.features.scaling import fit_scaling
from grader.grading.learning.candidates import _Faces, _fit, column_signs
from grader.grading.models.model import GradeHead, Model, Provenance
from grader.grading.models.ordinal import fit_ordinal
from grader.grading.models.scene_head import fit_scene
from grader.grading.models.seller_ensemble import draw_ensemble
from grader.profile import SCENE_PARTS, load_profile


@pytest.fixture(scope="session")
def fit_head():
    """Return a function that fits a head to graded faces: rows, rungs, and what stone each face is of."""

    def fit(head, rows, rung, stones, *, plain=True):
        return _fit(head, _Faces.of(head, rows, rung, stones), plain)

    return fit


def _measurements(
    blue=0.4, white=0.2, chroma=20.0, scene=0.5, lines=(), continuity=0.6, mm_per_px=0.2, glare=0.05
) -> Measurements:
    """One face of 100 x 200 px with these values; ``scene`` is every part score."""
    host = 1.0 - blue - white
    shares = {"blue": blue, "white": white, "host": host}
    banding = Banding(continuity, 0.7, 4, 10.0, 9.0, 30.0, 0.8)
    codes = np.zeros((110, 210), np.uint8)
    codes[5:105, 5:205] = 3
    colour = RegionColour(50.0, chroma, 260.0, 5.0)
    return Measurements(
        regions=Regions(
            codes=codes,
            shares={n: Share(v, v, v) for n, v in shares.items()},
            kinds={"host": {"rusty": 0.75 * host, "grey": 0.25 * host}},
            colour={
                "blue": colour if blue else None,
                "white": RegionColour(85.0, 4.0, 90.0, 3.0) if white else None,
                "host": RegionColour(45.0, 15.0, 60.0, 6.0) if host else None,
            },
            glare_share=glare,
        ),
        banding=Banding() if continuity is None else banding,
        lines=tuple(lines),
        scene=Scene(dict.fromkeys(SCENE_PARTS, scene)),
        face_area_px=20_000,
        px_per_photo_px=1.0,
        mm_per_px=mm_per_px,
        room=_room(blue, white),
    )  # fmt: skip


def _room(blue, white) -> Room:
    """Room as faces have it whose blue and white lie in broad bands."""
    both = min(blue, white) >= 0.05
    return Room(0.8 * (blue + white) if both else 0.0, 0.8 * blue, 30.0 if both else 4.0)


def _line(x0, y0, x1, y1, kind="crack") -> Line:
    """A straight line of 1.5 px."""
    points = np.array([[x0, y0], [x1, y1]], np.float32)
    return Line(points, float(np.hypot(x1 - x0, y1 - y0)), 1.5, kind, 0.9)


def _faces(n, rng, profile):
    """Features of n faces whose parts vary as stones do, with the grade by the rules for each."""
    rows, grades = [], []
    for _ in range(n):
        blue, white = rng.beta(2, 3), rng.beta(2, 4)
        over = max(1.0, blue + white)
        length = rng.exponential(40.0) if rng.random() < 0.6 else 0.0
        face = _measurements(
            blue / over,
            white / over,
            chroma=float(rng.gamma(6, 3)),
            scene=float(rng.beta(4, 3)),
            lines=[_line(10, 50, 10 + length, 50)] if length else [],
            continuity=float(rng.beta(3, 2)) if rng.random() < 0.8 else None,
            mm_per_px=0.2 if rng.random() < 0.5 else None,
        )
        rows.append(features(face, profile))
        grades.append(profile.grades.index(grade_by_rules(rows[-1], profile)[0]))
    return rows, np.array(grades)


@pytest.fixture(scope="session")
def make_measurements():
    return _measurements


@pytest.fixture(scope="session")
def make_line():
    return _line


@pytest.fixture(scope="session")
def make_facts(profile):
    """Return a function from measurements to what a face is graded by; of no appearance at all where none is given."""

    def make(measurements, size_class=None, **given):
        return stone_facts(
            measurements, profile, size_class=size_class, **{"appearance": {}, **given}
        )

    return make


@pytest.fixture(scope="session")
def make_faces():
    return _faces


@pytest.fixture(scope="session")
def profile():
    return load_profile("banded")


@pytest.fixture(scope="session")
def faces(profile):
    return _faces(300, np.random.default_rng(5), profile)


@pytest.fixture(scope="session")
def small_model(profile, faces):
    return _model(profile, *faces)


@pytest.fixture(scope="session")
def ensemble_model(profile, faces, small_model):
    """The same model with a small ensemble, of sellers who see what is measured."""
    head, rows = small_model.grade, faces[0]
    x = head.scaling.design(rows)
    ensemble = draw_ensemble(
        x, rows, 4, column_signs(head), head.ordinal, np.random.default_rng(7), each=7
    )
    return replace(small_model, grade=replace(head, ensemble=ensemble))


def _model(profile, rows, rung):
    scene = fit_scene(rows, [row["scene_score"] for row in rows], range(len(rows)))
    complete = [
        with_values(row, profile, scene_score=s)
        for row, s in zip(rows, scene.values(rows), strict=True)
    ]
    scaling = fit_scaling(complete, GRADE_FEATURES)
    head = GradeHead(profile.grades, scaling, None)
    x = scaling.design(complete)
    ordinal = fit_ordinal(x, rung, len(profile.grades), monotone_signs=column_signs(head))
    made = Provenance("0" * 64, "faces made up for tests", "2024-01-01", {"numpy": np.__version__})
    return Model("made up", GradeHead(profile.grades, scaling, ordinal), scene, made)
