"""A graded photo made by hand: every number in it is known, nothing is measured."""

import hashlib
import random

import numpy as np
import pytest

from grader.face.face import Face
from grader.face.measurements import (
    Banding,
    Line,
    Measurements,
    RegionColour,
    Regions,
    Scene,
    Share,
)
from grader.face.sound import sound_stone
from grader.grade import Graded, GradedPiece, MeasuredPiece
from grader.grading.proposal import Proposal, RulesWord, SceneEstimate
from grader.measures import Remark
from grader.photo.colour import srgb_curve
from grader.photo.photo import ColourEncoding, Photo, Scale
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.photo.surface import State
from grader.photo.verdict import Verdict
from grader.profile import SCENE_PARTS

STONE_W, STONE_H, GAP = 200, 100, 40
#: Working px for one photo px in the hand-made faces.
FACTOR = 0.5


def pytest_addoption(parser):
    parser.addoption(
        "--tenth", type=int, metavar="SEED", help="Run a seeded tenth of the tests, one at least."
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    seed = config.getoption("--tenth")
    if seed is None or not items:
        return
    # After -m and -k have chosen: a tenth of what they leave.
    kept = set(random.Random(seed).sample(range(len(items)), -(-len(items) // 10)))
    config.hook.pytest_deselected(items=[item for n, item in enumerate(items) if n not in kept])
    items[:] = [item for n, item in enumerate(items) if n in kept]


def _curves():
    return np.stack([srgb_curve()] * 3)


def _piece(number: int, at: tuple[int, int], mm_per_px, verdict, lines, grade) -> GradedPiece:
    """A stone of 200 x 100 px: half blue, a quarter white, then host, 10 columns glare."""
    x, y = at
    w, h = int(STONE_W * FACTOR), int(STONE_H * FACTOR)
    codes = np.full((h, w), 3, np.uint8)
    codes[:, : w // 2] = 1
    codes[:, w // 2 : 3 * w // 4] = 2
    codes[:, -5:] = 9
    outline = np.array(
        [[x, y], [x + STONE_W, y], [x + STONE_W, y + STONE_H], [x, y + STONE_H]], np.float32
    )
    working_mm = None if mm_per_px is None else mm_per_px / FACTOR
    colour = RegionColour(40.0, 30.0, 260.0, 4.0)
    measurements = Measurements(
        regions=Regions(
            codes=codes,
            shares={
                "blue": Share(50 / 95, 0.48, 0.56),
                "white": Share(25 / 95, 0.22, 0.30),
                "host": Share(20 / 95, 0.17, 0.25),
            },
            kinds={"host": {"rusty": 0.5 * 20 / 95, "grey": 0.5 * 20 / 95}},
            colour={"blue": colour, "white": RegionColour(85.0, 4.0, 90.0, 3.0), "host": None},
            glare_share=0.05,
        ),
        banding=Banding(0.8, 0.9, 3, 90.0, 12.0, 35.0, 0.7, 2.0, 5.0, 3.0, 0.04, 2, 6.0),
        lines=lines,
        scene=Scene({part: 0.5 for part in SCENE_PARTS}),
        face_area_px=w * h,
        px_per_photo_px=FACTOR,
        mm_per_px=working_mm,
        sound=sound_stone(codes > 0, lines, working_mm, ((18.0, 13.0), (40.0, 30.0))),
    )
    zeros = np.zeros((h, w, 3), np.float32)
    measured = MeasuredPiece(
        piece=Piece(number, (x, y, STONE_W, STONE_H), outline),
        face=Face(zeros, zeros, codes > 0, FACTOR, (float(x), float(y)), working_mm),
        measurements=measurements,
        size_class=None if mm_per_px is None else "18x13",
        area_cm2=measurements.area_cm2,
        scale=Scale(mm_per_px, None if mm_per_px is None else "hand"),
        state=State("dry", "photo"),
        verdict=Verdict(
            verdict, () if verdict == "usable" else (Remark("blurred", "blurred; hold still"),)
        ),
    )
    proposal = Proposal(
        grade=grade,
        scene=54,
        probabilities={"waste": 0.05, "tumbling": 0.15, "cabbing": 0.6, "select": 0.2},
        sell_as=None if mm_per_px is None else "by weight",
        reasons=("half of the face is blue",),
        model="starter 01234567",
        grade_set=("cabbing", "select"),
        rules=RulesWord("tumbling", "cabbing: blue_share at least 0.6"),
        what_if="with a scene of 60 instead of 54: select",
    )
    return GradedPiece(
        measured, SceneEstimate(54, 41, 67), None if verdict == "retake" else proposal
    )


@pytest.fixture
def crack() -> Line:
    """A level crack in working px: 40 long, 2 wide, from (20, 25) to (60, 25)."""
    return Line(np.array([[20.0, 25.5], [60.0, 25.5]]), 40.0, 2.0, "crack", 0.9)


@pytest.fixture
def make_graded():
    """Return a function that makes a graded photo of so many stones, one below the other."""

    def make(
        pieces: int = 1,
        *,
        name: str = "a.jpg",
        mm_per_px: float | None = None,
        verdict: str = "usable",
        lines: tuple[Line, ...] = (),
        grade: str = "cabbing",
        seed: int = 0,
    ) -> Graded:
        height = GAP + pieces * (STONE_H + GAP)
        rng = np.random.default_rng(seed)
        rgb = rng.integers(60, 200, (height, STONE_W + 2 * GAP, 3), np.uint8)
        photo = Photo(
            name=name,
            rgb=rgb,
            encoding=ColourEncoding("sRGB", _curves(), np.eye(3, dtype=np.float32)),
            sha256=hashlib.sha256(rgb.tobytes()).hexdigest(),
            scale=Scale(mm_per_px, None if mm_per_px is None else "hand"),
        )
        places = [(GAP, GAP + n * (STONE_H + GAP)) for n in range(pieces)]
        stones = [
            _piece(n, at, mm_per_px, verdict, lines, grade) for n, at in enumerate(places, start=1)
        ]
        return Graded(photo, no_reference(photo), tuple(stones), ())

    return make
