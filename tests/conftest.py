"""A graded photo made by hand: every number in it is known, nothing is measured.

People, places, prices, calls and bounds of rules are invented in all tests.
"""

import hashlib
import importlib
import os
import pickle
import random
import shutil
import sqlite3
import sys
from contextlib import closing
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path

# One test per core, in programs that tests start too: threads inside would only wait for each other.
# numpy and its like read these as they are loaded.
for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

# Compiled modules are kept, git ignores them: each of the many programs that tests start would compile all anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, settings

from grader.errors import PhotoError
from grader.face.face import Face
from grader.face.lines.line_words import with_line_words
from grader.face.lines.sound import sound_stone
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
from grader.face.words import NOTHING_SAID
from grader.further import FurtherPhoto
from grader.grade import (
    Graded,
    GradedPiece,
    MeasuredPhoto,
    MeasuredPiece,
    facts_of,
)
from grader.grading.calls.joining import Stones, stone_words
from grader.grading.features.rules import Condition
from grader.grading.proposal import (
    Call,
    MoreOf,
    Proposal,
    Reason,
    RulesWord,
    SceneEstimate,
    WhatIf,
)
from grader.ledger.store import open_ledger
from grader.measures import Remark
from grader.photo.colour import srgb_curve
from grader.photo.photo import ColourEncoding, Photo, Scale
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.photo.surface import State
from grader.photo.terms import PhotoTerms
from grader.photo.verdict import Verdict
from grader.profile import SCENE_PARTS, load_profile

cv2.setNumThreads(1)
# How fast a machine is, with other work beside, is no property of what is tested.
settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")

STONE_W, STONE_H, GAP = 200, 100, 40
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: Working px for one photo px in the hand-made faces.
FACTOR = 0.5


def pytest_addoption(parser):
    parser.addoption(
        "--tenth", type=int, metavar="SEED", help="Run a seeded tenth of the tests, one at least."
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    # The longest files first, so that at the end no core waits for one of them.
    items.sort(key=lambda item: "measured_once" not in item.fixturenames)
    seed = config.getoption("--tenth")
    if seed is None or not items:
        return
    # After -m and -k have chosen: a tenth of what they leave.
    kept = set(random.Random(seed).sample(range(len(items)), -(-len(items) // 10)))
    config.hook.pytest_deselected(items=[item for n, item in enumerate(items) if n not in kept])
    items[:] = [item for n, item in enumerate(items) if n in kept]


@pytest.fixture(autouse=True)
def data_folder(tmp_path_factory, monkeypatch):
    """Return where the ledger lies in a test: never the user's own, and a new one each time."""
    folder = tmp_path_factory.mktemp("data")
    # The second is for a system that does not go by the first.
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    monkeypatch.setattr("platformdirs.user_data_path", lambda name, **_: folder / name)
    return folder


def _remembered(work):
    """The same function, which works an answer out once for what it is asked, told by content; each gets a copy."""
    answers = {}

    @wraps(work)
    def ask(*args, **given):
        asked = hashlib.sha256(pickle.dumps((args, given))).digest()
        if asked not in answers:
            answers[asked] = pickle.dumps(work(*args, **given))
        return pickle.loads(answers[asked])

    return ask


@pytest.fixture(scope="session")
def _measuring_remembered():
    slow = {"grader.grade": ("find_reference", "find_pieces", "measure_piece")}
    slow["grader.face.scene.scene"] = ("rough_poses", "find_poses")
    return {
        f"{module}.{name}": _remembered(getattr(importlib.import_module(module), name))
        for module, names in slow.items()
        for name in names
    }


@pytest.fixture(scope="module")
def measured_once(_measuring_remembered):
    """Let what is slow in measuring be done once for the same arguments: these functions hang on nothing else.

    Whatever a term, a profile or a reference changes is another argument. Not for tests that change how is measured.
    """
    with pytest.MonkeyPatch.context() as patch:
        for name, work in _measuring_remembered.items():
            patch.setattr(name, work)
        yield


@pytest.fixture(scope="session")
def _empty_ledger(tmp_path_factory):
    path = tmp_path_factory.mktemp("empty") / "ledger.sqlite"
    open_ledger(path).close()
    return path


@pytest.fixture
def ledgers_copied(_empty_ledger, monkeypatch):
    """Let new ledgers be copies of an empty one: making its tables anew takes a good tenth of a second."""
    from grader.ledger import migrate as module

    migrate = module.migrate

    def copied(path, engine, version):
        if version is not None:
            migrate(path, engine, version)
            return
        with closing(sqlite3.connect(_empty_ledger)) as empty, engine.connect() as new:
            empty.backup(new.connection.dbapi_connection)

    monkeypatch.setattr(module, "migrate", copied)


def _curves():
    return np.stack([srgb_curve()] * 3)


def _chances(grade: str) -> dict[str, float]:
    """Chances of which that grade has the greatest; a grade of no known ladder stands in the place of cabbing."""
    chances = {"waste": 0.05, "tumbling": 0.15, "cabbing": 0.6, "select": 0.2}
    if grade not in chances:
        return {grade if name == "cabbing" else name: p for name, p in chances.items()}
    return chances | {"cabbing": chances[grade], grade: 0.6}


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
        room=Room(0.6, 0.3, 45.0),
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
        probabilities=_chances(grade),
        sell_as=None if mm_per_px is None else "by weight",
        reasons=(Reason("scene", 0.3, {"scene_score": 54.0}),),
        model="starter 01234567",
        grade_set=("cabbing", "select"),
        rules=RulesWord("tumbling", Condition("cabbing", "blue_share", 0.6, at_most=False)),
        what_if=WhatIf(MoreOf("scene_score", 54.0, 60.0), "select"),
    )
    return GradedPiece(
        measured,
        facts_of(measured, load_profile()),
        SceneEstimate(54, 41, 67),
        None if verdict == "retake" else proposal,
    )


@pytest.fixture(scope="session")
def chromium():
    """Debian's chromium, without a window. Where it is missing a test is left out; in CI it fails (``CI`` is set)."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not os.path.exists(CHROMIUM):
        if os.environ.get("CI"):
            pytest.fail("chromium is not installed; CI needs it")
        pytest.skip("chromium is not installed; pages are not tried in a browser")
    with playwright.sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


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
        measured = MeasuredPhoto(
            photo,
            no_reference(photo),
            PhotoTerms(mm_per_px=mm_per_px),
            tuple(stone.measured for stone in stones),
            (),
        )
        return Graded(measured, tuple(stones))

    return make


@dataclass(frozen=True)
class Asked:
    """What was asked of the measuring: a photo, what is said of it, and the words on its lines."""

    photo: Path
    terms: PhotoTerms
    calls: tuple[Call, ...]


@pytest.fixture
def measuring(monkeypatch, make_graded, crack):
    """Let photos be text files that say what they hold, and return what was measured, on which terms.

    A number of stones, and with "line" behind it a level crack on each; "retake" is one stone; "bad" cannot be read and
    "crash" is a fault in the measuring. Only the way from file and terms to measured stones is put in place; all works
    in this process, since another one would not know of it.
    """
    asked = []

    def made_from(path, mm_per_px=None):
        content = Path(path).read_bytes()
        sha256 = hashlib.sha256(content).hexdigest()
        # What is added in a browser must open as a photo does.
        content = content.removeprefix(b"\xff\xd8\xff")
        if content.startswith(b"bad"):
            raise PhotoError(f"{Path(path).name}: not a photo; give a JPEG", "not_a_photo")
        if content.startswith(b"crash"):
            raise ZeroDivisionError("division by zero")
        retake = content.startswith(b"retake")
        made = make_graded(
            1 if retake else int(content[:1]),
            name=Path(path).name,
            mm_per_px=mm_per_px,
            verdict="retake" if retake else "usable",
            lines=(crack,) if b"line" in content else (),
        ).measured
        return replace(made, photo=replace(made.photo, sha256=sha256))

    def measure_file(photo, terms, profile, calls=()):
        calls = tuple(calls)
        asked.append(Asked(Path(photo), terms, calls))
        made = made_from(photo, terms.mm_per_px)
        boxes = {one.piece.id: one.piece.box for one in made.pieces}
        words = stone_words(Stones(made.photo.name, made.photo.sha256, boxes), calls)
        pieces = tuple(
            _with_words(one, words.get(one.piece.id, NOTHING_SAID).lines) for one in made.pieces
        )
        pieces = tuple(replace(one, weight_g=terms.weight_g) for one in pieces)
        others = tuple(FurtherPhoto(made_from(one).photo, None) for one in terms.same_face)
        return replace(made, terms=terms, pieces=pieces, same_face=others)

    monkeypatch.setattr("grader.looking.measure_file", measure_file)
    monkeypatch.setattr(
        "grader.looking.shows_tag", lambda photo, profile: b"tags " in Path(photo).read_bytes()
    )
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    return asked


def _with_words(measured: MeasuredPiece, words) -> MeasuredPiece:
    found = measured.measurements
    lines = with_line_words(found.lines, words, measured.face)
    return replace(measured, measurements=replace(found, lines=lines))
